//! The general solver against published weighing designs: NIST/SEMATECH
//! e-Handbook of Statistical Methods, 2.3.3.2 (method) and 2.3.4.1 (catalogue),
//! and against JCGM 100:2008 (GUM) H.3.

mod common;
#[path = "common/designs.rs"]
mod designs;

use common::{csv, reference};
use designs::{number, numbers, rows, solved};
use scalewright_metrology::least_squares::{Statement, System, SystemRefusal};
use toml::Table;

fn designs() -> Table {
    designs::parsed(&reference("weighing_designs.toml"))
}

/// Each printed solution matrix, entry by entry, and each printed factor to its
/// four decimals.
#[test]
fn solution_matrices_and_factors() {
    let designs = designs();
    let designs = designs["design"].as_array().expect("designs");
    assert_eq!(designs.len(), 5);
    for design in designs {
        let count = rows(&design["X"]).len();
        let divisor = number(&design["divisor"]);
        let printed = rows(&design["solution_rows_Y_then_R"]);
        assert_eq!(printed.len(), count + 1);
        for (at, row) in printed.iter().enumerate() {
            let mut differences = vec![0.0; count];
            let restraint = match differences.get_mut(at) {
                Some(one) => {
                    *one = 1.0;
                    0.0
                }
                None => 1.0,
            };
            let solution = solved(design, &differences, restraint);
            for (ours, theirs) in solution.values.iter().zip(row) {
                assert!(
                    (ours * divisor - theirs).abs() < 1e-12,
                    "{design}: row {at}"
                );
            }
        }
        let solution = solved(design, &vec![0.0; count], 1.0);
        assert_eq!(
            solution.dof as i64,
            design["dof"].as_integer().expect("dof")
        );
        for (at, factor) in numbers(&design["K1"]).iter().enumerate() {
            let ours = solution.sd(at).expect("a weight");
            assert!((ours - factor).abs() <= 0.5e-4, "{design}: {ours} {factor}");
        }
    }
}

/// Of a sum the covariances count too: the group of nominal 4 in 2,2,2,1,1.
#[test]
fn the_factor_of_a_summed_group() {
    let designs = designs();
    let all = designs["design"].as_array().expect("designs");
    let design = all
        .iter()
        .find(|one| one.get("K1_sum_2_plus_1_plus_1").is_some())
        .expect("it is printed");
    let solution = solved(design, &vec![0.0; rows(&design["X"]).len()], 0.0);
    let group = [2usize, 3, 4];
    let variance: f64 = group
        .iter()
        .flat_map(|i| group.iter().map(move |j| (*i, *j)))
        .map(|place| solution.covariance[place])
        .sum();
    let printed = number(&design["K1_sum_2_plus_1_plus_1"]);
    assert!((variance.sqrt() - printed).abs() <= 0.5e-4, "{variance}");
}

/// Number cases computed in the reference file (synthetic, by another program).
#[test]
fn number_cases() {
    let designs = designs();
    let all = designs["design"].as_array().expect("designs");
    let cases = designs["case"].as_array().expect("cases");
    assert_eq!(cases.len(), 3);
    for case in cases {
        let design = all
            .iter()
            .find(|one| one["name"] == case["design"])
            .expect("its design");
        let solution = solved(design, &numbers(&case["Y"]), number(&case["R"]));
        let squares: f64 = solution.residuals.iter().map(|r| r * r).sum();
        let s = (squares / solution.dof as f64).sqrt();
        assert!((s - number(&case["s"])).abs() < 1e-10, "{s}");
        let (b, sd) = (numbers(&case["B"]), numbers(&case["sd"]));
        for at in 0..b.len() {
            assert!((solution.values[at] - b[at]).abs() < 1e-9, "{case}");
            let ours = s * solution.sd(at).expect("a weight");
            assert!((ours - sd[at]).abs() < 1e-8, "{case}");
        }
    }
}

/// GUM H.3: intercept and slope about 20 C, their deviations and correlation, as
/// printed in H.3.3.
#[test]
fn thermometer_line() {
    let statements: Vec<Statement> = csv("gum_h3.csv")
        .iter()
        .map(|row| {
            let t: f64 = row[0].parse().expect("t");
            Statement {
                terms: vec![(0, 1.0), (1, t - 20.0)],
                value: row[1].parse().expect("b"),
                sd: 1.0,
            }
        })
        .collect();
    let system = System {
        unknowns: vec!["y1".into(), "y2".into()],
        statements,
    };
    let solution = system.solve().expect("a line");
    let squares: f64 = solution.residuals.iter().map(|r| r * r).sum();
    let s = (squares / solution.dof as f64).sqrt();
    assert_eq!(solution.dof, 9);
    let sd = |at| s * solution.sd(at).expect("it exists");
    let r = solution.covariance[(0, 1)] * s * s / (sd(0) * sd(1));
    for (ours, printed, unit) in [
        (solution.values[0], -0.1712, 1e-4),
        (sd(0), 0.0029, 1e-4),
        (solution.values[1], 0.002_18, 1e-5),
        (sd(1), 0.000_67, 1e-5),
        (r, -0.930, 1e-3),
        (s, 0.0035, 1e-4),
    ] {
        assert!((ours - printed).abs() <= 0.5 * unit, "{ours} {printed}");
    }
}

/// What differences alone leave open is named, and only that.
#[test]
fn what_is_open_is_named() {
    let difference = |a: usize, b: usize| Statement {
        terms: vec![(a, 1.0), (b, -1.0)],
        value: 0.1,
        sd: 1.0,
    };
    let known = Statement {
        terms: vec![(0, 1.0)],
        value: 5.0,
        sd: 0.01,
    };
    let mut system = System {
        unknowns: ["W1", "W2", "W3", "W4", "jug"].map(String::from).to_vec(),
        statements: vec![known, difference(0, 1), difference(2, 3)],
    };
    let open = |names: &[&str]| {
        let unknowns = names.iter().map(ToString::to_string).collect();
        Err(SystemRefusal::Open { unknowns })
    };
    assert_eq!(system.solve().map(|s| s.dof), open(&["W3", "W4", "jug"]));
    system.statements.push(difference(1, 3));
    assert_eq!(system.solve().map(|s| s.dof), open(&["jug"]));
    system.statements.push(difference(4, 0));
    assert_eq!(system.solve().map(|s| s.dof), Ok(0));
}

#[test]
fn nonsense_is_refused() {
    let exact = |value: f64| Statement {
        terms: vec![(0, 1.0)],
        value,
        sd: 0.0,
    };
    let system = |statements: Vec<Statement>| System {
        unknowns: vec!["W1".into()],
        statements,
    };
    let refusal = |statements| system(statements).solve().map(|s| s.dof);
    assert_eq!(
        refusal(vec![exact(1.0), exact(2.0)]),
        Err(SystemRefusal::Contradiction)
    );
    assert_eq!(refusal(vec![exact(1.0), exact(1.0)]), Ok(0));
    for wrong in [
        exact(f64::NAN),
        Statement {
            sd: -1.0,
            ..exact(1.0)
        },
        Statement {
            terms: vec![(3, 1.0)],
            ..exact(1.0)
        },
        Statement {
            terms: vec![],
            ..exact(1.0)
        },
    ] {
        assert_eq!(
            refusal(vec![exact(1.0), wrong]),
            Err(SystemRefusal::NotUsable { statement: 1 })
        );
    }
    assert_eq!(System::default().solve().map(|s| s.dof), Ok(0));
}
