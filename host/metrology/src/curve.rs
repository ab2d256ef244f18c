//! Curves from net counts to grams, and the knots a table is made of.
//!
//! Owns the meaning of a knot list in f64: straight lines between knots, the
//! end lines continued beyond both ends. Guarantees order: a [`Knots`] made by
//! [`Knots::new`] rises strictly in both coordinates.

use std::fmt;

/// A calibration curve: mass as a function of net counts.
pub trait Curve {
    /// The mass in g at `counts` (net of zero).
    fn mass_g(&self, counts: f64) -> f64;

    /// The counts where the curve is not smooth, if any, in rising order.
    fn corners(&self) -> Vec<f64> {
        Vec::new()
    }

    /// The standard uncertainty of the curve in g at `counts`, where the fit
    /// can say; it covers the fit, not the weights nor the next reading.
    fn u_g(&self, _counts: f64) -> Option<f64> {
        None
    }
}

/// Why a list of points is not a knot list.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum KnotsError {
    /// Fewer than two points.
    TooFew(usize),
    /// A coordinate of this point is not a finite number.
    NotFinite(usize),
    /// This point does not rise above the one before it in both coordinates.
    NotRising(usize),
}

impl fmt::Display for KnotsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooFew(n) => write!(f, "a table needs at least two points, got {n}"),
            Self::NotFinite(i) => write!(f, "point {} is not a finite number", i + 1),
            Self::NotRising(i) => write!(
                f,
                "point {} does not rise above point {i} in counts and mass",
                i + 1
            ),
        }
    }
}

impl std::error::Error for KnotsError {}

/// Points of a segmented curve, strictly rising in counts and in mass.
#[derive(Debug, Clone, PartialEq)]
pub struct Knots {
    /// `(counts, mass_g)`, rising. Whoever changes them keeps them so.
    pub points: Vec<(f64, f64)>,
}

impl Knots {
    /// A knot list, after checking its order.
    ///
    /// # Errors
    /// Fewer than two points, a point that isn't finite or doesn't rise.
    pub fn new(points: Vec<(f64, f64)>) -> Result<Self, KnotsError> {
        if points.len() < 2 {
            return Err(KnotsError::TooFew(points.len()));
        }
        if let Some(i) = points
            .iter()
            .position(|(c, m)| !c.is_finite() || !m.is_finite())
        {
            return Err(KnotsError::NotFinite(i));
        }
        let falls = |pair: &[(f64, f64)]| match pair {
            [a, b] => b.0 <= a.0 || b.1 <= a.1,
            _ => false,
        };
        if let Some(i) = points.windows(2).position(falls) {
            return Err(KnotsError::NotRising(i + 1));
        }
        Ok(Self { points })
    }

    /// The mass in g at `counts`: interpolated between knots, the first and
    /// last lines continued beyond the ends. NaN without two knots.
    ///
    /// ```
    /// use scalewright_metrology::curve::Knots;
    /// let knots = Knots::new(vec![(0.0, 0.0), (100.0, 50.0), (200.0, 110.0)])?;
    /// assert_eq!(knots.lookup(50.0), 25.0);
    /// assert_eq!(knots.lookup(300.0), 170.0);
    /// assert!(Knots::new(vec![(0.0, 0.0), (100.0, -1.0)]).is_err());
    /// # Ok::<(), scalewright_metrology::curve::KnotsError>(())
    /// ```
    pub fn lookup(&self, counts: f64) -> f64 {
        let after = self.points.partition_point(|p| p.0 <= counts);
        let upper = after.clamp(1, self.points.len().saturating_sub(1).max(1));
        match (self.points.get(upper - 1), self.points.get(upper)) {
            (Some(a), Some(b)) => a.1 + (counts - a.0) * ((b.1 - a.1) / (b.0 - a.0)),
            _ => f64::NAN,
        }
    }
}

impl Curve for Knots {
    fn mass_g(&self, counts: f64) -> f64 {
        self.lookup(counts)
    }

    fn corners(&self) -> Vec<f64> {
        self.points.iter().map(|p| p.0).collect()
    }
}

/// The counts at which `curve` reaches `mass_g`, searched upward from
/// `from_counts`; `None` when the curve stops rising on the way or never gets
/// there within four times the straight-line guess.
///
/// The curve must rise all the way, checked at 64 steps: a table that folds
/// back would show one mass for two loads.
pub fn counts_at(curve: &dyn Curve, mass_g: f64, from_counts: f64) -> Option<f64> {
    let start = curve.mass_g(from_counts);
    if !(from_counts > 0.0 && start > 0.0 && mass_g.is_finite()) {
        return None;
    }
    let guess = from_counts * (mass_g / start);
    let (mut low, mut high) = (0.0, guess.max(from_counts));
    let mut previous = curve.mass_g(0.0);
    // Four stretches of the guess, 64 steps each, until the mass is passed.
    let step = high / 64.0;
    for i in 1..=256 {
        let at = step * i as f64;
        let value = curve.mass_g(at);
        if value.is_nan() || value <= previous {
            return None;
        }
        if value >= mass_g {
            high = at;
            break;
        }
        previous = value;
        low = at;
        if i == 256 {
            return None;
        }
    }
    // 52 halvings exhaust an f64's digits.
    for _ in 0..52 {
        let middle = 0.5 * (low + high);
        if curve.mass_g(middle) < mass_g {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(high)
}
