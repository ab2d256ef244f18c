//! What a certificate states in words: what it is not, what was tested and kept,
//! what was not tested.

use super::{is_simulated, norm};
use crate::record::certificate::{Conformity, Statement};
use crate::record::lab::Lab;
use crate::record::performed::Performed;
use crate::record::proof::{Proof, TestOutcome, Verdict};

/// All statements, the gravest first.
pub fn all(proof: &Proof, performed: &Performed, lab: &Lab) -> Vec<Statement> {
    let mut all: Vec<Statement> = Vec::new();
    if is_simulated(proof) {
        let seed = proof.seed.map(|seed| format!(" (seed {seed})"));
        all.push(plain(format!(
            "SIMULATED: this is no calibration of a real instrument. Scale, weights and operator \
             were those of the program's built-in bench{}. The certificate shows what a real one \
             would look like and proves nothing else.",
            seed.unwrap_or_default()
        )));
    }
    all.extend(interrupted(performed));
    all.extend(proof.tests.iter().map(|test| of_test(proof, test)));
    all.push(not_tested(proof));
    all.push(traceability(performed, lab));
    all.push(plain(
        "Days are those of universal time (UTC). The file of the verification gives no time of \
         its end; the last day follows from the scale's own clock."
            .into(),
    ));
    all
}

fn plain(declaration: String) -> Statement {
    Statement {
        declaration,
        norms: Vec::new(),
        conformity: None,
    }
}

fn interrupted(performed: &Performed) -> Option<Statement> {
    let open: Vec<String> = (performed.unfinished.iter())
        .map(|one| format!("{} ({} of {} captures)", one.title, one.made, one.planned))
        .collect();
    (!open.is_empty()).then(|| {
        plain(format!(
            "INTERRUPTED: the verification was not made to its end. Not finished: {}. The results \
             stand as far as they were captured.",
            open.join("; ")
        ))
    })
}

fn of_test(proof: &Proof, test: &TestOutcome) -> Statement {
    let conformity = conformity(test);
    let mut said = vec![
        format!("{}: {}; {}.", test.title, test.verdict.words(), test.says),
        format!(
            "Test and limits after {}; permissible errors by {} ({}).",
            test.source, proof.scheme, proof.scheme_source
        ),
        format!("Decision rule: {}.", proof.rule),
    ];
    said.extend(test.remarks.iter().map(|remark| format!("{remark}.")));
    if !test.incomplete.is_empty() {
        said.push(format!("Not complete: {}.", test.incomplete.join("; ")));
    }
    if conformity.is_none() {
        said.push("Conformity is not stated.".into());
    }
    let mut norms: Vec<String> = [&test.source, &proof.scheme_source]
        .into_iter()
        .filter_map(|source| norm(source))
        .collect();
    norms.dedup();
    Statement {
        declaration: said.join(" "),
        norms,
        conformity,
    }
}

/// What a verdict is in the schema's words.
///
/// Passed and failed are `pass` and `fail` under either rule. With guard bands a
/// value between them is open: within its limit that is `conditionalPass`,
/// beyond it `conditionalFail` (ILAC-G8:09/2019, 4.2.3, from memory). A test
/// that was not complete has failed where a value failed, for that can't be
/// mended by more captures; but it is never called passed, not even
/// conditionally, since that word is about uncertainty and not about gaps: then
/// nothing is stated.
fn conformity(test: &TestOutcome) -> Option<Conformity> {
    // Open for want of certainty, not for want of a reading.
    let open =
        (test.rows.iter()).filter(|row| row.verdict == Verdict::Open && row.expanded_u_g.is_some());
    let beyond = open.clone().any(|row| row.value_g.abs() > row.limit_g);
    match test.verdict {
        Verdict::Passes => Some(Conformity::Pass),
        Verdict::Fails => Some(Conformity::Fail),
        Verdict::Open if beyond => Some(Conformity::ConditionalFail),
        Verdict::Open if open.count() > 0 && test.incomplete.is_empty() => {
            Some(Conformity::ConditionalPass)
        }
        Verdict::Open | Verdict::PassesSoFar => None,
    }
}

fn not_tested(proof: &Proof) -> Statement {
    let left_out = (proof.left_out.iter()).map(|(test, why)| format!("{test} ({why})"));
    let all: Vec<String> = left_out.chain(proof.not_tested.iter().cloned()).collect();
    plain(format!("NOT TESTED: {}.", all.join("; ")))
}

/// A class says how far a weight may be off, a certificate how that is known.
fn traceability(performed: &Performed, lab: &Lab) -> Statement {
    let certified = |id: &String| lab.weights.iter().any(|one| one.names.contains(id));
    let without: Vec<&str> = (performed.weights.iter())
        .filter(|weight| !certified(&weight.id))
        .map(|weight| weight.id.as_str())
        .collect();
    plain(match without[..] {
        [] => "Metrological traceability rests on the certificates named with the weights.".into(),
        _ => format!(
            "No certificate is named for these weights, whose masses are taken as stated: {}. So \
             far metrological traceability is not documented here.",
            without.join(", ")
        ),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::proof::ProofRow;

    fn test(verdict: Verdict, rows: &[(f64, Verdict)], incomplete: bool) -> TestOutcome {
        TestOutcome {
            test: "errors".into(),
            title: "Errors".into(),
            says: String::new(),
            source: String::new(),
            rows: rows
                .iter()
                .map(|(value_g, verdict)| ProofRow {
                    what: "1 kg".into(),
                    load_g: 1000.0,
                    from_above: false,
                    at_s: None,
                    value_g: *value_g,
                    limit_g: 1.0,
                    expanded_u_g: Some(0.2),
                    k: Some(2.0),
                    inside: None,
                    verdict: *verdict,
                    captures: Vec::new(),
                })
                .collect(),
            remarks: Vec::new(),
            incomplete: if incomplete {
                vec!["a gap".into()]
            } else {
                Vec::new()
            },
            verdict,
        }
    }

    #[test]
    fn a_verdict_becomes_the_word_it_deserves() {
        use Conformity::{ConditionalFail, ConditionalPass, Fail, Pass};
        use Verdict::{Fails, Open, Passes, PassesSoFar};
        for (verdict, rows, incomplete, word) in [
            (Passes, &[(0.1, Passes)][..], false, Some(Pass)),
            (Fails, &[(1.5, Fails)], false, Some(Fail)),
            (Fails, &[(1.5, Fails)], true, Some(Fail)),
            (Open, &[(0.9, Open)], false, Some(ConditionalPass)),
            (Open, &[(-0.9, Open)], true, None),
            (
                Open,
                &[(0.9, Open), (-1.1, Open)],
                false,
                Some(ConditionalFail),
            ),
            (Open, &[(1.1, Open)], true, Some(ConditionalFail)),
            (Open, &[], true, None),
            (Open, &[(0.1, Passes)], false, None),
            (PassesSoFar, &[(0.1, Passes)], true, None),
        ] {
            let found = conformity(&test(verdict, rows, incomplete));
            assert_eq!(found, word, "{verdict:?} {rows:?} {incomplete}");
        }
    }
}
