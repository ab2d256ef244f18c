//! The form of a calibration certificate: what it asks for, how it is refused,
//! and that what is read can be written.

mod support;

use std::sync::OnceLock;

use proptest::prelude::*;
use scalewright::record::lab::{self, BLANK};
use scalewright::record::performed::Performed;
use scalewright::record::proof::Proof;
use scalewright::report::dcc::{dcc, of_proof};
use scalewright::session::proof::Test;
use scalewright::session::proof::entry::ProofEntry;
use scalewright::session::proof::evaluate::evaluate;
use scalewright::session::proof::performed::performed;
use scalewright::session::proof::plan::ProofPlan;
use scalewright_bench::BenchSpec;
use scalewright_tests::certificates::FORM;
use scalewright_tests::proofs;
use support::bench::{plan, studio_scale};
use support::too_wide;

/// What is said of a form with one change, all faults in one text.
fn said_of(from: &str, to: &str) -> String {
    assert!(FORM.contains(from), "no {from}");
    let changed = FORM.replacen(from, to, 1);
    let faults = lab::parse(&changed, "lab.toml").expect_err(to);
    faults.to_string()
}

#[test]
fn a_form_is_refused_with_key_line_and_what_to_do() {
    for (from, to, said) in [
        ("\"en\"", "\"de\"", "line 2: language is not \"en\""),
        (
            "country = \"DE\"",
            "country = \"Germany\"",
            "line 3: country is no country: write two capital",
        ),
        (
            "\"customer\"",
            "\"moon\"",
            "line 4: place is no place known here: write one of \"laboratory\"",
        ),
        ("\"kg\"", "\"lb\"", "line 5: mass_unit is neither"),
        ("2026-01-30", "\"30.1.2026\"", "line 8: received is no day"),
        ("2026-01-30", "2026-02-30", "line 8"),
        (
            "lab@example.org",
            "nowhere",
            "line 12: laboratory.e_mail is no address",
        ),
        (
            "name = \"Example customer\"",
            "",
            "customer.name is missing: write the name",
        ),
        (
            "city = \"Elsewhere\"",
            "city = \" \"",
            "customer.city is empty: write the town",
        ),
        (
            "city = \"Elsewhere\"",
            "city = 7",
            "customer.city is no text: put it in quotes",
        ),
        (
            "city = \"Elsewhere\"",
            "city = \"a\\u0007\"",
            "customer.city holds a character",
        ),
        (
            "[owner]",
            "[[owner]]",
            "owner is no part: head it with [owner]",
        ),
        ("[item]", "[thing]", "there is no [item]"),
        ("[item]", "[thing]", "thing is not known here: correct it"),
        ("model =", "modell =", "item.modell is not known here"),
        (
            "signs_first = true",
            "signs_first = 1",
            "write true or false",
        ),
        (
            "role = \"builder\"",
            "signs_first = true",
            "responsible.signs_first is true twice",
        ),
        (
            "21.3",
            "213",
            "conditions.temperature_celsius is outside -50 to 70",
        ),
        (
            "21.3",
            "\"21.3\"",
            "conditions.temperature_celsius is no number",
        ),
        ("21.3", "nan", "conditions.temperature_celsius is no number"),
        (
            "temperature_u = 0.5",
            "temperature_u = 0",
            "conditions.temperature_u is no uncertainty",
        ),
        (
            "pressure_hpa = 1003.2",
            "",
            "pressure_u has no value beside it: write pressure_hpa",
        ),
        (
            "[\"W1\", \"W3\"]",
            "\"W1\"",
            "weights.names is no list of names",
        ),
        (
            "certificate = \"K-2026-113\"",
            "",
            "weights.certificate is missing",
        ),
        (
            "[[weights]]",
            "[weights]",
            "weights is no part that may stand several times",
        ),
        ("\"DE\"", "\"DE", "line 3: is no TOML"),
    ] {
        let found = said_of(from, to);
        assert!(found.starts_with("lab.toml: "), "{found}");
        assert!(found.contains(said), "{to}: no \"{said}\" in \"{found}\"");
    }
}

#[test]
fn an_empty_form_asks_for_everything_at_once_and_a_full_one_is_read() {
    let faults = lab::parse(BLANK, "lab.toml").expect_err("nothing is filled in");
    assert_eq!(faults.faults.len(), 10, "{faults}");
    assert!(
        faults
            .faults
            .iter()
            .all(|one| one.line.is_some() && one.cause.contains("is empty"))
    );
    assert_eq!(too_wide(BLANK), [""; 0]);
    // Every optional line is one that is read, its # once taken away.
    let filled: String = (BLANK.lines().skip(4))
        .filter(|line| !line.contains("as above"))
        .map(|line| line.strip_prefix("# ").unwrap_or(line))
        .map(|line| match line.split_once("= \"\"") {
            Some((key, rest)) => {
                let said = match key.trim() {
                    "country" => "DE",
                    "e_mail" => "a@example.org",
                    _ => "something",
                };
                format!("{key}= \"{said}\"{rest}\n")
            }
            None => format!("{line}\n"),
        })
        .collect();
    let lab = lab::parse(&filled, "lab.toml").unwrap_or_else(|faults| panic!("{faults}"));
    assert!(lab.owner.is_some() && lab.received.is_some() && lab.accreditation.is_some());
    assert_eq!((lab.conditions.len(), lab.weights.len()), (3, 1));
    assert!(lab.responsible[0].main_signer);
    assert_eq!(
        lab.identifications.len() + lab.item.identifications.len(),
        4
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    /// A form with some characters changed is refused with a reason, or read; and
    /// what is read makes a certificate that can be written, or the reason is said.
    #[test]
    fn any_form_is_read_or_refused(
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<char>()), 0..5)
    ) {
        let mut letters: Vec<char> = FORM.chars().collect();
        for (at, new) in changes {
            let at = at.index(letters.len());
            letters[at] = new;
        }
        let text: String = letters.into_iter().collect();
        match lab::parse(&text, "lab.toml") {
            Ok(lab) => {
                let (proof, performed) = bench();
                match of_proof(proof, performed, &lab, "00000000") {
                    Ok(certificate) => {
                        let written = dcc(&certificate);
                        prop_assert!(written.is_ok(), "{written:?}");
                    }
                    Err(fault) => prop_assert!(fault.to_string().contains("weights.names")),
                }
            }
            Err(faults) => {
                prop_assert!(!faults.faults.is_empty());
                prop_assert!(!faults.to_string().contains(char::is_control));
            }
        }
    }
}

/// A verification with weights W1 and W3.
fn bench() -> &'static (Proof, Performed) {
    static BENCH: OnceLock<(Proof, Performed)> = OnceLock::new();
    BENCH.get_or_init(|| {
        let made = proofs::prove(BenchSpec::studio(1), |desk| {
            let mut scale = studio_scale();
            scale.d_g = scale.e_g;
            let scheme = "R76 III initial".to_owned();
            let tests = [Test::Errors, Test::Repeatability];
            ProofPlan::new(scale, plan(desk).weights, &tests, true, scheme, false).expect("a plan")
        });
        let (mut entries, _) = made.expect("it comes to its end");
        if let Some(ProofEntry::ProofBegan { date, .. }) = entries.first_mut() {
            *date = "2026-01-31T23:59:00Z".into();
        }
        let proof = evaluate(&entries).expect("results");
        (proof, performed(&entries).expect("days"))
    })
}
