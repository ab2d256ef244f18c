//! What the next load should read, from what was read before, and how far off
//! it may be.

use super::plan::ScaleSpec;

/// Departure from a straight line that is still a load cell, as a share of the
/// load step: four times the worst grade this program is tested with.
const STRAIGHTNESS: f64 = 0.003;

/// How far a table of unknown worth may be off, as a share of the load.
const OLD_TABLE_TRUST: f64 = 0.03;

/// Where a load is expected, ADC counts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    /// Code, not net of zero.
    pub counts: f64,
    /// Half width of the interval that counts as the load asked for.
    pub tolerance_counts: f64,
}

/// Loads seen so far.
#[derive(Clone, Debug, Default)]
pub struct Seen {
    /// (mass in g, code in counts), in order of time.
    points: Vec<(f64, f64)>,
    /// Counts per g by a table found in the device.
    old_slope: Option<f64>,
}

impl Seen {
    /// Takes the steepness of a table found in the device, counts per g.
    pub fn trust_old(&mut self, counts_per_g: Option<f64>) {
        self.old_slope = counts_per_g.filter(|slope| slope.is_finite() && *slope > 0.0);
    }

    /// Adds a capture.
    pub fn add(&mut self, mass_g: f64, counts: f64) {
        self.points.push((mass_g, counts));
    }

    /// Forgets the latest capture.
    pub fn undo(&mut self) {
        self.points.pop();
    }

    /// Forgets the codes but keeps the steepness: after a resumption zero may
    /// lie elsewhere.
    pub fn new_sitting(&mut self) {
        self.old_slope = self.slope().or(self.old_slope);
        self.points.clear();
    }

    /// Counts per g as far as known.
    #[must_use]
    pub fn slope(&self) -> Option<f64> {
        self.measured_slope().or(self.old_slope)
    }

    /// The latest code of the empty pan, counts.
    #[must_use]
    pub fn zero(&self) -> Option<f64> {
        self.points
            .iter()
            .rev()
            .find(|(mass, _)| *mass == 0.0)
            .map(|(_, counts)| *counts)
    }

    /// The load that `counts` stand for, g.
    #[must_use]
    pub fn load_g(&self, counts: f64) -> Option<f64> {
        let (mass, at) = self
            .points
            .iter()
            .rev()
            .min_by(|a, b| (a.1 - counts).abs().total_cmp(&(b.1 - counts).abs()))?;
        Some(mass + (counts - at) / self.slope()?)
    }

    /// Where `mass_g` is expected; `None` while nothing is known.
    #[must_use]
    pub fn expected(&self, mass_g: f64, scale: &ScaleSpec) -> Option<Expected> {
        let (near_g, near_counts) = self
            .points
            .iter()
            .rev()
            .min_by(|a, b| (a.0 - mass_g).abs().total_cmp(&(b.0 - mass_g).abs()))?;
        let step_g = (mass_g - near_g).abs();
        let (slope, trust) = match self.measured_slope() {
            Some(slope) => (slope, STRAIGHTNESS),
            None if step_g == 0.0 => (self.old_slope.unwrap_or(0.0), 0.0),
            None => (self.old_slope?, OLD_TABLE_TRUST),
        };
        // Zero drift, hysteresis and creep between two visits of one load.
        let visit_g = (1.5 * scale.e_g).max(0.0008 * scale.max_g);
        Some(Expected {
            counts: near_counts + slope * (mass_g - near_g),
            tolerance_counts: slope.abs() * (visit_g + trust * step_g),
        })
    }

    /// Counts per g by the captures: from the lightest to the heaviest.
    fn measured_slope(&self) -> Option<f64> {
        let low = self.points.iter().min_by(|a, b| a.0.total_cmp(&b.0))?;
        let high = self.points.iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
        let slope = (high.1 - low.1) / (high.0 - low.0);
        (slope.is_finite() && slope > 0.0).then_some(slope)
    }
}
