//! What a sample does: filter, rest, capture, indication, and what is streamed.

use scalewright_protocol::message::{Flags, Sample};
use scalewright_protocol::settings::Settings;
use scalewright_protocol::tags::report;

use crate::bridge::{BridgeFault, Conversion};
use crate::calm::{keep, step};
use crate::filter::FilterConfig;
use crate::indication::{Weighed, rest_limit_q8};
use crate::instrument::Instrument;
use crate::ports::Storage;

impl<S: Storage, const KNOTS: usize, const QUEUE: usize> Instrument<S, KNOTS, QUEUE> {
    /// What the settings and the table say of rest.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub(crate) fn adopt_rest(&mut self) {
        self.rest.resize(codes_in_window(&self.settings));
        self.rest_limit_q8 = rest_limit_q8(self.table.as_ref(), &self.settings);
    }

    pub(crate) fn forget_samples(&mut self) {
        self.filter.restart();
        self.rest.restart();
    }

    #[cfg_attr(target_arch = "avr", inline(never))]
    pub(crate) fn sample(&mut self, conversion: Conversion) {
        self.fault = None;
        if conversion.settling {
            self.forget_samples();
            self.capture.interrupt();
            return;
        }
        let config = FilterConfig {
            smoothing: self.settings.smoothing,
            rest_q8: self.rest_limit_q8,
        };
        if self.rest.hear(self.now_ms, self.settings.rest_ms) {
            self.filter.part();
        }
        let filtered = self.filter.push(&config, conversion.counts);
        self.sequence = self.sequence.wrapping_add(1);
        self.rest.push(filtered);
        self.untold |= self.capture.sample(self.now_ms, filtered, &self.rest);
        self.note_rest();
        let spread_q8 = self.rest.spread_q8();
        self.keep = keep(spread_q8, self.rest_limit_q8, &self.settings);
        let weighed = self.weigh();
        if let Some(shown) = self.indication(weighed.as_ref()) {
            self.shown = shown;
        }
        self.mind_zero(weighed.as_ref());
        // Remembered at rest: a load that is put down swings, and the plays would
        // keep how far it swung past its rest. Nor from an end of the converter's
        // range, which is no load that came: an open wire says the same.
        if let Some(load) = &weighed
            && self.stable
            && !self.filter.out().saturated
        {
            self.reference.plays = load.plays;
        }
        if self.stream_every > 0 {
            self.stream_left = self.stream_left.saturating_sub(1);
            if self.stream_left == 0 {
                self.stream_left = self.stream_every;
                let sample = Sample {
                    sequence: self.sequence,
                    at_ms: self.now_ms,
                    raw_counts: self.filter.out().raw,
                    smooth_q8: self.filter.out().smooth_q8,
                    mass: weighed.map(|w| w.mass),
                    flags: self.flags(weighed.as_ref()),
                };
                self.outbox.event(|pen| {
                    pen.u8(report::SAMPLE);
                    pen.sample(&sample);
                });
            }
        }
    }

    #[cfg_attr(target_arch = "avr", inline(never))]
    pub(crate) fn weigh(&self) -> Option<Weighed> {
        let out = self.filter.out();
        let table = self.table.as_ref().filter(|_| out.run > 0)?;
        Some(
            self.reference
                .weigh(table, &self.settings, out.smooth_q8, out.saturated),
        )
    }

    /// The step that is shown for a load, quanta; absent when blank.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub(crate) fn indication(&self, weighed: Option<&Weighed>) -> Option<i32> {
        Some(step(weighed?.net?, self.shown, self.keep, self.settings.d))
    }

    #[cfg_attr(target_arch = "avr", inline(never))]
    pub(crate) fn flags(&self, weighed: Option<&Weighed>) -> Flags {
        weighed
            .map_or(Flags::default(), |w| w.flags)
            .with_if(Flags::STABLE, self.stable)
            .with_if(Flags::NOT_CALIBRATED, self.table.is_none())
            .with_if(Flags::NET, self.reference.tare != 0)
            .with_if(Flags::SATURATED, self.filter.out().saturated)
            .with_if(Flags::SPIKE, self.filter.out().spike)
            .with_if(
                Flags::SETTLING,
                self.filter.out().run == 0 && self.fault.is_none(),
            )
            .with_if(Flags::ADC_SILENT, self.fault == Some(BridgeFault::Silent))
            .with_if(Flags::ADC_STUCK, self.fault == Some(BridgeFault::Stuck))
            .with_if(Flags::FELL_BACK, self.fell_back)
            .with_if(Flags::OTHER_LAYOUT, self.other_layout)
            .with_if(Flags::TRIAL, self.trial)
            .with_if(Flags::SEALED, self.sealed)
    }

    pub(crate) fn note_rest(&mut self) {
        // Twice as much before the mark goes: it does not come and go where it
        // only just came.
        let stable = self.rest.within(self.rest_limit_q8, self.stable);
        self.untold |= stable != self.stable;
        self.stable = stable;
    }
}

/// Conversions in the window of rest; by the limits on settings few enough.
fn codes_in_window(settings: &Settings) -> u16 {
    (u32::from(settings.rest_ms).wrapping_mul(u32::from(settings.rate_sps)) / 1000) as u16
}
