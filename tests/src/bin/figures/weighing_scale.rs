//! The instrument under test, fed with codes; and beside it a fixed mean with a
//! window of spread.

use std::collections::VecDeque;

use scalewright_bench::adc::{code_of, gain_of};
use scalewright_bench::board::{KNOTS, RATES_SPS};
use scalewright_bench::flash::{FlashImage, SimFlash};
use scalewright_bench::setup::class_iii_settings;
use scalewright_bench::{CellSpec, StoredTable};
use scalewright_core::bridge::Conversion;
use scalewright_core::instrument::{Event, Identity, Instrument};
use scalewright_protocol::codec::{MAX_FRAME, encode};
use scalewright_protocol::message::{Ask, Flags, KNOTS_PER_MESSAGE, Request, Stage};
use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::{Knot, knots_checksum};

/// A scale of this cell with d and the smoothing that go with the rate, its
/// table straight through the settled cell's ends.
pub struct Scale {
    device: Instrument<SimFlash, KNOTS>,
    now_ms: u32,
    /// Counts of one d.
    pub d_counts: f64,
}

/// What it says.
#[derive(Clone, Copy, Debug)]
pub struct Said {
    /// The mark.
    pub stable: bool,
    /// The indication, d.
    pub shown_d: f64,
    /// The same without rounding.
    pub mass_d: f64,
}

/// Eight codes at 10/s and 64 at 80/s: the same noise.
pub fn smoothing(rate_sps: u16) -> u8 {
    if rate_sps > 10 { 6 } else { 3 }
}

fn settings(rate_sps: u16, d_g: f64) -> Settings {
    Settings {
        rate_sps,
        smoothing: smoothing(rate_sps),
        ..class_iii_settings(d_g * 10_000.0, d_g, (d_g * 1000.0) as u32)
    }
}

fn table(spec: &CellSpec, settings: &Settings) -> StoredTable {
    let gain = gain_of(settings.input);
    let zero_counts = code_of(spec.settled_mv_per_v(0.0), gain);
    let max_g = f64::from(settings.max) * f64::from(settings.quantum_ug) * 1e-6;
    let last_g = spec.max_g.min(max_g);
    let knots = (0..=15).map(|n| {
        let load_g = last_g * f64::from(n) / 15.0;
        Knot {
            counts: code_of(spec.settled_mv_per_v(load_g), gain) - zero_counts,
            mass: (load_g / f64::from(settings.quantum_ug) * 1e6).round() as i32,
        }
    });
    StoredTable {
        zero_counts,
        knots: knots.collect(),
    }
}

impl Scale {
    /// A calibrated one that has seen no code.
    ///
    /// # Errors
    /// When its record is refused.
    pub fn new(spec: &CellSpec, rate_sps: u16, d_g: f64) -> Result<Self, String> {
        let mut settings = settings(rate_sps, d_g);
        settings.max = (spec.max_g / d_g).round() as i32 * settings.d;
        let identity = Identity {
            device_id: 1,
            board: "figure",
            firmware: scalewright_core::VERSION,
            rates_sps: &RATES_SPS,
        };
        let flash = SimFlash::new(FlashImage::erased());
        let mut device = Instrument::new(identity, flash, settings, 0);
        let stored = table(spec, &settings);
        let mut asks = vec![Ask::StageBegin(Stage {
            settings,
            zero_counts: stored.zero_counts,
            knots: stored.knots.len() as u8,
            checksum: knots_checksum(&stored.knots),
        })];
        asks.extend(
            stored
                .knots
                .chunks(KNOTS_PER_MESSAGE)
                .enumerate()
                .map(|(at, some)| Ask::StageKnots {
                    from: (at * KNOTS_PER_MESSAGE) as u8,
                    knots: some.iter().copied().collect(),
                }),
        );
        asks.push(Ask::StageCommit);
        for (id, ask) in (1..).zip(asks) {
            let mut frame = [0; MAX_FRAME];
            let length = encode(&Request { id, ask }, &mut frame).map_err(|_| "a long request")?;
            device.handle(0, Event::Bytes(&frame[..length]));
            while device.is_storing() {
                device.handle(0, Event::Tick);
            }
            let said = device.output().len();
            device.sent(said);
        }
        if device.table().is_none() {
            return Err("the scale refused its table".into());
        }
        let (counts, mass) = stored.knots.last().map_or((0, 1), |k| (k.counts, k.mass));
        Ok(Self {
            device,
            now_ms: 0,
            d_counts: f64::from(counts) / f64::from(mass) * f64::from(settings.d),
        })
    }

    /// Takes a code that was converted at this time.
    pub fn take(&mut self, at_ns: u64, code: i32) -> Said {
        self.now_ms = (at_ns / 1_000_000) as u32;
        let conversion = Conversion::settled(code);
        self.device
            .handle(self.now_ms, Event::Sample(Ok(conversion)));
        let state = self.device.state(self.now_ms);
        let d = f64::from(self.device.settings().d);
        let in_d = |quanta: Option<i32>| quanta.map_or(f64::NAN, |q| f64::from(q) / d);
        Said {
            stable: state.flags.has(Flags::STABLE),
            shown_d: in_d(state.indication),
            mass_d: in_d(state.mass),
        }
    }

    /// Where the zero of the table lies, counts.
    pub fn zero_counts(&self) -> f64 {
        f64::from(self.device.state(self.now_ms).zero_counts)
    }
}

/// The usual way: a mean of the last 2^n codes, at rest when within 0.3 d for a
/// second; rounded as it comes. The same noise at rest as ours.
pub struct Plain {
    codes: VecDeque<i32>,
    means: VecDeque<f64>,
    depth: usize,
    window: usize,
}

impl Plain {
    /// One that has seen no code.
    pub fn new(rate_sps: u16) -> Self {
        Self {
            codes: VecDeque::new(),
            means: VecDeque::new(),
            depth: 1 << smoothing(rate_sps),
            window: usize::from(rate_sps) + 1,
        }
    }

    /// Takes a code: whether at rest, and the mean, counts.
    pub fn take(&mut self, code: i32, d_counts: f64) -> (bool, f64) {
        self.codes.push_back(code);
        if self.codes.len() > self.depth {
            self.codes.pop_front();
        }
        let sum: f64 = self.codes.iter().map(|code| f64::from(*code)).sum();
        let mean = sum / self.codes.len() as f64;
        self.means.push_back(mean);
        if self.means.len() > self.window {
            self.means.pop_front();
        }
        let high = self.means.iter().copied().fold(f64::MIN, f64::max);
        let low = self.means.iter().copied().fold(f64::MAX, f64::min);
        let full = self.means.len() == self.window;
        (full && high - low <= 0.3 * d_counts, mean)
    }
}
