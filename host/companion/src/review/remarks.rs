//! What is to be said of weights themselves, whatever the scale.

use super::{Basis, Level, Remark, SubstitutionRow, Topic, WeightRow, listing, rough};
use crate::record::mass::is_avoirdupois;
use crate::record::weights::{UNSTATED_SHARE, name};
use crate::report::number;

/// An expanded uncertainty above this share of the mass is rarely meant: ten
/// times what is assumed of weights of which nothing is known.
const WIDE: f64 = 10.0 * UNSTATED_SHARE;

/// One below this share is finer than a calibrated weight of class E2 has it:
/// its tolerance is 1.6e-6 of the mass from 100 g on, its uncertainty may be a
/// third of that (OIML R 111-1:2004, table 1; 5.2 from memory), this is a fifth
/// of the third.
const FINE: f64 = 1e-7;

/// The same for small weights, g: from a tolerance of 6 µg.
const FINE_G: f64 = 4e-7;

/// Remarks on the weights, in the order in which they are best read.
pub fn remarks(weights: &[WeightRow], substitutions: &[SubstitutionRow]) -> Vec<Remark> {
    let mut remarks = Vec::new();
    remarks.extend(units(weights, substitutions));
    remarks.extend(unstated(weights));
    for weight in weights {
        remarks.extend(uncertainty(weight));
    }
    remarks.extend(equal(weights));
    remarks.extend(to_be_found(substitutions));
    remarks
}

fn units(weights: &[WeightRow], substitutions: &[SubstitutionRow]) -> Option<Remark> {
    let weights = weights
        .iter()
        .map(|one| (&one.id, &one.nominal, one.nominal_g));
    let substitutions = substitutions
        .iter()
        .map(|one| (&one.id, &one.about, one.about_g));
    let converted: Vec<String> = weights
        .chain(substitutions)
        .filter(|(_, text, _)| is_avoirdupois(text))
        .map(|(id, text, mass_g)| format!("{id} ({text}) is {} g", number::trimmed(mass_g, 6)))
        .collect();
    (!converted.is_empty()).then(|| Remark {
        level: Level::Note,
        topic: Topic::Units,
        seen: listing(&converted),
        means: "avoirdupois pounds and ounces were converted; everything is reckoned in grams"
            .into(),
        advice: String::new(),
    })
}

fn unstated(weights: &[WeightRow]) -> Option<Remark> {
    let names: Vec<String> = weights
        .iter()
        .filter(|one| one.basis == Basis::Unstated)
        .map(|one| one.id.clone())
        .collect();
    (!names.is_empty()).then(|| Remark {
        level: Level::Heed,
        topic: Topic::Unstated,
        seen: format!("nothing is stated of {}", listing(&names)),
        means: format!(
            "{} % either way is assumed, which limits what can be proved",
            UNSTATED_SHARE * 100.0
        ),
        advice: "give the class; or have it weighed on a better scale, and write what that \
            shows as nominal with its uncertainty"
            .into(),
    })
}

fn uncertainty(weight: &WeightRow) -> Option<Remark> {
    let expanded_g = weight.expanded_uncertainty_g?;
    let id = &weight.id;
    let u = number::spread(expanded_g, 3);
    let share = expanded_g / weight.mass_g;
    let heed = |seen: String, means: &str, advice: &str| {
        Some(Remark {
            level: Level::Heed,
            topic: Topic::Uncertainty,
            seen,
            means: means.into(),
            advice: advice.into(),
        })
    };
    if share > WIDE {
        return heed(
            format!(
                "the uncertainty of {id}, {u}, is {} % of its mass",
                number::significant(share * 100.0, 2)
            ),
            "that is more than is assumed of a weight of which nothing is known",
            "check the unit of its uncertainty",
        );
    }
    // What limits allow and what an expanded uncertainty spans compare as
    // standard uncertainties.
    if let (Some(class), Some(mpe_g)) = (&weight.class, weight.class_mpe_g)
        && expanded_g / 2.0 > mpe_g / 3f64.sqrt()
    {
        return heed(
            format!(
                "the certificate of {id}, U = {u}, says less than its class {class}, within {}",
                name(mpe_g)
            ),
            "the certificate counts, so the weight passes for worse than it is",
            "check the unit of its uncertainty, or leave certificate and uncertainty out",
        );
    }
    if expanded_g < (FINE * weight.mass_g).max(FINE_G) {
        return heed(
            format!("the uncertainty of {id}, {u}, is finer than the best weights have it"),
            "if that is not true, the calibration promises too much",
            "check the unit of its uncertainty",
        );
    }
    None
}

fn equal(weights: &[WeightRow]) -> Option<Remark> {
    let mut sets: Vec<(f64, Vec<String>)> = Vec::new();
    for weight in weights {
        let nominal_g = weight.nominal_g;
        let same = |other: &f64| (other - nominal_g).abs() <= 1e-9 * nominal_g;
        match sets.iter_mut().find(|(other, _)| same(other)) {
            Some((_, names)) => names.push(weight.id.clone()),
            None => sets.push((nominal_g, vec![weight.id.clone()])),
        }
    }
    let said: Vec<String> = sets
        .iter()
        .filter(|(_, names)| names.len() > 1)
        .map(|(nominal_g, names)| {
            let both = if names.len() == 2 { "both" } else { "all" };
            format!("{} are {both} {}", listing(names), name(*nominal_g))
        })
        .collect();
    (!said.is_empty()).then(|| Remark {
        level: Level::Note,
        topic: Topic::Equal,
        seen: said.join("; "),
        means: "weighing each in the other's place tells whether one is off".into(),
        advice: String::new(),
    })
}

fn to_be_found(substitutions: &[SubstitutionRow]) -> Option<Remark> {
    let names: Vec<String> = substitutions.iter().map(|one| one.id.clone()).collect();
    let names = listing(&names);
    let (seen, means, advice) = match substitutions {
        [] => return None,
        [one] => (
            format!(
                "{names} is a substitution load of about {}",
                rough(one.about_g)
            ),
            "its true mass is unknown; the calibration finds it by known weights",
            "keep it covered: what is spilt or dries up while you calibrate becomes an error",
        ),
        _ => (
            format!("{names} are substitution loads"),
            "their true masses are unknown; the calibration finds them by known weights",
            "keep them covered: what is spilt or dries up while you calibrate becomes an error",
        ),
    };
    Some(Remark {
        level: Level::Note,
        topic: Topic::Substitution,
        seen,
        means: means.into(),
        advice: advice.into(),
    })
}

#[cfg(test)]
mod tests {
    use super::super::review;
    use super::*;
    use crate::record::weights::parse_list;

    /// Remarks on a file of weights like `("W1", "2 kg", "class = \"M1\"")`.
    fn of(weights: &[(&str, &str, &str)]) -> Vec<Remark> {
        let text: String = weights
            .iter()
            .map(|(id, nominal, more)| {
                format!("[[weight]]\nid = \"{id}\"\nnominal = \"{nominal}\"\n{more}\n")
            })
            .collect();
        review(&parse_list(&text, "it").expect("a good file")).remarks
    }

    fn topics(remarks: &[Remark]) -> Vec<Topic> {
        remarks.iter().map(|one| one.topic).collect()
    }

    #[test]
    fn there_is_nothing_to_say_of_plain_weights() {
        let plain = of(&[
            ("W1", "2 kg", "class = \"M1\""),
            ("W2", "1 kg", "uncertainty = \"10 g\""),
            ("W3", "500 g", "uncertainty = \"0.05 mg\""),
            (
                "W4",
                "200 g",
                "class = \"M1\"\ncertificate = \"200.001 g\"\nuncertainty = \"11 mg\"",
            ),
        ]);
        assert_eq!(plain, []);
    }

    #[test]
    fn an_uncertainty_out_of_the_common_is_heeded() {
        for (nominal, more, seen) in [
            (
                "1 kg",
                "uncertainty = \"11 g\"",
                "11 g, is 1.1 % of its mass",
            ),
            (
                "1 kg",
                "uncertainty = \"0.09 mg\"",
                "90 µg, is finer than the best weights",
            ),
            (
                "1 mg",
                "uncertainty = \"0.0003 mg\"",
                "0.3 µg, is finer than the best weights",
            ),
            (
                "200 g",
                "class = \"M1\"\ncertificate = \"200.001 g\"\nuncertainty = \"12 mg\"",
                "U = 12 mg, says less than its class M1, within 10 mg",
            ),
        ] {
            let remarks = of(&[("W1", nominal, more)]);
            assert_eq!(topics(&remarks), [Topic::Uncertainty], "{seen}");
            assert!(remarks[0].seen.contains(seen), "{}", remarks[0].seen);
        }
    }

    #[test]
    fn equal_weights_are_named_together() {
        let m1 = "class = \"M1\"";
        let remarks = of(&[
            ("W1", "2 kg", m1),
            ("W2", "200 g", m1),
            ("W3", "2000 g", m1),
            ("W4", "0.2 kg", m1),
            ("W5", "200 g", m1),
            ("W6", "100 g", m1),
        ]);
        assert_eq!(topics(&remarks), [Topic::Equal]);
        assert_eq!(
            remarks[0].seen,
            "W1 and W3 are both 2 kg; W2, W4 and W5 are all 200 g"
        );
    }

    #[test]
    fn pounds_are_listed_with_their_grams() {
        let remarks = of(&[
            ("brick", "2 lb", "uncertainty = \"0.01 oz\""),
            ("W1", "1 kg", "class = \"M1\""),
        ]);
        assert_eq!(topics(&remarks), [Topic::Units]);
        assert_eq!(remarks[0].seen, "brick (2 lb) is 907.18474 g");
    }

    #[test]
    fn many_names_are_cut_short() {
        let many: Vec<String> = (1..=9).map(|number| format!("W{number}")).collect();
        assert_eq!(listing(&many), "W1, W2, W3, W4, W5, W6 and 3 more");
        assert_eq!(listing(&many[..6]), "W1, W2, W3, W4, W5 and W6");
        assert_eq!(listing(&many[..1]), "W1");
    }
}
