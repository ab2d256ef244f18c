//! The most likely scatter, and those around it worth a vote.
//!
//! The mode is found by Newton steps on differences and, once close, by
//! quasi-Newton steps (C. G. Broyden, R. Fletcher, D. Goldfarb, D. F. Shanno,
//! 1970) on exact slopes; the rest by walking a lattice of one standard
//! deviation along axes of the curvature there, as far as a scatter is still
//! worth a ten-thousandth of the mode (H. Rue, S. Martino, N. Chopin,
//! "Approximate Bayesian inference for latent Gaussian models", J. R. Statist.
//! Soc. B 71 (2009), section 3; from memory). One axis is the roughness alone:
//! what the captures scatter is reduced once, and all roughnesses that go with
//! it cost next to nothing.

use nalgebra::{Matrix2, Matrix3, SymmetricEigen, Vector3};

use super::design::Design;
use super::likelihood::{Belief, Captured, Doubt, Logs};
use super::reduction::Smooth;

/// Step of the differences, in logarithms.
const STEP: f64 = 0.05;

/// The search ends with a step that moves no logarithm further than this; what
/// is left then is a small part of it.
const STILL: f64 = 1e-8;

/// A step as short as this is taken on the slopes' word: the rise of the
/// logarithm is lost in its rounding.
const ON_TRUST: f64 = 1e-5;

/// Below a step of this length the search trusts the curvature found last.
const CLOSE: f64 = 0.3;

/// No step moves a logarithm further than this.
const LONGEST: f64 = 2.0;

/// Steps of each kind, and halvings of one that does not rise.
const MOST_STEPS: usize = 40;
const HALVINGS: usize = 8;

/// Fall of the logarithm at which a scatter is no longer worth a vote.
const FALL: f64 = 9.2;

/// Least curvature believed: a direction as flat as this is bounded by the
/// walk's own end.
const LEAST_CURVATURE: f64 = 0.1;

/// Deviations along each axis beyond which no vote counts.
const FARTHEST: i32 = 6;

/// The most likely scatter.
#[derive(Debug, Clone)]
pub(super) struct Mode {
    pub(super) logs: Logs,
    pub(super) log: f64,
    /// Steps of one standard deviation; the first moves the roughness alone.
    axes: Matrix3<f64>,
}

impl Mode {
    /// Log of the evidence for what was assumed, up to a constant: height times
    /// volume of the mode (Laplace).
    pub(super) fn evidence(&self) -> f64 {
        self.log + self.axes.determinant().abs().ln()
    }
}

/// What is searched.
struct Search<'a> {
    design: &'a Design,
    belief: &'a Belief,
    doubts: &'a [Doubt],
}

/// Where the search stands.
struct Place {
    at: Vector3<f64>,
    log: f64,
    captured: Captured,
    smooth: Smooth,
}

/// Slopes of the log and minus its curvature.
struct Differences {
    slope: Vector3<f64>,
    bend: Matrix3<f64>,
}

impl Search<'_> {
    fn captured(&self, at: Vector3<f64>) -> Option<Captured> {
        self.design.captured([at.y, at.z], self.doubts)
    }

    fn place(&self, at: Vector3<f64>) -> Option<Place> {
        let captured = self.captured(at)?;
        let (log, smooth) = captured.at(self.belief, at.x)?;
        Some(Place {
            at,
            log,
            captured,
            smooth,
        })
    }

    /// The first place that is no lower, going by `step` or less of it.
    fn risen(&self, here: &Place, step: Vector3<f64>) -> Option<Place> {
        let halves = std::iter::successors(Some(step), |step| Some(step * 0.5));
        halves.take(HALVINGS).find_map(|step| {
            let there = self.place(here.at + step)?;
            (step.amax() < ON_TRUST || there.log >= here.log).then_some(there)
        })
    }

    /// By second-order differences over the roughness and what the captures
    /// scatter; a roughness costs nothing beside the captures' scatter.
    fn differences(&self, here: &Place) -> Option<Differences> {
        let log = |captured: &Captured, tau: f64| Some(captured.at(self.belief, tau)?.0);
        let tau = here.at.x;
        let mut sides = [[0.0; 2]; 3];
        let mut corners = [[0.0; 2]; 3];
        for (side, step) in [STEP, -STEP].into_iter().enumerate() {
            sides[0][side] = log(&here.captured, tau + step)?;
            let single = [Vector3::y() * step, Vector3::z() * step];
            for (k, moved) in (1..).zip(single) {
                let captured = self.captured(here.at + moved)?;
                sides[k][side] = log(&captured, tau)?;
                corners[k][side] = log(&captured, tau + step)?;
            }
            let captured = self.captured(here.at + single[0] + single[1])?;
            corners[0][side] = log(&captured, tau)?;
        }
        let twice = |[ahead, behind]: [f64; 2]| ahead + behind - 2.0 * here.log;
        let mut bend = Matrix3::zeros();
        for k in 0..3 {
            bend[(k, k)] = -twice(sides[k]) / (STEP * STEP);
        }
        // Second order needs only the corners ahead and behind and the sides.
        for (j, k, corner) in [(0, 1, 1), (0, 2, 2), (1, 2, 0)] {
            let mixed = twice(corners[corner]) - twice(sides[j]) - twice(sides[k]);
            bend[(j, k)] = -mixed / (2.0 * STEP * STEP);
            bend[(k, j)] = bend[(j, k)];
        }
        let slope = |[ahead, behind]: [f64; 2]| (ahead - behind) / (2.0 * STEP);
        Some(Differences {
            slope: Vector3::from(sides.map(slope)),
            bend: believed(bend),
        })
    }
}

/// With no direction flatter than [`LEAST_CURVATURE`].
fn believed(bend: Matrix3<f64>) -> Matrix3<f64> {
    let mut eigen = SymmetricEigen::new(bend);
    for bend in eigen.eigenvalues.iter_mut() {
        *bend = bend.max(LEAST_CURVATURE);
    }
    eigen.recompose()
}

/// The step that a curvature asks for, no logarithm moving too far.
fn step(bend: &Matrix3<f64>, slope: &Vector3<f64>) -> Option<Vector3<f64>> {
    let step = bend.cholesky()?.solve(slope);
    Some(step * (LONGEST / step.amax()).min(1.0))
}

/// Finds the mode, from `from` on; `None` when nothing can be solved.
pub(super) fn mode(design: &Design, belief: &Belief, doubts: &[Doubt], from: Logs) -> Option<Mode> {
    let search = Search {
        design,
        belief,
        doubts,
    };
    let mut here = search.place(Vector3::from(from))?;
    // Far off the curvature changes with each step.
    let mut bend = Matrix3::identity();
    for _ in 0..MOST_STEPS {
        let differences = search.differences(&here)?;
        bend = differences.bend;
        let Some(there) = search.risen(&here, step(&bend, &differences.slope)?) else {
            break;
        };
        let moved = (there.at - here.at).amax();
        here = there;
        if moved < CLOSE {
            break;
        }
    }
    // Close by, exact slopes tell what little it changes.
    let slopes = |place: &Place| {
        let roughness = (place.at.x, &place.smooth);
        design.slopes(belief, &place.captured, roughness, doubts)
    };
    let mut slope = slopes(&here);
    for _ in 0..MOST_STEPS {
        let Some(there) = step(&bend, &slope).and_then(|step| search.risen(&here, step)) else {
            break;
        };
        let moved = there.at - here.at;
        here = there;
        if moved.amax() < STILL {
            break;
        }
        let next = slopes(&here);
        let change = slope - next;
        slope = next;
        let was = bend * moved;
        let (along, before) = (change.dot(&moved), moved.dot(&was));
        if along > 1e-3 * before {
            bend += change * change.transpose() / along - was * was.transpose() / before;
        }
    }
    let axes = axes(&search.differences(&here)?.bend)?;
    Some(Mode {
        logs: [here.at.x, here.at.y, here.at.z],
        log: here.log,
        axes,
    })
}

/// Steps of one deviation, one a column: the roughness alone, then what the
/// captures scatter, the roughness following as it is likeliest.
fn axes(bend: &Matrix3<f64>) -> Option<Matrix3<f64>> {
    let spread = bend.try_inverse()?;
    let both: Matrix2<f64> = spread.fixed_view::<2, 2>(1, 1).into_owned();
    let both = SymmetricEigen::new(both);
    let mut axes = Matrix3::zeros();
    axes[(0, 0)] = bend[(0, 0)].powf(-0.5);
    for k in 0..2 {
        let axis = both.eigenvectors.column(k) * both.eigenvalues[k].max(0.0).sqrt();
        let follows = bend[(0, 1)] * axis[0] + bend[(0, 2)] * axis[1];
        axes[(0, k + 1)] = -follows / bend[(0, 0)];
        axes[(1, k + 1)] = axis[0];
        axes[(2, k + 1)] = axis[1];
    }
    Some(axes)
}

/// Scatters of the captures worth a vote with some roughness.
pub(super) struct Column {
    steps: [i32; 2],
    pub(super) captured: Captured,
    pub(super) votes: Vec<Vote>,
}

/// One scatter and what it says of the supports.
pub(super) struct Vote {
    /// The votes' weights add up to one.
    pub(super) weight: f64,
    /// Log of tau.
    pub(super) tau: f64,
    pub(super) smooth: Smooth,
}

/// The scatters worth a vote.
pub(super) fn votes(
    design: &Design,
    belief: &Belief,
    doubts: &[Doubt],
    mode: &Mode,
) -> Vec<Column> {
    let search = Search {
        design,
        belief,
        doubts,
    };
    let mut seen = Seen::default();
    let mut waiting: Vec<[i32; 3]> = vec![[0; 3]];
    let mut columns: Vec<Column> = Vec::new();
    while let Some(place) = waiting.pop() {
        let at = Vector3::from(mode.logs) + mode.axes * Vector3::from(place.map(f64::from));
        let steps = [place[1], place[2]];
        let known = columns.iter().position(|column| column.steps == steps);
        let index = known.unwrap_or(columns.len());
        if known.is_none() {
            let Some(captured) = search.captured(at) else {
                continue;
            };
            columns.push(Column {
                steps,
                captured,
                votes: Vec::new(),
            });
        }
        let column = &mut columns[index];
        let Some((log, smooth)) = column.captured.at(belief, at.x) else {
            continue;
        };
        if log < mode.log - FALL {
            continue;
        }
        column.votes.push(Vote {
            weight: (log - mode.log).exp(),
            tau: at.x,
            smooth,
        });
        for k in 0..3 {
            for side in [-1, 1] {
                let mut next = place;
                next[k] += side;
                if next[k].abs() <= FARTHEST && seen.is_new(next) {
                    waiting.push(next);
                }
            }
        }
    }
    columns.retain(|column| !column.votes.is_empty());
    let all = columns.iter().flat_map(|column| &column.votes);
    let total: f64 = all.map(|vote| vote.weight).sum();
    for vote in columns.iter_mut().flat_map(|column| &mut column.votes) {
        vote.weight /= total;
    }
    columns
}

/// Which places of the lattice the walk has been to.
struct Seen(Vec<bool>);

impl Default for Seen {
    fn default() -> Self {
        let side = 2 * FARTHEST as usize + 1;
        let mut seen = Self(vec![false; side.pow(3)]);
        seen.is_new([0; 3]);
        seen
    }
}

impl Seen {
    fn is_new(&mut self, place: [i32; 3]) -> bool {
        let index = place.iter().fold(0, |index, steps| {
            index * (2 * FARTHEST + 1) + steps + FARTHEST
        });
        let seen = self.0.get_mut(index as usize);
        seen.is_some_and(|seen| !std::mem::replace(seen, true))
    }
}
