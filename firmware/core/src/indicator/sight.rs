//! What the indicator sees of the instrument, at one moment.
//!
//! Everything else in this module works on it, so that it exists once whatever
//! storage and table the instrument has.

use scalewright_protocol::message::Flags;
use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::Knot;

use super::text::Text;
use crate::functions::unit::Interval;
use crate::instrument::{Identity, Instrument};
use crate::ports::Storage;

/// The instrument at one moment.
#[derive(Clone, Copy, Debug)]
pub struct Sight<'a> {
    /// Time, ms.
    pub now_ms: u32,
    /// Settings in force.
    pub settings: &'a Settings,
    /// Who it is.
    pub identity: &'a Identity,
    /// The table in force; empty without one.
    pub knots: &'a [Knot],
    /// Records stored so far.
    pub changes: u32,
    /// Conditions.
    pub flags: Flags,
    /// Gross mass, quanta; none without one.
    pub gross: Option<i32>,
    /// Net mass, unrounded, quanta; none while the indication is blank.
    pub net: Option<i32>,
    /// Tare in use, quanta.
    pub tare: i32,
    /// Spread of the reading in the stability window, quanta, rounded up.
    pub spread: u32,
    /// Number of the latest sample.
    pub sample: u32,
    /// Whether table and settings may not be written.
    pub sealed: bool,
}

impl<'a> Sight<'a> {
    /// Looks at an instrument.
    #[inline(never)]
    pub fn of<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        now_ms: u32,
        scale: &'a Instrument<S, KNOTS, QUEUE>,
    ) -> Self {
        let state = scale.state(now_ms);
        let knots = scale.table().map_or(&[][..], |table| table.knots());
        let tare = scale.tare();
        let gross = state.mass;
        Self {
            now_ms,
            settings: scale.settings(),
            identity: scale.identity(),
            knots,
            changes: scale.changes(),
            flags: state.flags,
            gross,
            net: state
                .indication
                .and(gross)
                .map(|gross| gross.saturating_sub(tare)),
            tare,
            spread: in_quanta(knots, state.spread_q8),
            sample: state.sequence,
            sealed: scale.is_sealed(),
        }
    }

    /// Whether all of these conditions are met.
    #[must_use]
    pub const fn has(&self, flags: Flags) -> bool {
        self.flags.has(flags)
    }

    /// A mass in quanta as it is written, with the unit behind it.
    #[must_use]
    #[inline(never)]
    pub fn mass(&self, interval: &Interval, quanta: i32) -> Text {
        let mut text = self.number(interval, quanta);
        text.letter(b' ').say(interval.unit.symbol());
        text
    }

    /// A mass in quanta as it is written.
    #[must_use]
    #[inline(never)]
    pub fn number(&self, interval: &Interval, quanta: i32) -> Text {
        let mut text = Text::new();
        let digits = interval.digits(quanta, self.settings.quantum_ug);
        text.number(digits, interval.decimals);
        text
    }
}

/// A span of the smoothed signal as mass, quanta, by the mean steepness of the
/// table; rounded up, 0 without a table.
#[inline(never)]
fn in_quanta(knots: &[Knot], span_q8: u32) -> u32 {
    let Some((first, last)) = knots.first().zip(knots.last()) else {
        return 0;
    };
    let run = u64::from(last.counts.abs_diff(first.counts)) << 8;
    let rise = u64::from(last.mass.abs_diff(first.mass));
    // 2^32 · 2^29 at most.
    let product = u64::from(span_q8).wrapping_mul(rise);
    let up = product.wrapping_add(run.saturating_sub(1));
    u32::try_from(up.checked_div(run).unwrap_or(0)).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_span_becomes_mass_by_the_steepness_of_the_table() {
        let line = [
            Knot { counts: 0, mass: 0 },
            Knot {
                counts: 1000,
                mass: 2000,
            },
        ];
        assert_eq!(in_quanta(&line, 256), 2);
        assert_eq!(in_quanta(&line, 1), 1, "rounded up");
        assert_eq!(in_quanta(&line, 0), 0);
        assert_eq!(in_quanta(&[], 256), 0);
        assert_eq!(in_quanta(&line[..1], 256), 0, "no steepness");
    }
}
