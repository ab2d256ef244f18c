//! The uncertainty of what the other scale showed: rounding at the load and at
//! zero, and how well it repeats (after EURAMET cg-18, 7.1.1, from memory).

use scalewright_metrology::distribution::student_t_two_sided;
use scalewright_metrology::statistics::pooled_sd;

use super::pairing::{Paired, PairedLoad};
use super::{Choices, ComparingFault, fault};
use crate::record::readings::Readings;

/// What is believed of a scale whose repeatability was not tried, d: makers
/// choose d so that a scale repeats within about one (common practice).
const BELIEVED_D: f64 = 0.5;

/// Coverage factor of every comparison.
const COVERAGE: f64 = scalewright_metrology::comparison::COVERAGE_FACTOR;

/// What is known of the other scale.
pub(super) struct TheirUncertainty {
    d_g: f64,
    stated_d: bool,
    stated_u_g: Option<f64>,
    /// Standard deviation of one reading, g, with its degrees of freedom.
    repeats: Option<(f64, usize)>,
    /// Lines from which on readings keep moving.
    moving: Vec<usize>,
    /// Loads at which repeats are an e apart, in words.
    wide: Vec<String>,
}

impl TheirUncertainty {
    pub(super) fn of(
        paired: &Paired,
        theirs: &Readings,
        choices: &Choices,
    ) -> Result<Self, ComparingFault> {
        let d_g = choices.their_d_g.unwrap_or(theirs.step_g);
        let sound = |g: f64| (1e-9..=1e9).contains(&g);
        if !sound(d_g) || !choices.their_expanded_g.is_none_or(sound) {
            return Err(fault(
                "the other scale's interval or uncertainty makes no sense",
                "write it as in --their-d 1g or --their-u 0.5g",
            ));
        }
        let groups: Vec<&[f64]> = (paired.loads.iter())
            .map(|load| load.readings_g.as_slice())
            .collect();
        let repeats = pooled_sd(&groups).filter(|(sd, dof)| *dof > 0 && sd.is_finite());
        let still_moving = theirs.flags.iter().filter(|flag| !flag.left_out);
        let wide = paired
            .loads
            .iter()
            .filter(|load| load.range_g() > 5.0 * d_g);
        Ok(Self {
            d_g,
            stated_d: choices.their_d_g.is_some(),
            stated_u_g: choices
                .their_expanded_g
                .map(|expanded_g| expanded_g / COVERAGE),
            repeats,
            moving: still_moving.map(|flag| flag.line).collect(),
            wide: wide
                .map(|load| format!("{} ({})", grams(load.ours.load_g), grams(load.range_g())))
                .collect(),
        })
    }

    /// Standard deviation of one reading, g.
    fn sd_g(&self) -> f64 {
        match self.repeats {
            // Few repeats spread wider than normal ones: so that k = 2 covers.
            Some((sd, dof)) => {
                let t = student_t_two_sided(0.9545, dof as f64).unwrap_or(COVERAGE);
                sd * (t / COVERAGE).max(1.0)
            }
            None => BELIEVED_D * self.d_g,
        }
    }

    /// Standard uncertainty of the mean at a load, g.
    pub(super) fn standard_g(&self, load: &PairedLoad) -> f64 {
        // Readings that keep moving are anywhere between the first and the last.
        let moving = load.lines.iter().any(|line| self.moving.contains(line));
        let moved_g = if moving {
            load.range_g() / 2.0 / 3f64.sqrt()
        } else {
            0.0
        };
        if let Some(u_g) = self.stated_u_g {
            return u_g.hypot(moved_g);
        }
        let rounding_g = self.d_g / 12f64.sqrt();
        let repeated_g = self.sd_g() / (load.readings_g.len().max(1) as f64).sqrt();
        let zero_g = rounding_g;
        rounding_g.hypot(zero_g).hypot(repeated_g).hypot(moved_g)
    }

    pub(super) fn d_g(&self) -> f64 {
        self.d_g
    }

    /// Where it comes from, in words.
    pub(super) fn words(&self) -> String {
        let repeats = match (self.stated_u_g, self.repeats) {
            (Some(u_g), _) => return format!("as stated, U = {} (k = 2)", grams(COVERAGE * u_g)),
            (None, Some((sd, dof))) => {
                format!("repeats, {} with {dof} degrees of freedom", grams(sd))
            }
            (None, None) => "half of d for repeatability, which was not tried".into(),
        };
        format!(
            "rounding to d = {} at load and zero; {repeats}",
            grams(self.d_g)
        )
    }

    pub(super) fn remarks(&self) -> Vec<String> {
        let mut out = Vec::new();
        if self.stated_u_g.is_none() && !self.stated_d {
            out.push(format!(
                "the other scale's d is taken as {}, as its digits show; --their-d says it",
                grams(self.d_g)
            ));
        }
        if self.stated_u_g.is_none() && self.repeats.is_none() {
            out.push(
                "no load was read twice on the other scale: put each on three times, or say \
                 --their-u, and the answer is surer"
                    .into(),
            );
        }
        if !self.wide.is_empty() {
            out.push(format!(
                "readings of one load are more than 5 d apart on the other scale: at {}",
                self.wide.join(", ")
            ));
        }
        out
    }
}

/// A mass in g as people write it.
fn grams(mass_g: f64) -> String {
    // Three digits of what is small, a milligram of what is not.
    let places = (2.0 - mass_g.abs().max(1e-9).log10().floor()).clamp(3.0, 9.0);
    let step = 10f64.powf(places);
    let rounded = (mass_g * step).round() / step;
    format!("{rounded} g")
}
