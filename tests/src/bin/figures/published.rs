//! Figure 1a of topic proof: published examples, and cases of the standards,
//! to their printed digits.

use scalewright_metrology::budget::{Budget, Contribution, ErrorPoint, Knowledge, LineThroughZero};
use scalewright_metrology::distribution::student_t_two_sided;
use scalewright_metrology::performance::{
    CreepRule, Instrument, LoadedSpell, Reading, TimedReading, creep, zero_return,
};
use scalewright_metrology::regression::{PolynomialModel, fit_polynomial};
use scalewright_metrology::tolerance::{AccuracyClass, Intervals, before_rounding};

use crate::row::{Bound, Sheet};

#[path = "../../../../host/metrology/tests/common/budgets.rs"]
mod budgets;

const THERMOMETER: &str = include_str!("../../../reference/gum_h3.csv");
const THERMOMETER_PRINTED: &str = include_str!("../../../reference/gum_h3.toml");
const STUDENT_T: &str = include_str!("../../../reference/student_t.csv");
const R76: &str = include_str!("../../../reference/r76_rules.toml");
const R60: &str = include_str!("../../../reference/r60.toml");
const CG18: &str = include_str!("../../../reference/cg18_case.toml");

/// Prints figure 1a.
pub fn examples(sheet: &mut Sheet) {
    Sheet::part("1a  worked examples and cases: values that agree in all printed digits");
    for (name, tally) in [
        ("GUM H.3: line, correlation, prediction", thermometer()),
        (
            "GUM G.4.1: effective degrees of freedom",
            welch_satterthwaite(),
        ),
        ("GUM G.2: Student's t, two coverages", student_t()),
        ("R 76 A.4.4.3: error before rounding", rounding()),
        ("R 60 5.5: creep and return of a cell", cell()),
        ("cg-18: four budgets and a line (own case)", calibration()),
    ] {
        tally.print(sheet, name);
    }
}

/// The values of a text as they are printed: a TOML reader would lose zeros at
/// their ends. Each with its section; repeated ones are counted from 0.
struct Printed(Vec<(String, usize, String, String)>);

impl Printed {
    fn of(text: &str) -> Self {
        let (mut section, mut place) = (String::new(), 0);
        let mut all: Vec<(String, usize, String, String)> = Vec::new();
        let mut begun: Vec<String> = Vec::new();
        for line in text.lines() {
            let line = line.split('#').next().unwrap_or_default().trim();
            if line.starts_with('[') {
                section = line.trim_matches(['[', ']']).to_owned();
                place = begun.iter().filter(|one| **one == section).count();
                begun.push(section.clone());
            } else if let Some((key, value)) = line.split_once('=') {
                let (key, value) = (key.trim().to_owned(), value.trim().to_owned());
                all.push((section.clone(), place, key, value));
            }
        }
        Self(all)
    }

    fn get(&self, section: &str, place: usize, key: &str) -> Option<&str> {
        let mut all = self.0.iter();
        all.find(|one| one.0 == section && one.1 == place && one.2 == key)
            .map(|one| one.3.as_str())
    }

    fn number(&self, section: &str, place: usize, key: &str) -> Option<f64> {
        self.get(section, place, key)?.parse().ok()
    }
}

/// Whether a value rounds to the printed one at its last printed digit.
fn agrees(ours: f64, printed: &str) -> bool {
    let (digits, exponent) = printed.split_once('e').unwrap_or((printed, "0"));
    let decimals = digits.split_once('.').map_or(0, |(_, after)| after.len());
    let (Ok(exponent), Ok(value)) = (exponent.parse::<i32>(), printed.parse::<f64>()) else {
        return false;
    };
    // Whole steps of the last digit; a power of ten above zero is exact.
    let power = i32::try_from(decimals).unwrap_or(i32::MAX) - exponent;
    let steps = |value: f64| (value * 10f64.powi(power)).round();
    steps(ours) == steps(value)
}

/// How many values agree.
#[derive(Default)]
struct Tally {
    all: usize,
    apart: Vec<String>,
}

impl Tally {
    fn value(&mut self, what: &str, ours: f64, printed: Option<&str>) {
        self.all += 1;
        let printed = printed.unwrap_or("nothing");
        if !agrees(ours, printed) {
            self.apart
                .push(format!("{what}: {ours}, printed {printed}"));
        }
    }

    /// What an example could not be computed for.
    fn broken(why: impl std::fmt::Display) -> Self {
        Self {
            all: 1,
            apart: vec![why.to_string()],
        }
    }

    fn print(&self, sheet: &mut Sheet, name: &str) {
        let agree = self.all - self.apart.len();
        let floor = Bound::AtLeast(self.all.max(1) as f64);
        let unit = format!("of {}", self.all);
        sheet.row(name, agree as f64, &unit, floor, Bound::Beside);
        for one in &self.apart {
            println!("      {one}");
        }
    }
}

fn rows(text: &str) -> impl Iterator<Item = Vec<&str>> {
    let lines = text.lines().filter(|line| !line.starts_with('#'));
    lines
        .skip(1)
        .map(|line| line.split(',').map(str::trim).collect())
}

fn thermometer() -> Tally {
    let printed = Printed::of(THERMOMETER_PRINTED);
    let numbers = rows(THERMOMETER).filter_map(|row| {
        let [t, b] = row.as_slice() else { return None };
        Some((t.parse::<f64>().ok()? - 20.0, b.parse::<f64>().ok()?))
    });
    let (t, b): (Vec<f64>, Vec<f64>) = numbers.unzip();
    let line = PolynomialModel {
        degree: 1,
        through_origin: false,
    };
    let fit = match fit_polynomial(&t, &b, None, line) {
        Ok(fit) => fit,
        Err(fault) => return Tally::broken(fault),
    };
    let ([y1, y2], [u_y1, u_y2]) = (
        [0, 1].map(|at| fit.coefficients.get(at).copied().unwrap_or(f64::NAN)),
        [0, 1].map(|at| fit.standard_deviations.get(at).copied().unwrap_or(f64::NAN)),
    );
    let covariance = fit.covariance.first().and_then(|row| row.get(1));
    let at_30 = fit.predict(10.0);
    let mut tally = Tally::default();
    for (key, ours) in [
        ("y1", y1),
        ("u_y1", u_y1),
        ("y2", y2),
        ("u_y2", u_y2),
        (
            "r",
            covariance.map_or(f64::NAN, |both| both / (u_y1 * u_y2)),
        ),
        ("s", fit.residual_sd),
        ("b30", at_30.y),
        ("u_b30", at_30.u),
        ("nu", fit.dof as f64),
    ] {
        tally.value(key, ours, printed.get("published", 0, key));
    }
    tally
}

fn welch_satterthwaite() -> Tally {
    let printed = Printed::of(THERMOMETER_PRINTED);
    let shares = [(0.25, 9.0), (0.57, 4.0), (0.82, 14.0)]
        .map(|(sd, dof)| budgets::share("a factor", Knowledge::Estimated { sd, dof }));
    let stated = match Budget::new(shares.to_vec()).statement() {
        Ok(stated) => stated,
        Err(fault) => return Tally::broken(fault),
    };
    let mut tally = Tally::default();
    for (key, ours) in [
        ("example_u_c_printed", stated.u_g),
        ("example_nu_eff_printed", stated.dof.exact),
        ("example_nu_eff_exact", stated.dof.exact),
    ] {
        tally.value(key, ours, printed.get("welch_satterthwaite", 0, key));
    }
    tally
}

fn student_t() -> Tally {
    let mut tally = Tally::default();
    for row in rows(STUDENT_T) {
        let Some(nu) = row.first().and_then(|nu| nu.parse::<f64>().ok()) else {
            continue;
        };
        for (coverage, column) in [(0.9545, 1), (0.95, 3)] {
            // A row that the table leaves out has no printed value.
            let printed = row.get(column).filter(|printed| !printed.is_empty());
            if let Some(printed) = printed {
                let ours = student_t_two_sided(coverage, nu).unwrap_or(f64::NAN);
                tally.value(&format!("nu {nu}, {coverage}"), ours, Some(printed));
            }
        }
    }
    tally
}

fn rounding() -> Tally {
    let printed = Printed::of(R76);
    let mut tally = Tally::default();
    for place in 0..3 {
        let said = |key: &str| printed.get("error_cases", place, key);
        let number = |key: &str| said(key).and_then(|n| n.parse().ok()).unwrap_or(f64::NAN);
        let [i, e, added, load, zero] = ["I", "e", "dL", "L", "E0"].map(number);
        let found = before_rounding(i, e, added, load, zero);
        tally.value(&format!("E of case {place}"), found.e, said("E"));
        tally.value(&format!("Ec of case {place}"), found.ec, said("Ec"));
    }
    tally
}

/// A cell of class C with 3000 intervals of 2 g, loaded to its top for half an
/// hour.
fn cell() -> Tally {
    let printed = Printed::of(R60);
    let (v_g, top_g) = (2.0, 6000.0);
    let timed = |at_s: f64, g: f64| TimedReading {
        at_s,
        reading: Reading::shown(g),
    };
    let found = || {
        let scheme = "R76 III initial".parse().ok()?;
        let intervals = Intervals::new(v_g, v_g).ok()?;
        let cell = Instrument::new(scheme, intervals, top_g, 0.0).ok()?;
        let cell = cell.read_in_steps_of(0.001).ok()?;
        let readings = [5.0, 1200.0, 1800.0].map(|at_s| timed(at_s, top_g));
        let rule = CreepRule::LoadCell(AccuracyClass::III);
        let crept = creep(&cell, top_g, &readings, rule).ok()?;
        let spell = LoadedSpell {
            load_g: top_g,
            lasted_s: 1800.0,
        };
        let back = zero_return(&cell, spell, Reading::shown(0.0), timed(10.0, 0.0)).ok()?;
        let half_hour = crept.half_hour.limit_g / v_g;
        Some((half_hour, crept.late?.limit_g / v_g, back.cell_limit_e))
    };
    let Some((half_hour, late, back)) = found() else {
        return Tally::broken("the cell of the example can't be judged");
    };
    let mut tally = Tally::default();
    for (section, key, ours) in [
        ("creep", "example_30_min_v", half_hour),
        ("creep", "example_20_to_30_min_v", late),
        ("dead_load_output_return", "max_v", back),
    ] {
        tally.value(key, ours, printed.get(section, 0, key));
    }
    tally
}

/// One of the budgets: its error, statement and shares.
fn calibrated(printed: &Printed, place: usize, tally: &mut Tally) -> Option<ErrorPoint> {
    let number = |key: &str| printed.number("point", place, key);
    let load_g = number("L")?;
    let weights: &[f64] = match place {
        0 => &[500.0],
        1 => &[1000.0],
        2 => &[2000.0],
        _ => &[1000.0, 2000.0],
    };
    let point = budgets::point(number("I")?, weights);
    let budget = point.budget().ok()?;
    let stated = budget.statement().ok()?;
    let error_g = point.error_g().ok()?;
    let share = |name: &str| {
        let found = budget.contributions().iter().find(|one| one.name() == name);
        found.map_or(f64::NAN, Contribution::u_g)
    };
    if place == 0 {
        tally.value("s", point.repeatability.sd_g, printed.get("", 0, "s"));
        tally.value("s_nu", point.repeatability.dof, printed.get("", 0, "s_nu"));
        let w = share("eccentricity") / point.indication_g;
        tally.value("w_ecc", w, printed.get("", 0, "w_ecc"));
    }
    for (key, ours) in [
        ("E", error_g),
        ("u_rounding_zero", share("rounding at zero")),
        ("u_rounding_load", share("rounding at the load")),
        ("u_rep", share("repeatability")),
        ("u_ecc", share("eccentricity")),
        ("u_mc", share("class of the weights")),
        ("u_buoy", share("air buoyancy")),
        ("u_E", stated.u_g),
        ("nu_eff", stated.dof.exact),
        ("k", stated.k),
        ("U", stated.expanded_g),
    ] {
        // What is the same at every load is printed once.
        let said = printed.get("point", place, key);
        if said.is_some() || place == 0 {
            tally.value(&format!("{key} at {load_g} g"), ours, said);
        }
    }
    Some(ErrorPoint {
        indication_g: point.indication_g,
        error_g,
        u_g: stated.u_g,
        expanded_g: stated.expanded_g,
    })
}

fn calibration() -> Tally {
    let printed = Printed::of(CG18);
    let mut tally = Tally::default();
    let points: Option<Vec<ErrorPoint>> = (0..4)
        .map(|place| calibrated(&printed, place, &mut tally))
        .collect();
    let Some(line) = points.and_then(|points| LineThroughZero::fit(&points).ok()) else {
        return Tally::broken("the case can't be computed");
    };
    for (key, ours) in [
        ("a1", line.slope),
        ("u_a1", line.u_slope),
        ("chi2", line.check.chi2),
        ("nu", line.check.dof),
    ] {
        tally.value(key, ours, printed.get("line_through_zero", 0, key));
    }
    tally
}
