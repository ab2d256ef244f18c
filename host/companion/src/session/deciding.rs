//! From an error, its uncertainty and a limit to a verdict: the decision rules of
//! [`scalewright_metrology::decision`], and what they do not say.

use scalewright_metrology::decision::{Conformity, ErrorEstimate, Rule, decide, fitness};

use scalewright_metrology::tolerance::{Intervals, Scheme};

use crate::record::comparison::BandCorner;
use crate::record::proof::Verdict;

/// The verdict on an error by a rule, and the probability that the true error is
/// within the limit. What is within its limit with an uncertainty larger than
/// that limit is never called passed: it might as well be beyond on either side.
pub(super) fn verdict(found: ErrorEstimate, limit_g: f64, rule: Rule) -> (Verdict, Option<f64>) {
    let Ok(decision) = decide(found, limit_g, rule) else {
        return (Verdict::Open, None);
    };
    let verdict = match decision.conformity {
        Conformity::Conforms if found.expanded_g > limit_g => Verdict::Open,
        Conformity::Conforms => Verdict::Passes,
        Conformity::DoesNotConform => Verdict::Fails,
        Conformity::CannotBeTold => Verdict::Open,
    };
    (verdict, Some(decision.inside))
}

/// A rule in words, with what is added to it here.
pub(super) fn in_words(rule: Rule) -> String {
    match rule {
        Rule::Simple => {
            format!("{rule}; with an uncertainty larger than the limit nothing passes")
        }
        Rule::Guarded => rule.to_string(),
    }
}

/// Corners of the permitted error from zero to `top_g`, in twos: where a stretch
/// begins and where it ends.
pub(super) fn band(scheme: &Scheme, intervals: &Intervals, top_g: f64) -> Vec<BandCorner> {
    let changes = scheme.changes_g(intervals);
    let inside = changes.into_iter().filter(|at| *at > 0.0 && *at < top_g);
    let ends: Vec<f64> = inside.chain([top_g]).collect();
    let mut from_g = 0.0;
    let mut corners = Vec::new();
    for to_g in ends {
        // A load on a step has the lower error still.
        for load_g in [from_g * (1.0 + 1e-6), to_g] {
            if let Ok(permitted_g) = scheme.permitted_g(load_g, intervals) {
                corners.push(BandCorner {
                    load_g,
                    permitted_g,
                });
            }
        }
        from_g = to_g;
    }
    corners
}

/// What is to be said of the fineness of a test, of values with their expanded
/// uncertainties and limits (name, U in g, limit in g); `None` where a third of
/// every limit is kept.
pub(super) fn fineness<'a>(values: impl Iterator<Item = (&'a str, f64, f64)>) -> Option<String> {
    let shares = values
        .filter_map(|(what, expanded_g, limit_g)| Some((what, fitness(expanded_g, limit_g).ok()?)));
    let (what, worst) = shares.max_by(|a, b| a.1.share.total_cmp(&b.1.share))?;
    (!worst.fit).then(|| format!("{what}: {worst}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(error_g: f64, expanded_g: f64) -> ErrorEstimate {
        ErrorEstimate {
            error_g,
            standard_g: expanded_g / 2.0,
            expanded_g,
        }
    }

    #[test]
    fn a_pass_hides_no_uncertainty_larger_than_the_limit() {
        let of = |error_g, expanded_g| verdict(found(error_g, expanded_g), 1.0, Rule::Simple).0;
        assert_eq!(of(0.0, 1.0), Verdict::Passes);
        assert_eq!(of(0.0, 1.01), Verdict::Open);
        assert_eq!(of(1.0, 0.9), Verdict::Passes);
        // What is beyond is beyond by this rule, however unsure.
        assert_eq!(of(1.1, 5.0), Verdict::Fails);
        let guarded = verdict(found(0.9, 0.2), 1.0, Rule::Guarded);
        assert_eq!(guarded.0, Verdict::Open);
        assert_eq!(verdict(found(f64::NAN, 0.2), 1.0, Rule::Simple).1, None);
    }

    #[test]
    fn the_coarsest_value_is_named() {
        let fine = [("2 kg", 0.3, 1.0), ("4 kg", 0.5, 2.0)];
        assert_eq!(fineness(fine.into_iter()), None);
        let coarse = [("2 kg", 0.3, 1.0), ("4 kg", 0.9, 2.0), ("zero", 0.1, 0.0)];
        let said = fineness(coarse.into_iter()).expect("coarse");
        assert!(
            said.starts_with("4 kg: ") && said.contains("45 %"),
            "{said}"
        );
    }
}
