//! What is known of a scale beforehand, and the way from counts to mV/V and g.

use scalewright_protocol::settings::{Input, Settings};
use scalewright_protocol::table::Knot;

use crate::quantise::{HostTable, mass_g, quantum_g};
use crate::record::mass::parse_g;

/// Codes of a 24-bit converter from one end of its range to the other.
const CODES: f64 = 16_777_216.0;

/// What is printed on a load cell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RatedCell {
    /// Rated output at capacity, mV/V.
    pub mv_per_v: f64,
    /// Rated capacity, g.
    pub capacity_g: f64,
}

impl RatedCell {
    /// A cell from texts like "2mV/V" and "10kg".
    ///
    /// # Errors
    /// What was wrong with a text, in plain words.
    ///
    /// ```
    /// use scalewright::inspect::RatedCell;
    /// let cell = RatedCell::parse("2 mV/V", "10 kg").expect("both are sound");
    /// assert_eq!((cell.mv_per_v, cell.capacity_g), (2.0, 10_000.0));
    /// assert!(RatedCell::parse("2 mV", "10 kg").is_err());
    /// ```
    pub fn parse(cell: &str, capacity: &str) -> Result<Self, String> {
        let squeezed: String = cell.chars().filter(|c| !c.is_whitespace()).collect();
        let number = squeezed
            .to_lowercase()
            .strip_suffix("mv/v")
            .map(ToString::to_string)
            .ok_or_else(|| format!("\"{cell}\" is no rated output: write it as 2mV/V"))?;
        let mv_per_v: f64 = number
            .parse()
            .map_err(|_| format!("\"{number}\" is no number (the decimal sign is a point)"))?;
        // Strain-gauge cells are made from about 0.5 to 4 mV/V (common practice).
        if !(0.05..=20.0).contains(&mv_per_v) {
            return Err(format!(
                "{mv_per_v} mV/V is no rated output of a load cell: 1 to 3 mV/V is usual"
            ));
        }
        Ok(Self {
            mv_per_v,
            capacity_g: parse_g(capacity)?,
        })
    }
}

/// A scale as it says itself to be.
#[derive(Clone, Debug, PartialEq)]
pub struct Subject {
    /// Settings in force.
    pub settings: Settings,
    /// Knots of the table in force; none when not calibrated.
    pub knots: Vec<Knot>,
    /// Zero reference at calibration, ADC counts.
    pub zero_counts: i32,
    /// Rates the ADC has, conversions per second.
    pub rates_sps: Vec<u16>,
    /// The cell, if its owner knows it.
    pub cell: Option<RatedCell>,
}

impl Subject {
    /// Whether a table is in force.
    #[must_use]
    pub fn calibrated(&self) -> bool {
        self.knots.len() >= 2
    }

    /// Gain of the input in use.
    #[must_use]
    pub const fn gain(&self) -> f64 {
        match self.settings.input {
            Input::A128 => 128.0,
            Input::B32 => 32.0,
            Input::A64 => 64.0,
        }
    }

    /// Bridge output of a code or of a difference of codes, mV/V.
    ///
    /// ```text
    /// V/Vexc = code / 2^24 / gain      (full scale is half the reference over the
    ///                                   gain and the reference is the excitation;
    ///                                   from memory, agrees with the ±20, 40 and
    ///                                   80 mV at 5 V of the data sheet: Avia
    ///                                   Semiconductor, "24-Bit Analog-to-Digital
    ///                                   Converter (ADC) for Weigh Scales")
    /// ```
    #[must_use]
    pub fn mv_per_v(&self, counts: f64) -> f64 {
        counts / CODES / self.gain() * 1000.0
    }

    /// End of the ADC's range, mV/V.
    #[must_use]
    pub fn full_scale_mv_per_v(&self) -> f64 {
        self.mv_per_v(CODES / 2.0)
    }

    /// Steepness from the table in force, ADC counts per g.
    #[must_use]
    pub fn table_counts_per_g(&self) -> Option<f64> {
        let (first, last) = self.knots.first().zip(self.knots.last())?;
        let run = f64::from(last.counts) - f64::from(first.counts);
        let rise_g = (f64::from(last.mass) - f64::from(first.mass)) * self.quantum_g();
        let slope = run / rise_g;
        (slope.is_finite() && slope > 0.0).then_some(slope)
    }

    /// Steepness from what is printed on the cell, ADC counts per g.
    #[must_use]
    pub fn cell_counts_per_g(&self) -> Option<f64> {
        self.cell
            .map(|cell| cell.mv_per_v / 1000.0 * self.gain() * CODES / cell.capacity_g)
    }

    /// Steepness, ADC counts per g: the table's, else the cell's.
    #[must_use]
    pub fn counts_per_g(&self) -> Option<f64> {
        self.table_counts_per_g()
            .or_else(|| self.cell_counts_per_g())
    }

    /// Mass the table gives at a code, g, from the zero of its calibration.
    #[must_use]
    pub fn table_mass_g(&self, counts: f64) -> Option<f64> {
        let table = HostTable::new(&self.knots).ok()?;
        let net = counts - f64::from(self.zero_counts);
        Some(mass_g(&table, net, self.settings.quantum_ug))
    }

    /// Mass of one quantum, g.
    #[must_use]
    pub fn quantum_g(&self) -> f64 {
        quantum_g(self.settings.quantum_ug)
    }

    /// Maximum capacity Max, g.
    #[must_use]
    pub fn max_g(&self) -> f64 {
        f64::from(self.settings.max) * self.quantum_g()
    }

    /// Verification scale interval e, g.
    #[must_use]
    pub fn e_g(&self) -> f64 {
        f64::from(self.settings.e) * self.quantum_g()
    }

    /// Scale interval d, g.
    #[must_use]
    pub fn d_g(&self) -> f64 {
        f64::from(self.settings.d) * self.quantum_g()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantise::neutral_settings;

    fn subject(input: Input) -> Subject {
        Subject {
            settings: Settings {
                input,
                ..neutral_settings()
            },
            knots: Vec::new(),
            zero_counts: 0,
            rates_sps: vec![10, 80],
            cell: None,
        }
    }

    /// Codes of 1, 2 and 3 mV/V at gain 128 computed from the formula above by
    /// hand: 0.001 · 128 · 2^24 = 2 147 483.648; and the printed ranges of ±20,
    /// 40 and 80 mV at 5 V (exactly 19.53, 39.06, 78.13), the data sheet's.
    #[test]
    fn counts_become_mv_per_v() {
        let a128 = subject(Input::A128);
        for (counts, mv_per_v) in [(2_147_483.648, 1.0), (4_294_967.296, 2.0)] {
            assert!((a128.mv_per_v(counts) - mv_per_v).abs() < 1e-12);
        }
        for (input, printed_mv_at_5_v) in
            [(Input::A128, 20.0), (Input::A64, 40.0), (Input::B32, 80.0)]
        {
            let exact = subject(input).full_scale_mv_per_v() * 5.0;
            assert!((exact / printed_mv_at_5_v - 1.0).abs() < 0.025, "{exact}");
        }
    }

    /// 10 kg at 2 mV/V and gain 128: 429.4967 counts a gram, by hand.
    #[test]
    fn a_cell_gives_counts_per_gram() {
        let mut one = subject(Input::A128);
        one.cell = RatedCell::parse("2mV/V", "10kg").ok();
        let slope = one.counts_per_g().expect("a cell is known");
        assert!((slope - 429.496_729_6).abs() < 1e-6, "{slope}");
    }

    #[test]
    fn nonsense_on_a_cell_is_refused() {
        for (cell, capacity) in [
            ("", "10kg"),
            ("mV/V", "10kg"),
            ("2", "10kg"),
            ("-2mV/V", "10kg"),
            ("NaNmV/V", "10kg"),
            ("2000mV/V", "10kg"),
            ("2mV/V", "10"),
            ("2mV/V", "-1kg"),
        ] {
            assert!(
                RatedCell::parse(cell, capacity).is_err(),
                "{cell} {capacity}"
            );
        }
    }
}
