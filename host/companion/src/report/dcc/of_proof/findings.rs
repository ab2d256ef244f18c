//! The numbers of a certificate, test by test.
//!
//! A value with an uncertainty is rounded to the second digit of that; one
//! without, as a limit, to the microgram, which takes the noise of f64 off and
//! nothing else.

use scalewright_metrology::statistics::{mean, sample_sd};

use super::{NoCertificate, PROBABILITY};
use crate::record::certificate::{
    Condition, Data, Eccentricity, ErrorRow, Expanded, Finding, Position, Quantity, Repeatability,
    Unit,
};
use crate::record::proof::{Proof, ProofRow, TestOutcome};
use crate::report::dcc::to_uncertainty;

/// How numbers are to be read, said with each table of errors.
const ROUNDED: &str = "Load: conventional mass. Indication: load plus error. Indication and error \
                       are rounded to the second digit of the expanded uncertainty, each by itself.";

/// All findings, errors of indication first.
pub fn all(proof: &Proof) -> Result<Vec<Finding>, NoCertificate> {
    let errors = of(proof, "errors").filter(|test| !test.rows.is_empty());
    let errors = errors.ok_or(NoCertificate::NoErrors)?;
    let mut found = error_tables(errors)?;
    for test in proof.tests.iter().filter(|test| test.test != "errors") {
        match test.test.as_str() {
            "repeatability" => found.extend(repeatability(proof, test)),
            "eccentricity" => found.extend(eccentricity(test)),
            _ => {}
        }
        if !test.rows.is_empty() {
            found.push(beside_limits(test));
        }
    }
    Ok(found)
}

fn of<'a>(proof: &'a Proof, name: &str) -> Option<&'a TestOutcome> {
    proof.tests.iter().find(|test| test.test == name)
}

/// Up and down apart: hysteresis is the difference between the two.
fn error_tables(test: &TestOutcome) -> Result<Vec<Finding>, NoCertificate> {
    let mut found = Vec::new();
    for (from_above, way) in [(false, "rising loads"), (true, "falling loads")] {
        let rows: Vec<ErrorRow> = (test.rows.iter())
            .filter(|row| row.from_above == from_above)
            .map(error_row)
            .collect::<Result<_, _>>()?;
        if !rows.is_empty() {
            found.push(Finding {
                name: format!("Errors of indication, {way}"),
                description: Some(ROUNDED.into()),
                data: Data::Errors(rows),
            });
        }
    }
    Ok(found)
}

fn error_row(row: &ProofRow) -> Result<ErrorRow, NoCertificate> {
    let uncertainty = stated(row).ok_or(NoCertificate::NoUncertainty { load_g: row.load_g })?;
    let u_g = uncertainty.u;
    Ok(ErrorRow {
        load_g: tidy(row.load_g),
        indication_g: to_uncertainty(row.load_g + row.value_g, u_g).0,
        error_g: to_uncertainty(row.value_g, u_g).0,
        uncertainty,
        permitted_g: Some(tidy(row.limit_g)),
    })
}

/// The expanded uncertainty as it is written; `None` where there is none.
fn stated(row: &ProofRow) -> Option<Expanded> {
    let (u_g, k) = (row.expanded_u_g?, row.k?);
    if !(u_g > 0.0 && u_g.is_finite() && k.is_finite()) {
        return None;
    }
    Some(Expanded {
        u: to_uncertainty(row.value_g, u_g).1,
        k: (k * 100.0).round() / 100.0,
        probability: PROBABILITY,
    })
}

/// A mass to the microgram.
fn tidy(mass_g: f64) -> f64 {
    let scaled = (mass_g * 1e6).round();
    match scaled.abs() < 1e15 {
        true => scaled / 1e6,
        false => mass_g,
    }
}

/// The indications as captured. They are rounded to the second digit of their
/// standard deviation: the uncertainty of the error also holds that of the
/// weights, and rounding to it would hide what this test is about.
fn repeatability(proof: &Proof, test: &TestOutcome) -> Option<Finding> {
    let captures: Vec<_> = (proof.captures.iter())
        .filter(|capture| capture.test == test.test)
        .collect();
    let load_g = captures.first()?.mass_g;
    let readings_g: Vec<f64> = captures.iter().map(|capture| capture.gross_g).collect();
    let sd_g = sample_sd(&readings_g)?;
    let rounded = |reading_g: &f64| match sd_g > 0.0 {
        true => to_uncertainty(*reading_g, sd_g).0,
        false => tidy(*reading_g),
    };
    Some(Finding {
        name: test.title.clone(),
        description: Some(format!(
            "{} weighings, zero being set before each. Standard deviation of one of them, with \
             n - 1 in its denominator.",
            readings_g.len()
        )),
        data: Data::Repeatability(Repeatability {
            load_g: tidy(load_g),
            indications_g: readings_g.iter().map(rounded).collect(),
            sd_g: to_uncertainty(sd_g, sd_g).0,
        }),
    })
}

/// Where a load in the middle is found in the results.
const MIDDLE: &str = "in the middle";

fn eccentricity(test: &TestOutcome) -> Option<Finding> {
    let middle: Vec<f64> = (test.rows.iter())
        .filter(|row| row.what == MIDDLE)
        .map(|row| row.value_g)
        .collect();
    let centre_g = mean(&middle)?;
    let load_g = test.rows.first()?.load_g;
    let off_g = |row: &ProofRow| row.value_g - centre_g;
    let rounded = |row: &ProofRow, value_g: f64| match stated(row) {
        Some(stated) => to_uncertainty(value_g, stated.u).0,
        None => tidy(value_g),
    };
    let names = told_apart(&test.rows);
    let positions = test.rows.iter().zip(names).map(|(row, name)| Position {
        name,
        indication_g: rounded(row, row.load_g + row.value_g),
        difference_g: rounded(row, off_g(row)),
    });
    let away = test.rows.iter().filter(|row| row.what != MIDDLE);
    let largest = away.max_by(|a, b| off_g(a).abs().total_cmp(&off_g(b).abs()))?;
    Some(Finding {
        name: test.title.clone(),
        description: Some(
            "Differences are from the mean of the readings in the middle of the pan; the largest \
             is given by its size."
                .into(),
        ),
        data: Data::Eccentricity(Eccentricity {
            load_g: tidy(load_g),
            positions: positions.collect(),
            largest_g: rounded(largest, off_g(largest)).abs(),
        }),
    })
}

/// What rows are called, a name that comes again being told apart.
fn told_apart(rows: &[ProofRow]) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for row in rows {
        let mut name = row.what.clone();
        while names.contains(&name) {
            name.push_str(", again");
        }
        names.push(name);
    }
    names
}

/// Every value of a test with its uncertainty, then its limit.
fn beside_limits(test: &TestOutcome) -> Finding {
    let is_least = test.test == "discrimination";
    let limit = match is_least {
        true => "must move by at least",
        false => "limit, plus or minus",
    };
    let mut all = Vec::new();
    all.extend(common_load(&test.rows));
    for (row, name) in test.rows.iter().zip(told_apart(&test.rows)) {
        if let Some(at_s) = row.at_s {
            all.push(plain(format!("{name}: time"), at_s.round(), Unit::Second));
        }
        let limit = format!("{name}: {limit}");
        all.push(value(name, row));
        all.push(plain(limit, tidy(row.limit_g), Unit::Gram));
    }
    let about = match test.test.as_str() {
        "creep" => "Changes since the load came to rest; times since it was put on.",
        "warm-up" => "Errors less that of zero beside them; times since power-on.",
        "zero" => "Readings right after zero-setting, the pan being empty.",
        "discrimination" => "How far the displayed indication moved.",
        "small-on-big" => "What the small load reads on the big one, less what it reads alone.",
        "tare" => "Errors of the net value above a container that was tared.",
        "repeatability" => "Errors of each weighing, and the range of all of them.",
        "eccentricity" => "Errors of indication at each place.",
        _ => "Values beside their limits.",
    };
    Finding {
        name: format!("{}, beside the limits", test.title),
        description: Some(about.into()),
        data: Data::Quantities(all),
    }
}

/// The load, where it is one for the whole test.
fn common_load(rows: &[ProofRow]) -> Option<Condition> {
    let mut loads = rows.iter().map(|row| row.load_g).filter(|load| *load > 0.0);
    let first_g = loads.next()?;
    let one = loads.all(|load_g| load_g == first_g);
    one.then(|| plain("load".into(), tidy(first_g), Unit::Gram))
}

fn value(name: String, row: &ProofRow) -> Condition {
    let uncertainty = stated(row);
    Condition {
        name,
        quantity: Quantity {
            value: match uncertainty {
                Some(stated) => to_uncertainty(row.value_g, stated.u).0,
                None => tidy(row.value_g),
            },
            unit: Unit::Gram,
            uncertainty,
        },
    }
}

fn plain(name: String, value: f64, unit: Unit) -> Condition {
    Condition {
        name,
        quantity: Quantity {
            value,
            unit,
            uncertainty: None,
        },
    }
}
