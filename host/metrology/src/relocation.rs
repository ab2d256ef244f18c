//! Whether a move matters to a scale: the shift of [`crate::gravity`] beside the
//! permitted error, and what other air makes of a load.
//!
//! Owns the question what a move may spend of a permitted error, and the air to
//! expect at two heights. Guarantees that the uncertainty counts against both
//! answers: what lies within it is called untold. Refuses to say that a scale is
//! right: it may have been wrong before it was moved.

use std::fmt;

use crate::air::{self, Air, AirError, AirUncertainty, WEATHER_HPA, standard_pressure_hpa};
use crate::buoyancy::{Adjusted, BuoyancyError, Density, weighed};
use crate::gravity::Moved;
use crate::tolerance::{Intervals, NoPermittedError, Scheme};

/// Coverage factor of the expanded uncertainties here: about 95 % where the
/// distribution is normal (JCGM 100:2008, 6.3.3, from memory).
pub const COVERAGE: f64 = 2.0;

/// What a move may spend of the permitted error, uncertainty included: as much
/// as the weights of a test may be wrong by (OIML R 76-1:2006, 3.7.1). That a
/// move is measured by it is an own choice.
pub const MAY_SPEND: f64 = 1.0 / 3.0;

/// What a move makes of one load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shifted {
    /// The load, g.
    pub load_g: f64,
    /// What a scale that was right reads too much, g.
    pub shift_g: f64,
    /// Expanded uncertainty of that ([`COVERAGE`]), g.
    pub expanded_u_g: f64,
    /// The permitted error, plus or minus, g.
    pub permitted_g: f64,
}

/// What to do about a move.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Need {
    /// Nothing: whatever gravity is within its uncertainty, the shift stays
    /// within [`MAY_SPEND`].
    Nothing,
    /// Correct or recalibrate: whatever gravity is, the shift is beyond it.
    Correction,
    /// Both may be true.
    Untold,
}

impl Shifted {
    /// What the move makes of `load_g`.
    ///
    /// # Errors
    /// A load that the scheme has no permitted error for.
    pub fn at(
        load_g: f64,
        moved: &Moved,
        scheme: &Scheme,
        intervals: &Intervals,
    ) -> Result<Self, NoPermittedError> {
        let permitted_g = scheme.permitted_g(load_g, intervals)?;
        let (shift_g, u_g) = moved.shift_g(load_g);
        Ok(Self {
            load_g,
            shift_g,
            expanded_u_g: COVERAGE * u_g,
            permitted_g,
        })
    }

    /// The least and the most that the shift can be, as a share of the permitted
    /// error; no unit.
    #[must_use]
    pub fn share(&self) -> (f64, f64) {
        let size_g = self.shift_g.abs();
        (
            (size_g - self.expanded_u_g).max(0.0) / self.permitted_g,
            (size_g + self.expanded_u_g) / self.permitted_g,
        )
    }

    /// What to do, were this the load that suffers most.
    #[must_use]
    pub fn need(&self) -> Need {
        match self.share() {
            (_, most) if most <= MAY_SPEND => Need::Nothing,
            (least, _) if least > MAY_SPEND => Need::Correction,
            _ => Need::Untold,
        }
    }

    /// Whether the shift alone is more than permitted, whatever gravity is
    /// within its uncertainty.
    #[must_use]
    pub fn is_beyond(&self) -> bool {
        self.share().0 > 1.0
    }

    /// Whether a correction by the same two gravities leaves no more than
    /// [`MAY_SPEND`].
    #[must_use]
    pub fn is_correctable(&self) -> bool {
        self.expanded_u_g <= MAY_SPEND * self.permitted_g
    }

    /// Whether the shift is larger than its own uncertainty.
    #[must_use]
    pub fn is_seen(&self) -> bool {
        self.shift_g.abs() > self.expanded_u_g
    }
}

/// The loads worth a look, g and rising: where the permitted error steps, and
/// Max. A shift grows with the load, so between them nothing is worse.
#[must_use]
pub fn loads_g(scheme: &Scheme, intervals: &Intervals, max_g: f64) -> Vec<f64> {
    let mut loads = scheme.changes_g(intervals);
    loads.retain(|load_g| *load_g < max_g);
    loads.push(max_g);
    loads
}

/// The load up to Max that suffers most for what is permitted there; of two
/// alike the heavier.
///
/// # Errors
/// A Max that the scheme has no permitted error for.
pub fn worst(
    moved: &Moved,
    scheme: &Scheme,
    intervals: &Intervals,
    max_g: f64,
) -> Result<Shifted, NoPermittedError> {
    let mut worst = Shifted::at(max_g, moved, scheme, intervals)?;
    for load_g in loads_g(scheme, intervals, max_g) {
        let here = Shifted::at(load_g, moved, scheme, intervals)?;
        // Of two alike down to the rounding of f64, the heavier stays.
        let (one, other) = (here.share().1, worst.share().1);
        if one > other * (1.0 + 1e-9) {
            worst = here;
        }
    }
    Ok(worst)
}

/// Air of a room where only the height is known: 20 degrees Celsius and 50 %,
/// within 3 K and 15 percentage points (common practice), and the weather's
/// pressure.
const ROOM: (f64, f64) = (20.0, 50.0);
const ROOM_SPREAD: AirUncertainty = AirUncertainty {
    temperature_k: 3.0,
    pressure_hpa: WEATHER_HPA,
    humidity_percent: 15.0,
};

/// Why nothing can be said of the air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum AirShiftError {
    /// The air itself.
    Air(AirError),
    /// The load in it.
    Load(BuoyancyError),
}

impl fmt::Display for AirShiftError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Air(cause) => cause.fmt(f),
            Self::Load(cause) => cause.fmt(f),
        }
    }
}

impl std::error::Error for AirShiftError {}

/// What other air makes of a load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirShift {
    /// Relative change of what the load weighs, no unit: above zero in thinner
    /// air.
    pub relative: f64,
    /// Its standard uncertainty, no unit: weather and rooms.
    pub u_relative: f64,
}

/// Density of the air to expect in a room at this height, with its standard
/// uncertainty, both kg/m3. The pressure is that of the standard atmosphere;
/// above 1 km it leaves the range stated for the formula, which is then good to
/// less than what the weather does.
///
/// # Errors
/// A height outside the lowest layer of the atmosphere.
pub fn room_air(height_m: f64) -> Result<Density, AirError> {
    let (temperature_c, humidity_percent) = ROOM;
    let air = Air {
        temperature_c,
        pressure_hpa: standard_pressure_hpa(height_m)?,
        humidity_percent,
    };
    let found = air::density(air, ROOM_SPREAD)?;
    Ok(Density {
        kg_m3: found.kg_m3,
        u_kg_m3: found.u_kg_m3,
    })
}

/// How much more a load of `density_kg_m3` weighs in the air at `to_m` than in
/// that at `from_m`, gravity left out.
///
/// ```text
/// relative = (1 - a_to/rho) / (1 - a_from/rho) - 1
/// ```
/// which is the reading of OIML D 28 ([`weighed`]) for a scale adjusted in the
/// air of `from` with weights of the load's own density. For steel weights it is
/// what a calibration there would find and a correction by gravity leaves.
///
/// # Errors
/// Heights or a density that can't be.
///
/// ```
/// use scalewright_metrology::relocation::air_shift;
/// // From the sea to 1500 m the air loses about 0.2 kg/m3.
/// let water = air_shift(0.0, 1500.0, 1000.0)?;
/// assert!((water.relative - 2.0e-4).abs() < 0.1e-4);
/// assert!(air_shift(0.0, 12_000.0, 1000.0).is_err());
/// # Ok::<(), scalewright_metrology::relocation::AirShiftError>(())
/// ```
pub fn air_shift(from_m: f64, to_m: f64, density_kg_m3: f64) -> Result<AirShift, AirShiftError> {
    let before = room_air(from_m).map_err(AirShiftError::Air)?;
    let now = room_air(to_m).map_err(AirShiftError::Air)?;
    let adjusted = Adjusted {
        weights_kg_m3: density_kg_m3,
        air: Some(before),
    };
    let found =
        weighed(1.0, Density::exact(density_kg_m3), now, adjusted).map_err(AirShiftError::Load)?;
    Ok(AirShift {
        relative: found.reading_g - 1.0,
        u_relative: found.u_g,
    })
}
