//! Captured loads, and what they say once captures of one load are gathered.
//!
//! Owns the grouping: captures of one load become one point, the mean of
//! loading and unloading, with a variance that counts repeatability as well as
//! the scatter inside a capture. Guarantees points that rise in mass and
//! counts. Refuses by [`FitRefusal`].

use crate::refusal::FitRefusal;
use crate::statistics::{mean, pooled_sd};

/// One capture of one load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observation {
    /// Index of the distinct load; all captures of one load share it.
    pub load: usize,
    /// Counts net of zero, zero drift removed.
    pub counts: f64,
    /// Mass of the load in g; 0 for a zero observation.
    pub mass_g: f64,
    /// Standard uncertainty of the capture's mean, in counts; 0 = unknown.
    pub sd_counts: f64,
    /// Whether the load was reached by loading (true) or unloading.
    pub rising: bool,
    /// Whether the converter was at its end during the capture.
    pub saturated: bool,
}

/// All captures of one load as one point of the curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LoadPoint {
    /// Index of the distinct load.
    pub load: usize,
    /// Mass in g.
    pub mass_g: f64,
    /// Net counts: mean of the loading mean and the unloading mean.
    pub counts: f64,
    /// How many equal captures the mean is worth.
    pub worth: f64,
    /// Variance of a single capture's mean in counts^2; 0 = unknown.
    pub capture_var: f64,
}

/// The points of a calibration in rising order, without zero.
#[derive(Debug, Clone, PartialEq)]
pub struct Gathered {
    /// The points, rising strictly in mass and counts.
    pub points: Vec<LoadPoint>,
    /// Variance between captures of one load and direction, in counts^2.
    pub repeat_var: f64,
    /// Degrees of freedom of that variance; 0 = no load was repeated.
    pub repeat_dof: usize,
}

/// How uncertain the points are, as far as the captures tell.
#[derive(Debug, Clone, PartialEq)]
pub struct Scatter {
    /// Variance of each point in counts^2, up to one common factor.
    pub variances: Vec<f64>,
    /// Degrees of freedom with which the common factor is known to be 1.
    pub dof: f64,
    /// The common factor can't be less than this.
    pub least_factor: f64,
}

impl Gathered {
    /// Points of the observations; loads closer than `merge_g` become one.
    ///
    /// # Errors
    /// Numbers that aren't finite, a saturated capture, masses that differ
    /// within a load, or readings that don't rise with the load.
    pub fn new(observations: &[Observation], merge_g: f64) -> Result<Self, FitRefusal> {
        for (i, o) in observations.iter().enumerate() {
            let finite = o.counts.is_finite() && o.mass_g.is_finite() && o.sd_counts.is_finite();
            // Products of three such numbers must still fit an f64.
            let huge = o.counts.abs() > 1e60 || o.mass_g > 1e60 || o.sd_counts > 1e60;
            if !finite || huge || o.sd_counts < 0.0 {
                return Err(FitRefusal::NotFinite { observation: i });
            }
            if o.mass_g < 0.0 {
                return Err(FitRefusal::NegativeMass { mass_g: o.mass_g });
            }
            if o.saturated {
                return Err(FitRefusal::Saturated { mass_g: o.mass_g });
            }
        }
        let mut sorted: Vec<&Observation> = observations.iter().collect();
        sorted.sort_by_key(|o| o.load);
        let mut groups: Vec<Vec<&Observation>> = Vec::new();
        for chunk in sorted.chunk_by(|a, b| a.load == b.load) {
            let Some(first) = chunk.first() else { continue };
            // Captures of one load differ in mass by nothing but rounding.
            let differs = |o: &&&Observation| {
                (o.mass_g - first.mass_g).abs() > 1e-6 * first.mass_g.max(o.mass_g)
            };
            if let Some(other) = chunk.iter().find(differs) {
                return Err(FitRefusal::MassesDiffer {
                    one_g: first.mass_g,
                    other_g: other.mass_g,
                });
            }
            if first.mass_g > 0.0 {
                groups.push(chunk.to_vec());
            }
        }
        // Scatter between captures is taken before close loads are merged:
        // their difference of mass is none of it.
        let by_direction: Vec<Vec<f64>> = groups
            .iter()
            .flat_map(|g| [true, false].map(|rising| direction(g, rising)))
            .collect();
        let (sd, repeat_dof) = pooled_sd(&by_direction).unwrap_or((0.0, 0));
        groups.sort_by(|a, b| first_mass(a).total_cmp(&first_mass(b)));
        groups.dedup_by(|next, kept| {
            let close = first_mass(next) - first_mass(kept) <= merge_g;
            if close {
                kept.append(next);
            }
            close
        });

        let points: Vec<LoadPoint> = groups.iter().filter_map(|g| point(g)).collect();
        for pair in points.windows(2) {
            if let [a, b] = pair {
                check_rising(a.mass_g, a.counts, b.mass_g, b.counts)?;
            }
        }
        if let Some(p) = points.first() {
            check_rising(0.0, 0.0, p.mass_g, p.counts)?;
        }
        Ok(Self {
            points,
            repeat_var: sd * sd,
            repeat_dof,
        })
    }

    /// The same points without the one at `index`.
    pub fn without(&self, index: usize) -> Self {
        let mut rest = self.clone();
        if index < rest.points.len() {
            rest.points.remove(index);
        }
        rest
    }

    /// Mean sensitivity in g per count, from the largest load; `None` without loads.
    pub fn grams_per_count(&self) -> Option<f64> {
        self.points.last().map(|p| p.mass_g / p.counts)
    }

    /// The variances of the points, from whatever the captures tell.
    ///
    /// Repeated loads speak first: the variance between captures, never below
    /// that inside one, divided by the captures' worth. Without repeats only
    /// the scatter inside captures is known. It says nothing of how well a load
    /// comes back, so as much again is assumed for that: one very quiet capture
    /// then weighs at most twice the average. With neither, all captures count
    /// alike and the common factor is open.
    pub fn scatter(&self) -> Scatter {
        let known: Vec<f64> = self.points.iter().map(|p| p.capture_var).collect();
        let known: Vec<f64> = known.into_iter().filter(|v| *v > 0.0).collect();
        let typical = mean(&known).unwrap_or(0.0);
        let repeat = self.repeat_var.max(typical);
        if self.repeat_dof > 0 && repeat > 0.0 {
            return Scatter {
                variances: self.points.iter().map(|p| repeat / p.worth).collect(),
                dof: self.repeat_dof as f64,
                least_factor: 0.0,
            };
        }
        if typical > 0.0 {
            let own = |p: &LoadPoint| {
                if p.capture_var > 0.0 {
                    p.capture_var
                } else {
                    typical
                }
            };
            return Scatter {
                variances: (self.points.iter())
                    .map(|p| (own(p) + typical) / p.worth)
                    .collect(),
                dof: 0.0,
                least_factor: 0.5,
            };
        }
        Scatter {
            variances: self.points.iter().map(|p| 1.0 / p.worth).collect(),
            dof: 0.0,
            least_factor: 0.0,
        }
    }
}

fn first_mass(group: &[&Observation]) -> f64 {
    group.first().map_or(0.0, |o| o.mass_g)
}

fn direction(group: &[&Observation], rising: bool) -> Vec<f64> {
    (group.iter().filter(|o| o.rising == rising))
        .map(|o| o.counts)
        .collect()
}

fn point(group: &[&Observation]) -> Option<LoadPoint> {
    let load = group.first()?.load;
    let up = direction(group, true);
    let down = direction(group, false);
    let (counts, worth) = match (mean(&up), mean(&down)) {
        // The curve wanted lies midway, however often each way was taken.
        (Some(a), Some(b)) => {
            let spread = 1.0 / up.len() as f64 + 1.0 / down.len() as f64;
            (0.5 * (a + b), 4.0 / spread)
        }
        (Some(a), None) => (a, up.len() as f64),
        (None, Some(b)) => (b, down.len() as f64),
        (None, None) => return None,
    };
    let masses: Vec<f64> = group.iter().map(|o| o.mass_g).collect();
    let known: Vec<f64> = (group.iter().map(|o| o.sd_counts.powi(2)))
        .filter(|v| *v > 0.0)
        .collect();
    Some(LoadPoint {
        load,
        mass_g: mean(&masses)?,
        counts,
        worth,
        capture_var: mean(&known).unwrap_or(0.0),
    })
}

fn check_rising(mass_a: f64, counts_a: f64, mass_b: f64, counts_b: f64) -> Result<(), FitRefusal> {
    // A difference lost in rounding is none: segments between such loads have no slope.
    let least = 1e-12 * counts_a.abs().max(counts_b.abs());
    if counts_b - counts_a > least {
        return Ok(());
    }
    Err(FitRefusal::NotMonotone {
        lighter_g: mass_a,
        lighter_counts: counts_a,
        heavier_g: mass_b,
        heavier_counts: counts_b,
    })
}
