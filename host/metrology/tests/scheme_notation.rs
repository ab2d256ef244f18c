//! The notation of a scheme: what is written reads back, what is wrong is named.

#[path = "common/schemes.rs"]
mod any;

use any::{CLASSES, scheme};
use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use scalewright_metrology::tolerance::{Application, NotationFault, Scheme, Stage};

/// Every scheme with a class, written as the notation says.
#[test]
fn notation_of_the_schemes_with_a_class() {
    for class in CLASSES {
        for (text, scheme) in [
            (
                "R76 * initial",
                Scheme::R76 {
                    class,
                    stage: Stage::Initial,
                },
            ),
            (
                "R76 * in service",
                Scheme::R76 {
                    class,
                    stage: Stage::InService,
                },
            ),
            (
                "HB44 * acceptance",
                Scheme::Handbook44 {
                    class,
                    application: Application::Acceptance,
                },
            ),
            (
                "HB44 * maintenance",
                Scheme::Handbook44 {
                    class,
                    application: Application::Maintenance,
                },
            ),
        ] {
            let text = text.replace('*', &class.to_string());
            assert_eq!(scheme.to_string(), text);
            assert_eq!(text.parse(), Ok(scheme.clone()));
            assert_eq!(
                text.to_lowercase().replace(' ', "  ").parse(),
                Ok(scheme.clone())
            );
            assert_eq!(scheme.class(), Some(class));
            assert!(scheme.name().contains(&format!("class {class}, ")));
        }
    }
    let spaced: Result<Scheme, _> = "hb 44 3 Acceptance".parse();
    assert_eq!(
        spaced.map(|s| s.to_string()),
        Ok("HB44 III acceptance".to_owned())
    );
}

#[test]
fn notation_of_shares_and_tables() {
    for text in ["1 % of load", "1%", " 1.0% of the LOAD "] {
        let scheme: Scheme = text.parse().expect(text);
        assert_eq!(scheme.to_string(), "1 % of load");
    }
    let scheme: Scheme = "up to 500 g: 200 mg; up to 2kg:2 g".parse().expect("steps");
    assert_eq!(scheme.to_string(), "up to 500 g: 0.2 g; up to 2000 g: 2 g");
    assert_eq!(scheme.name(), "own table of 2 steps");
    let mixed: Scheme = "UP TO 500 g: 0.5 g; up to 6 kg: 0.10% of the load"
        .parse()
        .expect("steps");
    let text = "up to 500 g: 0.5 g; up to 6000 g: 0.1 % of load";
    assert_eq!(mixed.to_string(), text);
    // A title keeps its letters, and whatever the notation means elsewhere.
    let titled = "Table \"Glaze: kitchen;\"  AFTER \"rule 1 % of 2026\" : Up to 500 g: 500 mg";
    let titled: Scheme = titled.parse().expect("a table");
    let written = "table \"Glaze: kitchen;\" after \"rule 1 % of 2026\": up to 500 g: 0.5 g";
    assert_eq!(titled.to_string(), written);
}

#[test]
fn a_wrong_notation_is_told_what_to_write() {
    let fault = |text: &str| text.parse::<Scheme>().expect_err(text).fault;
    assert_eq!(fault(""), NotationFault::Beginning);
    assert_eq!(fault("class III"), NotationFault::Beginning);
    assert!(matches!(fault("R76"), NotationFault::Class(_)));
    assert!(matches!(fault("R76 V initial"), NotationFault::Class(_)));
    for text in [
        "R76 III",
        "R76 III maintenance",
        "HB44 II initial",
        "R76 I initial now",
    ] {
        assert!(matches!(fault(text), NotationFault::Words { .. }), "{text}");
    }
    assert!(matches!(fault("1 % of max"), NotationFault::Words { .. }));
    for text in ["x % of load", "1,5 %", "nan %", "inf %", "% of load"] {
        assert!(matches!(fault(text), NotationFault::Number(_)), "{text}");
    }
    assert!(matches!(fault("0 % of load"), NotationFault::Share(_)));
    assert!(matches!(fault("up to 500: 1 g"), NotationFault::Unit(_)));
    assert!(matches!(fault("up to 5 lb: 1 g"), NotationFault::Unit(_)));
    assert!(matches!(fault("up to x g: 1 g"), NotationFault::Number(_)));
    assert_eq!(fault("up to 500 g 1 g"), NotationFault::Form(1));
    assert_eq!(
        fault("up to 500 g: 1 g; 900 g: 2 g"),
        NotationFault::Form(2)
    );
    assert_eq!(fault("up to 500 g: 1 g;"), NotationFault::Form(2));
    assert!(matches!(fault("up to 1 g: 500 g"), NotationFault::Steps(_)));
    let begin = "up to 500 g: 1 g; up to 2 kg: ";
    let share = |end: &str| fault(&format!("{begin}{end}"));
    assert!(matches!(share("1 % of max"), NotationFault::Words { .. }));
    assert!(matches!(share("100 %"), NotationFault::Share(_)));
    assert!(matches!(share("0.1 %"), NotationFault::Steps(_)));
    for text in [
        "table",
        "table \"a\": up to 500 g: 1 g",
        "table \"a\" after \"b\" up to 500 g: 1 g",
        "table \"a\" after b: up to 500 g: 1 g",
        "table \"a\" of \"b\": up to 500 g: 1 g",
    ] {
        assert_eq!(fault(text), NotationFault::TitleForm, "{text}");
    }
    let empty = fault("table \"a\" after \" \": up to 500 g: 1 g");
    assert!(matches!(empty, NotationFault::Title(_)));
    assert_eq!(fault("table \"a\" after \"b\":"), NotationFault::Form(1));
    for (text, advice) in [
        ("R76", "I, II, III or IIII"),
        ("R76 III", "\"initial\" or \"in service\""),
        ("HB44 III later", "\"acceptance\" or \"maintenance\""),
        ("1,5 %", "point"),
        ("up to 500: 1 g", "mg, g or kg"),
        ("table a", "table \"NAME\" after \"SOURCE\":"),
        ("?", "R76 III initial"),
    ] {
        let said = text.parse::<Scheme>().expect_err(text).to_string();
        assert!(said.contains(advice), "{said}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 2000,
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(20_261_126),
        ..ProptestConfig::default()
    })]

    #[test]
    fn what_is_written_reads_back(scheme in scheme()) {
        prop_assert_eq!(scheme.to_string().parse::<Scheme>(), Ok(scheme));
    }

    #[test]
    fn any_text_is_answered(text in ".{0,40}", words in prop::collection::vec(prop::sample::select(vec![
        "R76", "HB44", "r", "76", "III", "initial", "in", "service", "%", "of", "load", "up", "to",
        "500", "g", "kg:", ":", ";", "1", "g;", "-1", "1e999", "nan", "é%", "table", "\"a\"", "after",
    ]), 0..9)) {
        for text in [text, words.join(" ")] {
            match text.parse::<Scheme>() {
                Ok(scheme) => prop_assert_eq!(scheme.to_string().parse::<Scheme>(), Ok(scheme)),
                Err(why) => prop_assert!(why.to_string().len() > 20),
            }
        }
    }
}
