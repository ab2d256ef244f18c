//! What a scale is told about itself: capacity, intervals, sampling.

use serde::{Deserialize, Serialize};

/// Accuracy class after OIML R 76-1:2006, clause 3.1.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Class {
    /// Special accuracy.
    I,
    /// High accuracy.
    II,
    /// Medium accuracy.
    III,
    /// Ordinary accuracy.
    IIII,
}

/// Input and gain of the bridge ADC. The two-wire converter takes the choice
/// from the number of clock pulses of the reading before.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Input {
    /// Input A, gain 128.
    A128,
    /// Input B, gain 32.
    B32,
    /// Input A, gain 64.
    A64,
}

/// How a scale behaves by itself, one bit each. Bits not named here are refused.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Conduct(pub u8);

impl Conduct {
    /// Zero-tracking: a load that stays below half a d is followed by zero, at
    /// most 0.5 d in a second (OIML R 76-1:2006 clause 4.5.7, from memory).
    pub const TRACKS_ZERO: Self = Self(1);
    /// Initial zero-setting: the first load at rest after power-on becomes zero
    /// when it lies within 10 % of Max of the zero stored at calibration, either
    /// way (same, clause 4.5.1: 20 % in all).
    pub const STARTS_AT_ZERO: Self = Self(1 << 1);
    /// Sealed: settings and table are written only after a start with a key held.
    pub const SEALED: Self = Self(1 << 2);
    /// All there are.
    pub const ALL: Self = Self(7);

    /// Whether all bits of `other` are set.
    #[must_use]
    pub const fn has(self, other: Self) -> bool {
        self.0 & other.0 == other.0
    }

    /// Both together.
    #[must_use]
    pub const fn with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Without the bits of `other`.
    #[must_use]
    pub const fn without(self, other: Self) -> Self {
        Self(self.0 & !other.0)
    }
}

/// Everything a scale must know besides its table. Stored with the table in
/// one record, so that neither is ever in force without the other.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Settings {
    /// Mass of one quantum, micrograms. At most a hundredth of `e`.
    pub quantum_ug: u32,
    /// Maximum capacity Max, quanta.
    pub max: i32,
    /// Verification scale interval e, quanta.
    pub e: i32,
    /// Scale interval d (the step of the indication), quanta; at most e.
    pub d: i32,
    /// Accuracy class.
    pub class: Class,
    /// Conversions per second asked of the ADC.
    pub rate_sps: u16,
    /// Input and gain of the ADC.
    pub input: Input,
    /// Smoothing depth: the indication follows the mean of the last samples, at
    /// most 2^n and none from before the last change; n from 0 to 6.
    pub smoothing: u8,
    /// What the smoothed signal may still be off by at rest, in tenths of d. With
    /// 3 the indication of a load at rest moves by more than d in one case of
    /// some ten thousand (`tests/figures weighing`), with 5 in ten times as many.
    pub rest_tenths_d: u8,
    /// The window, ms: how long movement is remembered. A load at rest moves by no
    /// more than the limit in half of it, a swing may take three eighths of it to
    /// fall to 1/e, and a capture begins when nothing changed for twice as long.
    pub rest_ms: u16,
    /// How much hysteresis is corrected: the greatest width of the full loop as a
    /// share of 3/2 Max, in steps of 2^−24 ([`crate::hysteresis::gain`]). Any
    /// will do; 0 corrects nothing.
    pub loop_gain: u16,
    /// What it does by itself.
    pub conduct: Conduct,
}

/// Why settings are refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum SettingsFault {
    /// The quantum is zero or larger than e/100.
    Quantum,
    /// d is not in 1 ..= e.
    ScaleInterval,
    /// Max is not in 100 e ..= 100 000 e or does not fit a table.
    Capacity,
    /// The rate is not one the ADC offers.
    Rate,
    /// The smoothing depth is above 6.
    Smoothing,
    /// The stability window is empty or longer than 10 s.
    Rest,
    /// A bit of the conduct that has no meaning is set.
    Conduct,
}

impl core::fmt::Display for SettingsFault {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Quantum => "the mass quantum is not between 1 ug and e/100",
            Self::ScaleInterval => "the scale interval d is not between one quantum and e",
            Self::Capacity => "Max is not between 100 e and 100 000 e, or too many quanta",
            Self::Rate => "the ADC has no such rate",
            Self::Smoothing => "the smoothing depth is above 6",
            Self::Rest => "the stability window is empty or longer than 10 s",
            Self::Conduct => "the conduct has a bit that means nothing",
        })
    }
}

impl core::error::Error for SettingsFault {}

impl Settings {
    /// The largest stored mass: indication goes on to Max + 9 e (OIML R 76-1
    /// clause 4.2.3), a table needs some room above that.
    pub const MAX_QUANTA: i32 = crate::table::MASS_LIMIT / 2;

    /// Checks that the fields make sense together. Rates are checked by the
    /// device, which knows its ADC.
    ///
    /// # Errors
    /// The first field that does not.
    pub fn check(&self) -> Result<(), SettingsFault> {
        if self.quantum_ug == 0 || self.e < 100 {
            return Err(SettingsFault::Quantum);
        }
        if self.d < 1 || self.d > self.e {
            return Err(SettingsFault::ScaleInterval);
        }
        // Without signs, for a small chip: a Max below zero is then too large.
        let Some(divisions) = (self.max as u32).checked_div(self.e as u32) else {
            return Err(SettingsFault::Capacity);
        };
        let too_large = self.max as u32 > Self::MAX_QUANTA as u32;
        if !(100..=100_000).contains(&divisions) || too_large {
            return Err(SettingsFault::Capacity);
        }
        if self.rate_sps == 0 {
            return Err(SettingsFault::Rate);
        }
        if self.smoothing > 6 {
            return Err(SettingsFault::Smoothing);
        }
        if self.rest_tenths_d == 0 || self.rest_ms == 0 || self.rest_ms > 10_000 {
            return Err(SettingsFault::Rest);
        }
        if self.conduct.0 > Conduct::ALL.0 {
            return Err(SettingsFault::Conduct);
        }
        Ok(())
    }

    /// The mass above which nothing is indicated, quanta: Max + 9 e
    /// (OIML R 76-1:2006 clause 4.2.3).
    #[must_use]
    pub const fn overload_above(&self) -> i32 {
        // Multiplied with a check of its own: a checked multiplication takes
        // 0.5 KB of flash on an 8-bit chip.
        const MOST: i32 = i32::MAX / 9;
        let nine_e = if self.e > MOST {
            i32::MAX
        } else {
            self.e.wrapping_mul(9)
        };
        self.max.saturating_add(nine_e)
    }
}
