//! Local gravity, and what a move does to a scale.
//!
//! A strain-gauge cell measures force: a table made in one place reads wrong by
//! the ratio of the gravities in another. Owns normal gravity by latitude and
//! height, the shift of a moved scale with its uncertainty, the factor that
//! corrects its table, and the smallest move that matters. Refuses places that
//! are not on the ground, and says nothing of what temperature or transport do.

use std::fmt;

/// How normal gravity is reckoned.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Formula {
    /// World Geodetic System 1984, as of NGA.STND.0036 and TR 8350.2, third edition.
    Wgs84,
    /// Geodetic Reference System 1980 (H. Moritz, Bulletin géodésique 1980).
    Grs80,
    /// The form of OIML Bulletin 127 and WELMEC 2, from memory: the ellipsoid of
    /// 1967, with a height correction of first order.
    Oiml,
}

/// A place on the ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Geographic latitude in degrees, north above zero.
    pub latitude_deg: f64,
    /// Height above sea level in m.
    pub height_m: f64,
}

/// Lowest and highest ground taken, in m: a little beyond the shore of the Dead
/// Sea and the top of Mount Everest. Within, the next term of the series in
/// height, 4 h^3/a^3, stays near 1e-8.
pub const HEIGHTS_M: (f64, f64) = (-500.0, 9_000.0);

/// What gravity on the ground can be, in m/s2, with room to spare (common
/// practice): a measured value outside is a slip of the pen.
pub const POSSIBLE_M_S2: (f64, f64) = (9.7, 9.9);

/// No two places on the ground differ by more, as a share of gravity: the
/// formulas give 0.83 % from the equator at the upper of [`HEIGHTS_M`] to a pole
/// at the lower, the ground itself shows some 0.7 % (from memory).
pub const MOST_RELATIVE: f64 = 9e-3;

/// Standard uncertainty of normal gravity as a statement about a real place, in
/// m/s2: masses in the ground pull to the side of the formula by some tens of
/// milligal (1 mGal = 1e-5 m/s2), in mountains by more. From memory.
pub const LOCAL_ANOMALY_M_S2: f64 = 3e-4;

/// Why no gravity can be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum GravityError {
    /// The latitude is not between -90 and 90 degrees.
    Latitude(f64),
    /// The height is not on the ground, in m.
    Height(f64),
    /// A measured gravity that can't be, in m/s2.
    Gravity(f64),
    /// An uncertainty that is negative or no number, in m/s2.
    Uncertainty(f64),
    /// Max, or the shift that matters, is not a number above zero.
    NotPositive {
        /// Maximum capacity, in g.
        max_g: f64,
        /// The shift at Max that matters, in g.
        shift_g: f64,
    },
}

impl fmt::Display for GravityError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Latitude(v) => write!(
                f,
                "latitude {v} is not between -90 and 90 degrees: give degrees with a decimal point, south below zero"
            ),
            Self::Height(v) => write!(
                f,
                "height {v} m is not on the ground ({} to {} m): give metres above sea level",
                HEIGHTS_M.0, HEIGHTS_M.1
            ),
            Self::Gravity(v) => write!(
                f,
                "gravity {v} m/s2 is not found on the ground ({} to {} m/s2): look for a slip in the number",
                POSSIBLE_M_S2.0, POSSIBLE_M_S2.1
            ),
            Self::Uncertainty(v) => write!(
                f,
                "the uncertainty of gravity must be zero or positive, got {v} m/s2"
            ),
            Self::NotPositive { max_g, shift_g } => write!(
                f,
                "Max ({max_g} g) and the shift that matters ({shift_g} g) must be numbers above zero"
            ),
        }
    }
}

impl std::error::Error for GravityError {}

/// The ellipsoid behind a formula.
struct Ellipsoid {
    /// Normal gravity at the equator, m/s2.
    equator_m_s2: f64,
    /// Constant k of the closed formula.
    k: f64,
    /// Square of the first eccentricity.
    e2: f64,
    /// Flattening.
    flattening: f64,
    /// Centrifugal to gravitational force at the equator, m = w^2 a^2 b / GM.
    m: f64,
}

/// Semi-major axis of both ellipsoids, in m.
const SEMI_MAJOR_M: f64 = 6_378_137.0;

/// g at the equator, k, e2 seen on public pages that quote the standards; so
/// were f and m of WGS84. f and m of GRS80 are from memory.
const WGS84: Ellipsoid = Ellipsoid {
    equator_m_s2: 9.780_325_335_9,
    k: 0.001_931_852_652_41,
    e2: 0.006_694_379_990_13,
    flattening: 1.0 / 298.257_223_563,
    m: 0.003_449_786_506_84,
};

const GRS80: Ellipsoid = Ellipsoid {
    equator_m_s2: 9.780_326_771_5,
    k: 0.001_931_851_353,
    e2: 0.006_694_380_022_9,
    flattening: 1.0 / 298.257_222_101,
    m: 0.003_449_786_003_08,
};

impl Ellipsoid {
    /// Somigliana's closed formula, then the free-air correction of second order.
    fn gravity_m_s2(&self, sin2: f64, height_m: f64) -> f64 {
        let ground = self.equator_m_s2 * (1.0 + self.k * sin2) / (1.0 - self.e2 * sin2).sqrt();
        let first = 1.0 + self.flattening + self.m - 2.0 * self.flattening * sin2;
        let h = height_m / SEMI_MAJOR_M;
        ground * (1.0 - 2.0 * first * h + 3.0 * h * h)
    }
}

/// Normal gravity at a place, in m/s2.
///
/// ```text
/// s = sin^2(latitude)
/// WGS84, GRS80: g = g_e (1 + k s) / sqrt(1 - e2 s) * (1 - 2/a (1 + f + m - 2 f s) h + 3 h^2/a^2)
///     (NIMA TR 8350.2, third edition, formulas 4-1 and 4-3; numbers from memory)
/// OIML:         g = 9.780318 (1 + 0.0053024 s - 0.0000058 sin^2(2 latitude)) - 0.000003085 h
///     (OIML Bulletin 127, from memory)
/// ```
///
/// # Errors
/// A latitude or height that is not on the ground.
///
/// ```
/// use scalewright_metrology::gravity::{Formula, Place, normal_gravity_m_s2};
/// let place = Place { latitude_deg: 45.0, height_m: 0.0 };
/// let g = normal_gravity_m_s2(Formula::Wgs84, place)?;
/// assert!((g - 9.8061977694).abs() < 5e-11);
/// assert!(normal_gravity_m_s2(Formula::Wgs84, Place { latitude_deg: 91.0, ..place }).is_err());
/// # Ok::<(), scalewright_metrology::gravity::GravityError>(())
/// ```
pub fn normal_gravity_m_s2(formula: Formula, place: Place) -> Result<f64, GravityError> {
    let Place {
        latitude_deg,
        height_m,
    } = place;
    if !(-90.0..=90.0).contains(&latitude_deg) {
        return Err(GravityError::Latitude(latitude_deg));
    }
    if !(HEIGHTS_M.0..=HEIGHTS_M.1).contains(&height_m) {
        return Err(GravityError::Height(height_m));
    }
    let latitude = latitude_deg.to_radians();
    let sin2 = latitude.sin().powi(2);
    Ok(match formula {
        Formula::Wgs84 => WGS84.gravity_m_s2(sin2, height_m),
        Formula::Grs80 => GRS80.gravity_m_s2(sin2, height_m),
        Formula::Oiml => {
            let twice = (2.0 * latitude).sin().powi(2);
            9.780_318 * (1.0 + 0.005_302_4 * sin2 - 0.000_005_8 * twice) - 0.000_003_085 * height_m
        }
    })
}

/// Gravity at a place, and how well it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gravity {
    /// Gravity, m/s2.
    pub g_m_s2: f64,
    /// Its standard uncertainty, m/s2.
    pub u_m_s2: f64,
}

impl Gravity {
    /// Gravity by a formula, good to [`LOCAL_ANOMALY_M_S2`].
    ///
    /// # Errors
    /// As [`normal_gravity_m_s2`].
    pub fn by_formula(formula: Formula, place: Place) -> Result<Self, GravityError> {
        Ok(Self {
            g_m_s2: normal_gravity_m_s2(formula, place)?,
            u_m_s2: LOCAL_ANOMALY_M_S2,
        })
    }

    /// Gravity as surveyed or mapped, with its standard uncertainty, both in m/s2.
    ///
    /// # Errors
    /// A value that is not found on the ground, an uncertainty below zero.
    pub fn measured(g_m_s2: f64, u_m_s2: f64) -> Result<Self, GravityError> {
        if !(POSSIBLE_M_S2.0..=POSSIBLE_M_S2.1).contains(&g_m_s2) {
            return Err(GravityError::Gravity(g_m_s2));
        }
        if !(u_m_s2.is_finite() && u_m_s2 >= 0.0) {
            return Err(GravityError::Uncertainty(u_m_s2));
        }
        Ok(Self { g_m_s2, u_m_s2 })
    }
}

/// What a move does to a scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moved {
    /// Relative change of every reading, no unit: 1e-3 is a gram in a kilogram.
    pub relative: f64,
    /// Its standard uncertainty, no unit.
    pub u_relative: f64,
}

/// The shift of a strain-gauge scale calibrated under `from` and used under `to`.
///
/// ```text
/// reading under to = reading under from * g_to / g_from
/// relative = g_to/g_from - 1,  u = g_to/g_from sqrt((u_to/g_to)^2 + (u_from/g_from)^2)
/// ```
///
/// The two uncertainties are taken as independent. Between places of one
/// neighbourhood, that share their anomaly, the true uncertainty is smaller.
#[must_use]
pub fn moved(from: Gravity, to: Gravity) -> Moved {
    let ratio = to.g_m_s2 / from.g_m_s2;
    let spread = (to.u_m_s2 / to.g_m_s2).hypot(from.u_m_s2 / from.g_m_s2);
    Moved {
        relative: (to.g_m_s2 - from.g_m_s2) / from.g_m_s2,
        u_relative: ratio * spread,
    }
}

impl Moved {
    /// What the moved scale reads for `load_g` that it read rightly before, in g.
    #[must_use]
    pub fn reading_g(&self, load_g: f64) -> f64 {
        load_g * (1.0 + self.relative)
    }

    /// The shift at a load and its standard uncertainty, both in g.
    #[must_use]
    pub fn shift_g(&self, load_g: f64) -> (f64, f64) {
        (load_g * self.relative, load_g.abs() * self.u_relative)
    }

    /// Whether two places on the ground can differ by that: [`MOST_RELATIVE`].
    #[must_use]
    pub fn is_possible(&self) -> bool {
        self.relative.abs() <= MOST_RELATIVE
    }

    /// What every mass in the table is to be multiplied by, so that the moved
    /// scale reads rightly again; no unit. Its relative standard uncertainty is
    /// [`Moved::u_relative`] to first order.
    #[must_use]
    pub fn table_factor(&self) -> f64 {
        1.0 / (1.0 + self.relative)
    }
}

/// The smallest moves that matter, each on its own.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SmallestMove {
    /// Change of latitude in degrees, in the direction where less is enough;
    /// absent when not even the pole or the equator is far enough.
    pub latitude_deg: Option<f64>,
    /// Change of height in m; absent when no ground is far enough.
    pub height_m: Option<f64>,
    /// Local anomalies alone may shift the reading at Max by this standard
    /// uncertainty, in g, in a move between two places.
    pub anomaly_g: f64,
}

/// The smallest move from `place` that shifts the reading at Max of `max_g` by
/// `shift_g`. For a scale interval e, half of it is the smallest maximum
/// permissible error (OIML R 76-1:2006, table 6).
///
/// # Errors
/// A place that is not on the ground; Max or shift not above zero.
pub fn smallest_move(
    formula: Formula,
    place: Place,
    max_g: f64,
    shift_g: f64,
) -> Result<SmallestMove, GravityError> {
    let positive = |v: f64| v.is_finite() && v > 0.0;
    if !(positive(max_g) && positive(shift_g)) {
        return Err(GravityError::NotPositive { max_g, shift_g });
    }
    let here = normal_gravity_m_s2(formula, place)?;
    let limit = shift_g / max_g;
    let far = |there: Place| {
        normal_gravity_m_s2(formula, there).is_ok_and(|g| ((g - here) / here).abs() >= limit)
    };
    // Both halves of the earth are alike, and gravity grows all the way to the pole.
    let latitude = place.latitude_deg.abs();
    let at_latitude = |latitude_deg: f64| {
        far(Place {
            latitude_deg,
            ..place
        })
    };
    let at_height = |height_m: f64| far(Place { height_m, ..place });
    let nearer = |a: Option<f64>, b: Option<f64>| match (a, b) {
        (Some(a), Some(b)) => Some(a.min(b)),
        (one, other) => one.or(other),
    };
    let both = |from: f64, (low, high): (f64, f64), far: &dyn Fn(f64) -> bool| {
        nearer(
            first_far(from, low, far).map(|at| from - at),
            first_far(from, high, far).map(|at| at - from),
        )
    };
    Ok(SmallestMove {
        latitude_deg: both(latitude, (0.0, 90.0), &at_latitude),
        height_m: both(place.height_m, HEIGHTS_M, &at_height),
        anomaly_g: max_g * std::f64::consts::SQRT_2 * LOCAL_ANOMALY_M_S2 / here,
    })
}

/// Where between `from` and `to` a departure that only grows becomes far, by
/// halving; `None` when it does not.
fn first_far(from: f64, to: f64, far: &dyn Fn(f64) -> bool) -> Option<f64> {
    if !far(to) {
        return None;
    }
    let (mut near, mut beyond) = (from, to);
    for _ in 0..100 {
        let middle = 0.5 * (near + beyond);
        if middle == near || middle == beyond {
            break;
        }
        if far(middle) {
            beyond = middle;
        } else {
            near = middle;
        }
    }
    Some(beyond)
}
