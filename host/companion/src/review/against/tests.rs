//! Sets of weights against a scale of Max 6 kg, e = 2 g, class III.

use super::super::review;
use super::*;
use crate::record::weights::{Listed, parse_list};

/// A review of these weights for it.
fn of(text: &str) -> Review {
    let scale = ScaleSpec {
        max_g: 6000.0,
        e_g: 2.0,
        d_g: 2.0,
        class: "III".into(),
    };
    let listed = parse_list(text, "it").expect("a good file");
    let weights = listed.iter().map(Listed::planned).collect();
    let plan = Plan::new(scale, weights).expect("a plan");
    review(&listed).against(&plan)
}

fn weights(nominals: &[&str], more: &str) -> String {
    nominals
        .iter()
        .enumerate()
        .map(|(index, nominal)| {
            format!(
                "[[weight]]\nid = \"W{}\"\nnominal = \"{nominal}\"\n{more}\n",
                index + 1
            )
        })
        .collect()
}

fn remark(review: &Review, topic: Topic) -> Option<&Remark> {
    review.remarks.iter().find(|one| one.topic == topic)
}

const SET: [&str; 9] = [
    "2 kg", "2 kg", "1 kg", "500 g", "200 g", "200 g", "100 g", "50 g", "20 g",
];
const M1: &str = "class = \"M1\"";

#[test]
fn a_full_set_is_good_in_every_respect() {
    let review = of(&weights(&SET, M1));
    let against = review.scale.clone().expect("a scale");
    // 2 + 2 + 1 + 0.5 + 0.2 + 0.2 + 0.1 = 6 kg.
    assert_eq!((against.reach_g, against.lightest_g), (6000.0, 20.0));
    assert_eq!(against.loads_beyond_a_third, 0);
    for topic in [Topic::Reach, Topic::Thirds] {
        let good = remark(&review, topic).expect("it is judged");
        assert_eq!(good.level, Level::Good, "{good:?}");
    }
    assert_eq!(remark(&review, Topic::Small), None);
}

#[test]
fn the_worst_load_is_reckoned_by_hand() {
    // U adds up: 2 kg to 0.3 g, 1 kg to 0.1 g; a third of 1 e is 0.67 g from
    // 1 kg to 4 kg, of 0.5 e 0.33 g below, of 1.5 e 1 g above.
    let text = "\
        [[weight]]\nid = \"a\"\nnominal = \"2 kg\"\nuncertainty = \"0.3 g\"\n\
        [[weight]]\nid = \"b\"\nnominal = \"1 kg\"\nuncertainty = \"0.4 g\"\n\
        [[weight]]\nid = \"c\"\nnominal = \"2 kg\"\nuncertainty = \"0.3 g\"\n";
    let against = of(text).scale.expect("a scale");
    let worst = against.worst_load.expect("loads");
    // 1 kg alone: 0.4 g of 0.33 g; 3 kg: 0.7 g of 0.67 g; 5 kg: 1 g of 1 g.
    assert_eq!(worst.weights, ["b"]);
    assert!((worst.may_be_off_g - 0.4).abs() < 1e-12);
    assert!((worst.third_of_mpe_g - 1.0 / 3.0).abs() < 1e-12);
    assert_eq!(against.loads_beyond_a_third, 2);
}

#[test]
fn weights_of_no_stated_worth_are_beyond_a_third() {
    let review = of(&weights(&SET, ""));
    let beyond = remark(&review, Topic::Thirds).expect("it is judged");
    assert_eq!(beyond.level, Level::Heed);
    assert!(beyond.seen.contains("known well enough"), "{beyond:?}");
    assert!(beyond.advice.contains("first for W"), "{beyond:?}");
}

#[test]
fn what_is_missing_above_and_below_is_said() {
    let review = of(&weights(&["2 kg", "1 kg", "500 g"], M1));
    let far = remark(&review, Topic::Reach).expect("it is judged");
    assert_eq!(far.level, Level::Heed);
    assert_eq!(far.seen, "the weights reach 3.5 kg, 58 % of Max (6 kg)");
    assert!(far.advice.starts_with("add 2.5 kg more"), "{far:?}");
    let small = remark(&review, Topic::Small).expect("it is judged");
    assert_eq!(small.level, Level::Heed);
    assert_eq!(small.seen, "the lightest load is 500 g, 250 e");
    assert_eq!(small.advice, "add a weight of 20 g, 10 e");
    // Min is 20 e = 40 g: reached, but not 10 e.
    let review = of(&weights(&["2 kg", "1 kg", "500 g", "40 g"], ""));
    let small = remark(&review, Topic::Small).expect("it is judged");
    assert_eq!(small.level, Level::Note);
}

#[test]
fn a_substitution_load_is_counted_apart() {
    for (nominals, sum_g, level, share, with) in [
        (
            &["2 kg", "1 kg", "500 g"][..],
            3500.0,
            Level::Good,
            "58 % of Max",
            "Max;",
        ),
        (
            &["1 kg", "500 g", "250 g"],
            1750.0,
            Level::Note,
            "29 % of Max",
            "about 5.8 kg;",
        ),
    ] {
        let jug = "[[substitution]]\nid = \"jug\"\nabout = \"4 kg\"\n";
        let review = of(&(weights(nominals, "") + jug));
        let far = remark(&review, Topic::Reach).expect("it is judged");
        assert_eq!(far.level, level, "{far:?}");
        assert!(far.seen.contains(share), "{far:?}");
        let with = format!("with jug, once found, they reach {with}");
        assert!(far.means.starts_with(&with), "{far:?}");
        assert_eq!(review.sum_g, sum_g);
        assert_eq!(review.substitution_sum_g, 4000.0);
    }
}

#[test]
fn few_loads_are_counted_and_none_for_the_proof_is_heeded() {
    let review = of(&weights(&["2 kg", "1 kg"], M1));
    let few = remark(&review, Topic::Loads).expect("it is judged");
    assert_eq!(few.level, Level::Heed, "{few:?}");
    assert_eq!(
        few.seen,
        "they make 3 loads for the fit and 0 for the proof"
    );
    let review = of(&weights(&["2 kg", "1 kg", "500 g", "200 g"], M1));
    let few = remark(&review, Topic::Loads).expect("it is judged");
    assert_eq!(few.level, Level::Note, "{few:?}");
    assert_eq!(remark(&of(&weights(&SET, M1)), Topic::Loads), None);
}
