//! What a single reading is worth from now on, and from which load on it is
//! accurate enough: after EURAMET cg-18 version 4.0, 7.4, 7.5 and its appendix
//! on the minimum weight (from memory), from what the tests showed.

use scalewright_metrology::budget::{
    Bound, BudgetRefusal, Eccentricity, ErrorPoint, InUse, LineThroughZero, Placing, Repeatability,
    Requirement, minimum_weight_g,
};

use super::Test;
use super::evaluate::Judge;
use crate::record::proof::{InUseLine, MinimumLine, ProofRow, TestOutcome, WeighingLine};

/// Relative accuracies for which a smallest load is told; round numbers as
/// recipes and house rules name them (own choice).
const WANTED: [f64; 6] = [0.1, 0.01, 0.005, 0.002, 0.001, 0.0005];

/// How many times better than asked a scale is wanted where much hangs on it
/// (common practice).
const SAFETY: f64 = 2.0;

/// The errors as they are in use: readings are not corrected by them.
struct Left {
    /// Proportional to the reading.
    line: LineThroughZero,
    /// No error that was found is larger, g; used where errors lie on no line.
    bound: Bound,
}

impl Left {
    fn of(rows: &[ProofRow]) -> Result<Self, BudgetRefusal> {
        let points = rows.iter().filter_map(|row| {
            let (expanded_g, k) = (row.expanded_u_g?, row.k?);
            Some(ErrorPoint {
                indication_g: row.load_g + row.value_g,
                error_g: row.value_g,
                u_g: expanded_g / k,
                expanded_g,
            })
        });
        let sizes: Vec<(f64, f64)> = rows
            .iter()
            .map(|row| (row.load_g, row.value_g.abs()))
            .collect();
        Ok(Self {
            line: LineThroughZero::fit(&points.collect::<Vec<_>>())?,
            bound: Bound::over(&sizes)?,
        })
    }

    /// Whether the line tells every error within its uncertainty.
    fn is_line(&self) -> bool {
        self.line.check.within_expanded
    }

    /// The line that enters a budget: where errors lie on none, its uncertainty
    /// stays and the largest error takes the place of its slope.
    fn for_budget(&self) -> LineThroughZero {
        let slope = if self.is_line() { self.line.slope } else { 0.0 };
        LineThroughZero { slope, ..self.line }
    }

    /// Size of the error at a reading beside the line's, g.
    fn beside_line_g(&self, reading_g: f64) -> f64 {
        match self.is_line() {
            true => 0.0,
            false => self.bound.at_g(reading_g),
        }
    }
}

/// What readings are worth; `None` where the errors tell too little.
pub(super) fn of(judge: &Judge<'_>, tests: &[TestOutcome]) -> Option<InUseLine> {
    let errors = tests
        .iter()
        .find(|test| test.test == Test::Errors.name())
        .map(|test| test.rows.as_slice())?;
    let left = Left::of(errors).ok()?;
    let max_g = judge.plan.scale.max_g;
    let mut loads: Vec<f64> = errors.iter().map(|row| row.load_g).collect();
    let reach_g = loads.iter().copied().fold(0.0, f64::max).min(max_g);
    loads.retain(|load_g| *load_g <= reach_g);
    loads.sort_by(f64::total_cmp);
    loads.dedup();
    let weighings: Vec<WeighingLine> = loads
        .iter()
        .filter_map(|load_g| weighing(judge, &left, *load_g).ok())
        .collect();
    let at_zero = weighing(judge, &left, 0.0).ok();
    let points: Vec<(f64, f64)> = at_zero
        .iter()
        .chain(&weighings)
        .map(|one| (one.load_g, one.expanded_u_g))
        .collect();
    let formula = Bound::over(&points).ok()?;
    let least = |relative: f64, safety: f64| {
        let asked = Requirement { relative, safety };
        let expanded = |load_g: f64| Ok(weighing(judge, &left, load_g)?.expanded_u_g);
        minimum_weight_g(asked, reach_g, expanded).ok()
    };
    Some(InUseLine {
        reads_g: judge.plan.scale.d_g,
        anywhere: judge.budgeting.off_centre().is_some(),
        reach_g,
        slope: left.line.slope,
        u_slope: left.line.u_slope,
        errors_lie_on_line: left.is_line(),
        weighings,
        base_g: formula.base_g,
        rise: formula.rise,
        minimum: WANTED
            .iter()
            .map(|relative| MinimumLine {
                relative: *relative,
                load_g: least(*relative, 1.0),
                with_safety_g: least(*relative, SAFETY),
            })
            .collect(),
        safety: SAFETY,
        not_counted: not_counted(judge),
    })
}

fn weighing(judge: &Judge<'_>, left: &Left, load_g: f64) -> Result<WeighingLine, BudgetRefusal> {
    let budgeting = &judge.budgeting;
    let (sd_g, dof) = budgeting.scatter(load_g);
    let d_g = judge.plan.scale.d_g;
    let in_use = InUse {
        zero_interval_g: d_g,
        interval_g: d_g,
        repeatability: Repeatability {
            sd_g,
            dof,
            averaged: 1,
        },
        eccentricity: budgeting.off_centre().map(|(off_g, at_g)| {
            let found = Eccentricity {
                largest_difference_g: off_g,
                test_load_g: at_g,
            };
            (found, Placing::Anywhere)
        }),
        temperature: None,
        air_relative: budgeting.air_share(),
        adjustment_relative: 0.0,
        zero_drift_g: budgeting.zero_moved_g(),
        line: left.for_budget(),
        corrected: false,
    };
    let beside_g = left.beside_line_g(load_g);
    Ok(WeighingLine {
        load_g,
        standard_u_g: in_use.budget(load_g)?.u_g(),
        error_left_g: in_use.line.error_g(load_g).abs() + beside_g,
        expanded_u_g: in_use.expanded_g(load_g)? + beside_g,
    })
}

/// What a reading's uncertainty says nothing of.
fn not_counted(judge: &Judge<'_>) -> Vec<String> {
    let mut out = Vec::new();
    if judge.budgeting.off_centre().is_none() {
        out.push("loads beside the middle of the pan, since that was not tested");
    }
    if !judge.budgeting.tried_repeatability() {
        out.push("repeatability as it is: that was not tested, an ordinary cell's is counted");
    }
    out.extend([
        "temperature, and what the scale drifts after this verification",
        "another place: a scale that was moved weighs with another gravity",
    ]);
    out.into_iter().map(str::to_owned).collect()
}
