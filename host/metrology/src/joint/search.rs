//! The most likely scatter, and those around it worth a vote.
//!
//! The mode is found by Newton steps on differences; the rest by walking a
//! lattice of one standard deviation along the axes of the curvature there,
//! as far as a scatter is still worth a hundredth of the mode (H. Rue,
//! S. Martino, N. Chopin, "Approximate Bayesian inference for latent Gaussian
//! models", J. R. Statist. Soc. B 71 (2009), section 3; from memory).

use nalgebra::{Matrix3, SymmetricEigen, Vector3};

use super::design::Design;
use super::likelihood::{Belief, Doubt, Logs, Solved};

/// Step of the differences, in logarithms.
const STEP: f64 = 0.05;

/// The search ends when a step moves no logarithm further than this.
const STILL: f64 = 1e-4;

/// Fall of the logarithm at which a scatter is no longer worth a vote.
const FALL: f64 = 4.6;

/// Least curvature believed: a direction as flat as this is bounded by the
/// walk's own end.
const LEAST_CURVATURE: f64 = 0.1;

/// The most likely scatter.
#[derive(Debug, Clone)]
pub(super) struct Mode {
    pub(super) logs: Logs,
    pub(super) log: f64,
    /// Steps of one standard deviation.
    axes: [Vector3<f64>; 3],
}

impl Mode {
    /// Log of the evidence for what was assumed, up to a constant: height times
    /// volume of the mode (Laplace).
    pub(super) fn evidence(&self) -> f64 {
        let volume = |axis: &Vector3<f64>| axis.norm().ln();
        self.log + self.axes.iter().map(volume).sum::<f64>()
    }
}

/// Finds the mode, from `from` on; `None` when nothing can be solved.
pub(super) fn mode(design: &Design, belief: &Belief, doubts: &[Doubt], from: Logs) -> Option<Mode> {
    let log = |at: Vector3<f64>| {
        design
            .solve(belief, [at.x, at.y, at.z], doubts)
            .map(|solved| solved.log)
    };
    let mut at = Vector3::from(from);
    let mut here = log(at)?;
    let mut axes = [Vector3::zeros(); 3];
    for _ in 0..40 {
        let (slope, curvature) = differences(&log, at, here)?;
        let eigen = SymmetricEigen::new(-curvature);
        let mut step = Vector3::zeros();
        for (k, one) in axes.iter_mut().enumerate() {
            let axis = eigen.eigenvectors.column(k).into_owned();
            let bend = eigen.eigenvalues[k].max(LEAST_CURVATURE);
            step += axis * (axis.dot(&slope) / bend);
            *one = axis / bend.sqrt();
        }
        let longest = step.amax();
        if longest > 2.0 {
            step *= 2.0 / longest;
        }
        // Halve until it rises; a mode is reached when nothing does.
        let mut rose = false;
        for _ in 0..8 {
            if let Some(there) = log(at + step).filter(|there| *there >= here) {
                at += step;
                here = there;
                rose = true;
                break;
            }
            step *= 0.5;
        }
        if !rose || step.amax() < STILL {
            break;
        }
    }
    Some(Mode {
        logs: [at.x, at.y, at.z],
        log: here,
        axes,
    })
}

fn differences(
    log: &dyn Fn(Vector3<f64>) -> Option<f64>,
    at: Vector3<f64>,
    here: f64,
) -> Option<(Vector3<f64>, Matrix3<f64>)> {
    let unit = |k: usize| Vector3::from_fn(|i, _| if i == k { STEP } else { 0.0 });
    let mut slope = Vector3::zeros();
    let mut curvature = Matrix3::zeros();
    let mut ahead = [0.0; 3];
    let mut behind = [0.0; 3];
    for k in 0..3 {
        ahead[k] = log(at + unit(k))?;
        behind[k] = log(at - unit(k))?;
        slope[k] = (ahead[k] - behind[k]) / (2.0 * STEP);
        curvature[(k, k)] = (ahead[k] - 2.0 * here + behind[k]) / (STEP * STEP);
    }
    for (j, k) in [(0, 1), (0, 2), (1, 2)] {
        let both = log(at + unit(j) + unit(k))?;
        // Second order needs only the corner ahead of both and the four sides.
        let less = log(at - unit(j) - unit(k))?;
        let mixed = (both + less - ahead[j] - ahead[k] - behind[j] - behind[k] + 2.0 * here)
            / (2.0 * STEP * STEP);
        curvature[(j, k)] = mixed;
        curvature[(k, j)] = mixed;
    }
    Some((slope, curvature))
}

/// The scatters worth a vote, each with the unknowns under it and its weight;
/// weights add up to one.
pub(super) fn votes(
    design: &Design,
    belief: &Belief,
    doubts: &[Doubt],
    mode: &Mode,
) -> Vec<(f64, Logs, Solved)> {
    let mut seen: Vec<[i32; 3]> = vec![[0; 3]];
    let mut waiting: Vec<[i32; 3]> = vec![[0; 3]];
    let mut votes = Vec::new();
    while let Some(place) = waiting.pop() {
        let mut at = Vector3::from(mode.logs);
        for (axis, steps) in mode.axes.iter().zip(place) {
            at += axis * f64::from(steps);
        }
        let logs = [at.x, at.y, at.z];
        let Some(solved) = design.solve(belief, logs, doubts) else {
            continue;
        };
        if solved.log < mode.log - FALL {
            continue;
        }
        votes.push(((solved.log - mode.log).exp(), logs, solved));
        for k in 0..3 {
            for side in [-1, 1] {
                let mut next = place;
                next[k] += side;
                // Six deviations along each axis are beyond any vote that counts.
                if next[k].abs() <= 6 && !seen.contains(&next) {
                    seen.push(next);
                    waiting.push(next);
                }
            }
        }
    }
    let total: f64 = votes.iter().map(|vote| vote.0).sum();
    for vote in &mut votes {
        vote.0 /= total;
    }
    votes
}
