//! Which tests a verification makes, and what each asks for.
//!
//! Loads are those that OIML R 76-1 annex A names (clauses from memory), as near
//! as the weights at hand come. A test that they can't make says why.

use scalewright_metrology::tolerance::{AccuracyClass, Intervals, Scheme, check_class};
use serde::{Deserialize, Serialize};

use super::{Spot, Test};
use crate::record::surroundings::Surroundings;
use crate::record::weights::name;
use crate::session::plan::{Load, Plan, PlanFault, PlannedWeight, ScaleSpec};
use crate::session::together;

/// A verification, decided beforehand.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ProofPlan {
    /// The scale.
    pub scale: ScaleSpec,
    /// The weights.
    pub weights: Vec<PlannedWeight>,
    /// The tests in their order, with their steps.
    pub tests: Vec<PlannedTest>,
    /// Tests that were asked for and can't be made, and why.
    pub impossible: Vec<(Test, String)>,
    /// Whether tests that take time are cut short.
    pub short: bool,
    /// Samples per capture.
    pub samples: u16,
    /// What is judged by, as a scheme is written.
    pub scheme: String,
    /// Whether the uncertainty guards the limit.
    pub guarded: bool,
    /// What was noted of the surroundings.
    #[serde(default)]
    pub surroundings: Surroundings,
}

/// A test with its steps.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PlannedTest {
    /// Which.
    pub test: Test,
    /// What it asks for, in order.
    pub steps: Vec<ProofStep>,
}

/// One thing to do.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ProofStep {
    /// What shall be on the pan.
    pub load: Load,
    /// Where.
    pub spot: Spot,
    /// What then happens.
    pub doing: Doing,
}

/// What happens once a load rests.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Doing {
    /// It is made zero.
    SetZero,
    /// It is captured.
    Capture,
    /// It is captured when it has lain for so long.
    CaptureAfter {
        /// Since the load came, s.
        seconds: u32,
    },
    /// It is captured when the scale has been on for so long.
    CaptureOn {
        /// Since power-on, s.
        seconds: u32,
    },
    /// It is tared.
    Tare,
    /// The tare is cleared.
    ClearTare,
}

impl Doing {
    /// Whether a capture comes of it.
    #[must_use]
    pub const fn captures(self) -> bool {
        matches!(
            self,
            Self::Capture | Self::CaptureAfter { .. } | Self::CaptureOn { .. }
        )
    }
}

/// When a load that stays is captured, s after it came (OIML R 76-1 3.9.4.1 and
/// A.4.11.1, from memory: 30 minutes, with a look at 15).
const CREEP_S: [u32; 7] = [0, 300, 600, 900, 1200, 1500, 1800];

/// The same of the short variant, which tells little of creep.
const SHORT_CREEP_S: [u32; 4] = [0, 60, 120, 240];

/// When the reading is taken after power-on, s (OIML R 76-1 A.5.2, from memory:
/// at once, after 5, 15 and 30 minutes).
const WARM_UP_S: [u32; 4] = [0, 300, 900, 1800];

/// The same of the short variant.
const SHORT_WARM_UP_S: [u32; 3] = [0, 120, 300];

/// Settings of zero that are tried.
const ZEROS: usize = 3;

/// Weighings of the repeatability test: OIML R 76-1 8.3.3 asks for 3 in class
/// III and IIII and 6 in class I and II (from memory); EURAMET cg-18 wants 5
/// (from memory).
const fn weighings(class: AccuracyClass) -> usize {
    match class {
        AccuracyClass::I | AccuracyClass::II => 6,
        AccuracyClass::III | AccuracyClass::IIII => 5,
    }
}

/// Samples averaged per capture.
const SAMPLES: u16 = 16;

/// A load this far beside a step of the permitted error stands for it, as a
/// share (metrology's `weighing` asks no less).
const AT_STEP: f64 = 0.1;

/// A load this far beside the one a test wants still makes it, as a share.
const NEAR: f64 = 0.2;

impl ProofPlan {
    /// The tests asked for, with these weights, judged by a scheme.
    ///
    /// # Errors
    /// [`PlanFault`], when scale and weights make no sense together.
    pub fn new(
        scale: ScaleSpec,
        weights: Vec<PlannedWeight>,
        asked: &[Test],
        short: bool,
        scheme: String,
        guarded: bool,
    ) -> Result<Self, PlanFault> {
        // The loads of the errors test are those the calibration kept apart.
        let calibration = Plan::new(scale.clone(), weights.clone())?;
        let hand = Hand::of(&scale, &weights, &calibration, steps_g(&scheme, &scale));
        let mut tests = Vec::new();
        let mut impossible = Vec::new();
        let mut wanted: Vec<Test> = asked.to_vec();
        wanted.sort_unstable();
        wanted.dedup();
        for test in wanted {
            match hand.steps(test, short) {
                Ok(steps) => tests.push(PlannedTest { test, steps }),
                Err(why) => impossible.push((test, why)),
            }
        }
        Ok(Self {
            scale,
            weights,
            tests,
            impossible,
            short,
            samples: SAMPLES,
            scheme,
            guarded,
            surroundings: Surroundings::default(),
        })
    }

    /// Mass of the heaviest load that is asked for, g; 0 for none.
    #[must_use]
    pub fn heaviest_g(&self) -> f64 {
        let steps = self.tests.iter().flat_map(|planned| &planned.steps);
        steps.map(|step| step.load.mass_g).fold(0.0, f64::max)
    }

    /// The accuracy class.
    #[must_use]
    pub fn class(&self) -> AccuracyClass {
        self.scale.class.parse().unwrap_or(AccuracyClass::III)
    }
}

/// How long a verification takes, min: half a minute a step, and the waiting
/// (from sessions on the bench).
#[must_use]
pub fn minutes(plan: &ProofPlan) -> u32 {
    let steps = plan.tests.iter().flat_map(|planned| &planned.steps);
    let seconds: u32 = steps
        .map(|step| match step.doing {
            Doing::SetZero | Doing::Tare | Doing::ClearTare => 8,
            Doing::CaptureAfter { .. } | Doing::CaptureOn { .. } => 4,
            Doing::Capture => 15,
        })
        .sum();
    let longest = |planned: &PlannedTest| {
        let waits = planned.steps.iter().map(|step| match step.doing {
            Doing::CaptureAfter { seconds } | Doing::CaptureOn { seconds } => seconds,
            _ => 0,
        });
        waits.max().unwrap_or(0)
    };
    let waiting: u32 = plan.tests.iter().map(longest).sum();
    (seconds + waiting).div_ceil(60)
}

/// Where a scheme's permitted error steps for a scale, g; none where the scheme
/// is not understood, which judging will tell.
fn steps_g(scheme: &str, scale: &ScaleSpec) -> Vec<f64> {
    let intervals = Intervals::new(scale.e_g, scale.d_g).ok();
    let scheme: Option<Scheme> = scheme.parse().ok();
    let both = scheme.zip(intervals);
    let mut steps = both.map_or_else(Vec::new, |(scheme, at)| scheme.changes_g(&at));
    steps.retain(|at_g| *at_g < scale.max_g);
    steps
}

/// What the weights at hand can make.
struct Hand<'a> {
    scale: &'a ScaleSpec,
    weights: &'a [PlannedWeight],
    calibration: &'a Plan,
    class: AccuracyClass,
    /// One load of each mass that known weights make up to Max.
    loads: Vec<Load>,
    /// Where the permitted error steps, g.
    steps_g: Vec<f64>,
}

impl<'a> Hand<'a> {
    fn of(
        scale: &'a ScaleSpec,
        weights: &'a [PlannedWeight],
        calibration: &'a Plan,
        steps_g: Vec<f64>,
    ) -> Self {
        Self {
            scale,
            weights,
            calibration,
            class: calibration.class(),
            loads: calibration.loads(),
            steps_g,
        }
    }

    fn steps(&self, test: Test, short: bool) -> Result<Vec<ProofStep>, String> {
        match test {
            Test::WarmUp => self.warm_up(short),
            Test::Zero => Ok((0..ZEROS)
                .flat_map(|_| [set_zero(), capture(Load::empty())])
                .collect()),
            Test::Errors => self.errors(),
            Test::Repeatability => self.repeatability(),
            Test::Eccentricity => self.eccentricity(),
            Test::Discrimination => self.discrimination(),
            Test::SmallOnBig => self.small_on_big(),
            Test::Tare => self.tare(),
            Test::Creep => self.creep(short),
        }
    }

    fn warm_up(&self, short: bool) -> Result<Vec<ProofStep>, String> {
        let load = self.about(self.scale.max_g, "a load near Max")?;
        let times: &[u32] = if short { &SHORT_WARM_UP_S } else { &WARM_UP_S };
        let each = times.iter().flat_map(|seconds| {
            let at = |load: Load| ProofStep {
                load,
                spot: Spot::Middle,
                doing: Doing::CaptureOn { seconds: *seconds },
            };
            [at(Load::empty()), at(load.clone())]
        });
        Ok([set_zero()].into_iter().chain(each).collect())
    }

    fn errors(&self) -> Result<Vec<ProofStep>, String> {
        if self.calibration.verify.is_empty() {
            return Err("the weights make no loads beside those of the calibration".into());
        }
        let mut rising = self.calibration.verify.clone();
        let top_g = rising.iter().map(|load| load.mass_g).fold(0.0, f64::max);
        // Where the permitted error steps a load is asked for (OIML R 76-1 A.4.4.1,
        // from memory); a table of one's own steps where it likes.
        for at_g in &self.steps_g {
            let tried = rising
                .iter()
                .any(|load| (load.mass_g - at_g).abs() <= AT_STEP * at_g);
            let extra = self.nearest_within(AT_STEP, *at_g, |load| load.mass_g < top_g);
            if let (false, Some(extra)) = (tried, extra) {
                rising.push(extra.clone());
            }
        }
        rising.sort_by(|a, b| a.mass_g.total_cmp(&b.mass_g));
        let falling = self.calibration.verify_falling.iter().cloned();
        let loads = rising.into_iter().chain(falling).map(capture);
        let end = [capture(Load::empty())];
        Ok([set_zero()].into_iter().chain(loads).chain(end).collect())
    }

    fn repeatability(&self) -> Result<Vec<ProofStep>, String> {
        let load = self.about(0.8 * self.scale.max_g, "a load of 0.8 Max")?;
        Ok((0..weighings(self.class))
            .flat_map(|_| [set_zero(), capture(load.clone())])
            .collect())
    }

    fn eccentricity(&self) -> Result<Vec<ProofStep>, String> {
        let load = self.about(self.scale.max_g / 3.0, "a load of a third of Max")?;
        let at = |spot| ProofStep {
            load: load.clone(),
            spot,
            doing: Doing::Capture,
        };
        let spots = [Spot::Middle].into_iter().chain(Spot::QUARTERS);
        let spots = spots.chain([Spot::Middle]);
        Ok([set_zero()].into_iter().chain(spots.map(at)).collect())
    }

    /// At Min, half of Max and Max, 1.4 d more must show (OIML R 76-1 3.8.2.2 and
    /// A.4.8.2, from memory).
    fn discrimination(&self) -> Result<Vec<ProofStep>, String> {
        let (least_g, most_g) = (1.4 * self.scale.d_g, 2.0 * self.scale.d_g);
        let small = (self.loads.iter())
            .filter(|load| load.mass_g >= least_g * (1.0 - 1e-9))
            .filter(|load| load.mass_g <= most_g * (1.0 + 1e-9))
            .min_by_key(|load| load.weights.len())
            .ok_or_else(|| {
                format!(
                    "it needs small weights that make {} to {}, to put on top of other loads",
                    name(least_g),
                    name(most_g)
                )
            })?;
        let mut steps = vec![set_zero()];
        let max_g = self.scale.max_g;
        for about_g in [self.min_g(), 0.5 * max_g, max_g - small.mass_g] {
            let pair = self.nearest(about_g, |load| apart(load, small));
            steps.extend(
                pair.into_iter()
                    .flat_map(|base| self.with_on_top(base, small)),
            );
        }
        match steps.len() {
            1 => Err("the weights make no load beside the small ones".into()),
            _ => Ok(steps),
        }
    }

    fn small_on_big(&self) -> Result<Vec<ProofStep>, String> {
        // The lightest weight that is seen well enough: from 5 e on.
        let small = (self.loads.iter())
            .filter(|load| load.weights.len() == 1 && load.mass_g >= 5.0 * self.scale.e_g)
            .min_by(|a, b| a.mass_g.total_cmp(&b.mass_g))
            .ok_or("it needs a small weight of 5 e or more")?;
        let mut steps = vec![set_zero(), capture(small.clone())];
        for share in [0.25, 0.5, 0.9] {
            let base = self.nearest(share * self.scale.max_g, |load| {
                apart(load, small) && load.mass_g + small.mass_g <= self.scale.max_g * 1.000_001
            });
            steps.extend(
                base.into_iter()
                    .flat_map(|base| self.with_on_top(base, small)),
            );
        }
        match steps.len() {
            2 => Err("the weights make no big load beside the small one".into()),
            _ => Ok(steps),
        }
    }

    fn tare(&self) -> Result<Vec<ProofStep>, String> {
        let container = self.about(
            0.2 * self.scale.max_g,
            "a load of a fifth of Max as container",
        )?;
        let room_g = self.scale.max_g - container.mass_g;
        let mut loads: Vec<Load> = Vec::new();
        for share in [0.1, 0.3, 0.5, 0.7, 0.9] {
            let inside = self.nearest_within(0.7, share * room_g, |load| {
                let new = |one: &Load| one.mass_g != container.mass_g + load.mass_g;
                apart(load, &container)
                    && load.mass_g <= room_g * 1.000_001
                    && loads.iter().all(new)
            });
            let both = inside.map(|inside| self.together(&container, inside));
            loads.extend(both);
        }
        loads.sort_by(|a, b| a.mass_g.total_cmp(&b.mass_g));
        if loads.is_empty() {
            return Err("the weights leave nothing to put into the container".into());
        }
        let mut steps = vec![set_zero(), doing(container.clone(), Doing::Tare)];
        steps.push(capture(container));
        steps.extend(loads.into_iter().map(capture));
        steps.push(doing(Load::empty(), Doing::ClearTare));
        Ok(steps)
    }

    fn creep(&self, short: bool) -> Result<Vec<ProofStep>, String> {
        let load = self.about(self.scale.max_g, "a load near Max")?;
        let times: &[u32] = if short { &SHORT_CREEP_S } else { &CREEP_S };
        let each = times
            .iter()
            .map(|seconds| doing(load.clone(), Doing::CaptureAfter { seconds: *seconds }));
        let steps = [set_zero(), capture(Load::empty())].into_iter().chain(each);
        Ok(steps.chain([capture(Load::empty())]).collect())
    }

    /// Min of the class, g.
    fn min_g(&self) -> f64 {
        let limits = check_class(self.class, self.scale.e_g, self.scale.max_g);
        limits.map_or(20.0, |limits| limits.min_capacity_e) * self.scale.e_g
    }

    /// Two loads as one.
    fn together(&self, a: &Load, b: &Load) -> Load {
        let ids = a.weights.iter().chain(&b.weights);
        let position = |id: &String| self.weights.iter().position(|weight| weight.id == *id);
        let bodies: Vec<usize> = ids.filter_map(position).collect();
        together::load_of(&bodies, self.weights)
    }

    fn with_on_top(&self, base: &Load, small: &Load) -> [ProofStep; 2] {
        [capture(base.clone()), capture(self.together(base, small))]
    }

    /// The load within a fifth of this mass that comes nearest with few weights.
    fn nearest(&self, mass_g: f64, fits: impl Fn(&Load) -> bool) -> Option<&Load> {
        self.nearest_within(NEAR, mass_g, fits)
    }

    /// The same within another share of the mass.
    fn nearest_within(
        &self,
        share: f64,
        mass_g: f64,
        fits: impl Fn(&Load) -> bool,
    ) -> Option<&Load> {
        let loads = self.loads.iter().filter(|load| fits(load));
        let near = loads.filter(|load| (load.mass_g - mass_g).abs() <= share * mass_g);
        near.min_by(|a, b| {
            // Every weight more is worth a hundredth of the way.
            let cost =
                |load: &Load| (load.mass_g / mass_g - 1.0).abs() + 0.01 * load.weights.len() as f64;
            cost(a).total_cmp(&cost(b))
        })
    }

    fn about(&self, mass_g: f64, what: &str) -> Result<Load, String> {
        let found = self.nearest(mass_g, |_| true).cloned();
        found.ok_or_else(|| format!("it needs {what} ({}), within a fifth", name(mass_g)))
    }
}

/// Whether two loads can be on the pan at once.
fn apart(a: &Load, b: &Load) -> bool {
    a.weights.iter().all(|id| !b.weights.contains(id))
}

fn doing(load: Load, doing: Doing) -> ProofStep {
    ProofStep {
        load,
        spot: Spot::Middle,
        doing,
    }
}

fn capture(load: Load) -> ProofStep {
    doing(load, Doing::Capture)
}

fn set_zero() -> ProofStep {
    doing(Load::empty(), Doing::SetZero)
}
