//! What a verification says of the uncertainty of errors and readings: every
//! number once more from its file by arithmetic written here, and against what
//! the bench's scale really does.

mod support;

use scalewright::record::proof::{InUseLine, LoadBudget, Proof, ProofRow, Verdict};
use scalewright::record::surroundings;
use scalewright::session::plan::Known;
use scalewright::session::proof::Test;
use scalewright::session::proof::entry::ProofEntry;
use scalewright::session::proof::evaluate::evaluate;
use scalewright::session::proof::plan::ProofPlan;
use scalewright_bench::Desk;
use scalewright_metrology::distribution::student_t_two_sided;
use scalewright_tests::proofs;
use support::bench::{calibrated, plan, studio_scale};

/// Tests that an uncertainty is made of.
const TESTS: [Test; 3] = [Test::Errors, Test::Repeatability, Test::Eccentricity];

fn proof_plan(desk: &Desk, tests: &[Test]) -> ProofPlan {
    let mut scale = studio_scale();
    scale.d_g = scale.e_g;
    let scheme = "R76 III initial".to_owned();
    let weights = plan(desk).weights;
    ProofPlan::new(scale, weights, tests, true, scheme, false).expect("a plan")
}

fn proved(seed: u64, tests: &[Test], change: impl Fn(&mut ProofPlan)) -> (Vec<ProofEntry>, Proof) {
    let made = |desk: &Desk| {
        let mut plan = proof_plan(desk, tests);
        change(&mut plan);
        plan
    };
    let (kept, _) = proofs::prove(calibrated(seed), made).expect("comes to its end");
    let proof = evaluate(&kept).expect("results");
    (kept, proof)
}

fn rows(proof: &Proof, test: Test) -> &[ProofRow] {
    let found = proof.tests.iter().find(|one| one.test == test.name());
    &found.expect("the test was made").rows
}

/// What the captures tell of the scale, read off the results.
struct Seen {
    sd_g: f64,
    at_g: f64,
    dof: f64,
    off_g: f64,
    off_at_g: f64,
    zero_g: f64,
    quantum_g: f64,
    air: f64,
}

impl Seen {
    fn of(proof: &Proof) -> Self {
        let gross = |test: Test| {
            let all = proof.captures.iter();
            all.filter(move |one| one.test == test.name())
        };
        let repeated: Vec<f64> = gross(Test::Repeatability).map(|one| one.gross_g).collect();
        let mean = repeated.iter().sum::<f64>() / repeated.len() as f64;
        let squares: f64 = repeated.iter().map(|one| (one - mean).powi(2)).sum();
        let middle: Vec<f64> = gross(Test::Eccentricity)
            .filter(|one| one.spot == "in the middle")
            .map(|one| one.gross_g)
            .collect();
        let middle_g = middle.iter().sum::<f64>() / middle.len() as f64;
        let dof = repeated.len() as f64 - 1.0;
        Self {
            sd_g: (squares / dof).sqrt(),
            at_g: gross(Test::Repeatability).next().expect("some").mass_g,
            dof,
            off_g: gross(Test::Eccentricity)
                .map(|one| (one.gross_g - middle_g).abs())
                .fold(0.0, f64::max),
            off_at_g: gross(Test::Eccentricity).next().expect("some").mass_g,
            zero_g: gross(Test::Errors)
                .filter(|one| one.mass_g == 0.0)
                .map(|one| one.gross_g.abs())
                .fold(0.0, f64::max),
            quantum_g: proof.table.quantum_g,
            air: 0.1 * 1.2 / 8000.0,
        }
    }

    fn scatter_g(&self, load_g: f64, e_g: f64) -> f64 {
        (self.sd_g * (load_g / self.at_g).clamp(0.25, 1.25)).max(0.02 * e_g)
    }
}

/// Standard uncertainty and effective degrees of freedom of variances with
/// theirs (JCGM 100:2008, 5.1.2 and G.4.1).
fn combined(parts: &[(f64, f64)]) -> (f64, f64) {
    let variance: f64 = parts.iter().map(|one| one.0.powi(2)).sum();
    let fourths: f64 = parts.iter().map(|one| one.0.powi(4) / one.1).sum();
    (variance.sqrt(), variance.powi(2) / fourths)
}

fn factor(dof: f64) -> f64 {
    student_t_two_sided(0.9545, dof.floor()).expect("a factor")
}

const SURE: f64 = f64::INFINITY;

#[test]
fn every_budget_comes_out_of_the_file_again() {
    let (kept, proof) = proved(4, &TESTS, |plan| plan.surroundings.convection_g = 0.02);
    let ProofEntry::ProofBegan { plan, .. } = &kept[0] else {
        panic!("no beginning");
    };
    let seen = Seen::of(&proof);
    assert!(proof.budgets.len() >= 5);
    let third = |half: f64| half / 3f64.sqrt();
    for budget in &proof.budgets {
        let load = budget.load_g;
        let capture = proof
            .captures
            .iter()
            .find(|one| one.test == "errors" && one.mass_g == load)
            .expect("its capture");
        // All weights of the studio are of a class: their limits add up.
        let weights = plan.weights.iter();
        let within: f64 = weights
            .filter(|one| capture.weights.contains(&one.id))
            .inspect(|one| assert_eq!(one.known, Known::Class))
            .map(|one| one.u_g * 3f64.sqrt())
            .sum();
        let (u_g, dof) = combined(&[
            (third(0.5 * seen.quantum_g), SURE),
            (third(0.5 * seen.quantum_g), SURE),
            (seen.scatter_g(load, plan.scale.e_g), seen.dof),
            (third(seen.zero_g), SURE),
            (third(0.5 * seen.off_g / seen.off_at_g * load), SURE),
            (third(within), SURE),
            (third(seen.air * load), SURE),
            (third(0.02), SURE),
        ]);
        near(budget.standard_u_g, u_g, "u", budget);
        near(budget.effective_dof.unwrap_or(dof), dof, "dof", budget);
        near(budget.k, factor(dof), "k", budget);
        near(budget.expanded_u_g, factor(dof) * u_g, "U", budget);
        let shares: f64 = budget.contributions.iter().map(|one| one.share).sum();
        assert!((shares - 1.0).abs() < 1e-9);
        // The rows of the errors carry the same.
        let row = rows(&proof, Test::Errors)
            .iter()
            .find(|row| row.load_g == load);
        assert_eq!(
            row.and_then(|row| row.expanded_u_g),
            Some(budget.expanded_u_g)
        );
        // A rectangle that outweighs the rest reaches less far than k = 2: 1.65 of
        // its standard uncertainties hold 95.45 %; four degrees of freedom reach farther.
        let outweighs = budget.contributions.iter().any(|one| one.share > 0.8);
        let least = if outweighs { 0.81 } else { 0.93 };
        let drawn = budget.drawn_expanded_u_g.expect("drawn") / budget.expanded_u_g;
        assert!((least..1.06).contains(&drawn), "{drawn} {budget:?}");
    }
}

fn near(found: f64, expected: f64, what: &str, about: &LoadBudget) {
    assert!(
        (found / expected - 1.0).abs() < 1e-6,
        "{what}: {found}, {expected} by hand, at {} g",
        about.load_g
    );
}

/// U of a reading by hand, after EURAMET cg-18 version 4.0, 7.4 and 7.5 (from
/// memory), where the errors lie on no line.
fn reading_u_g(seen: &Seen, proof: &Proof, found: &InUseLine, load_g: f64) -> f64 {
    let third = |half: f64| half / 3f64.sqrt();
    let d = proof.scale.d;
    let (u_g, dof) = combined(&[
        (third(0.5 * d), SURE),
        (third(0.5 * d), SURE),
        (seen.scatter_g(load_g, proof.scale.e), seen.dof),
        (third(seen.off_g / seen.off_at_g * load_g), SURE),
        (third(seen.air * load_g), SURE),
        (third(seen.zero_g), SURE),
        (found.u_slope * load_g, SURE),
    ]);
    factor(dof) * u_g
}

#[test]
fn what_a_reading_is_worth_comes_out_of_the_file_again() {
    let (_, proof) = proved(4, &TESTS, |_| {});
    let seen = Seen::of(&proof);
    let found = proof.in_use.as_ref().expect("evaluated");
    let errors = rows(&proof, Test::Errors);
    // The line through zero by weighted least squares.
    let weighed = errors.iter().map(|row| {
        let u_g = row.expanded_u_g.expect("U") / row.k.expect("k");
        let reading_g = row.load_g + row.value_g;
        (reading_g, row.value_g, u_g.powi(-2))
    });
    let (along, square) = weighed.fold((0.0, 0.0), |(along, square), (i, e, p)| {
        (along + p * i * e, square + p * i * i)
    });
    assert!((found.slope - along / square).abs() < 1e-9);
    assert!((found.u_slope * square.sqrt() - 1.0).abs() < 1e-9);
    let on_line = errors.iter().all(|row| {
        let reading_g = row.load_g + row.value_g;
        (row.value_g - found.slope * reading_g).abs() <= row.expanded_u_g.expect("U")
    });
    assert_eq!(found.errors_lie_on_line, on_line);
    for one in &found.weighings {
        let left = one.error_left_g;
        match on_line {
            true => assert!((left - (found.slope * one.load_g).abs()).abs() < 1e-9),
            // No error that was found is larger than what is counted.
            false => assert!(
                errors
                    .iter()
                    .filter(|row| row.load_g == one.load_g)
                    .all(|row| row.value_g.abs() <= left * (1.0 + 1e-9))
            ),
        }
        let by_hand = reading_u_g(&seen, &proof, found, one.load_g) + left;
        assert!(
            (one.expanded_u_g / by_hand - 1.0).abs() < 1e-3,
            "{one:?}, {by_hand} by hand"
        );
        let formula = found.base_g + found.rise * one.load_g;
        assert!(formula >= one.expanded_u_g * (1.0 - 1e-9));
    }
    let mut told = 0;
    for line in &found.minimum {
        let Some(load_g) = line.load_g else { continue };
        // U between two loads of the list lies below the straight formula. Below the
        // first of them it hardly falls any more, and the formula does by a little.
        let formula = (found.base_g + found.rise * load_g) / load_g;
        assert!(formula >= line.relative * 0.99, "{line:?}");
        if let Some(more_g) = line.with_safety_g {
            assert!(more_g > load_g);
        }
        told += 1;
    }
    assert!(told >= 3, "{:?}", found.minimum);
}

/// Readings of the same scales in other tests, rounded as they are shown and
/// anywhere on the pan: the promise is kept at least as often as it says.
#[test]
fn readings_keep_what_is_promised() {
    let (mut kept, mut all) = (0, 0);
    for seed in 11..19 {
        let (_, proof) = proved(seed, &TESTS, |_| {});
        let found = proof.in_use.expect("evaluated");
        let (_, later) = proved(
            seed,
            &[
                Test::SmallOnBig,
                Test::Eccentricity,
                Test::Repeatability,
                Test::Errors,
            ],
            |_| {},
        );
        for one in later.captures.iter().filter(|one| one.mass_g > 0.0) {
            let shown_g = one.indication_g.expect("shown");
            let u_g = found.base_g + found.rise * one.mass_g;
            kept += usize::from((shown_g - one.mass_g).abs() <= u_g);
            all += 1;
        }
    }
    assert!(all > 200, "{all}");
    assert!(kept as f64 >= 0.9545 * f64::from(all), "{kept} of {all}");
}

#[test]
fn thin_air_counts_and_what_was_not_tested_is_named() {
    // Below 900 m the air is within 10 % of 1.2 kg/m3; at 780 hPa it is not.
    let noted = surroundings::parse("20 C, 50 %, 780 hPa").expect("reads");
    let (_, proof) = proved(4, &[Test::Errors], |plan| plan.surroundings = noted);
    let air = |budget: &LoadBudget| {
        let of = budget.contributions.iter();
        let found = of.filter(|one| one.name == "air buoyancy");
        found.map(|one| one.value_g).sum::<f64>()
    };
    let density = 0.34848 * 780.0 - 0.009 * 50.0 * (0.061f64 * 20.0).exp();
    let off = 1.0 - density / 293.15 / 1.2;
    assert!(off > 0.2);
    for budget in &proof.budgets {
        let expected = off * 1.2 / 8000.0 * budget.load_g;
        assert!((air(budget) / expected - 1.0).abs() < 1e-9);
    }
    let not_counted = proof.in_use.expect("evaluated").not_counted.join("; ");
    for part in ["middle of the pan", "repeatability", "another place"] {
        assert!(not_counted.contains(part), "{not_counted}");
    }
}

/// Of a load that stays only noise and rounding part two readings.
#[test]
fn a_change_is_as_sure_as_the_noise_allows() {
    let (_, proof) = proved(4, &[Test::Creep], |_| {});
    let heaviest = proof.captures.iter().max_by(|a, b| {
        let of = |one: &scalewright::record::proof::CaptureLine| one.gross_g;
        of(a).total_cmp(&of(b))
    });
    let heaviest = heaviest.expect("captures");
    let g_per_count = heaviest.gross_g / heaviest.net_counts;
    let rounding = 0.5 * proof.table.quantum_g / 3f64.sqrt();
    let rows = rows(&proof, Test::Creep);
    assert!(rows.len() >= 4);
    for row in rows {
        let noise = row.captures.iter().map(|at| {
            let capture = &proof.captures[*at];
            let samples = f64::from(capture.samples);
            (
                capture.sd_counts * g_per_count / samples.sqrt(),
                samples - 1.0,
            )
        });
        let mut parts: Vec<(f64, f64)> = noise.collect();
        assert_eq!(parts.len(), 2);
        parts.extend([(rounding, SURE), (rounding, SURE)]);
        let (u_g, dof) = combined(&parts);
        let found = row.expanded_u_g.expect("U");
        assert!(
            (found / (factor(dof) * u_g) - 1.0).abs() < 1e-6,
            "{}: {found}",
            row.what
        );
    }
}

#[test]
fn what_is_unsure_beyond_its_limit_is_not_called_passed() {
    let tests = [Test::Errors, Test::Repeatability];
    let (_, proof) = proved(4, &tests, |plan| plan.surroundings.convection_g = 1.5);
    let errors = proof.tests.iter().find(|one| one.test == "errors");
    let errors = errors.expect("made");
    for row in &errors.rows {
        let unsure = row.expanded_u_g.expect("U") > row.limit_g;
        assert_eq!(unsure, row.limit_g < 1.5, "{row:?}");
        let expected = if unsure {
            Verdict::Open
        } else {
            Verdict::Passes
        };
        assert_eq!(row.verdict, expected, "{row:?}");
    }
    assert_eq!(errors.verdict, Verdict::Open);
    let said = errors.remarks.join(" ");
    assert!(said.contains("a third is allowed"), "{said}");
    assert!(proof.rule.contains("nothing passes"), "{}", proof.rule);
}
