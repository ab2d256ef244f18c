//! `scalewright verify` as people call it.

mod support;

use serde_json::Value;
use support::{Folder, GOOD_WEIGHTS, run, too_wide};

const USAGE: i32 = 2;
const SCALE: i32 = 3;
const DATA: i32 = 4;

#[test]
fn a_rehearsal_ends_with_every_test_and_its_report() {
    let folder = Folder::new();
    let said = run(folder.path(), &["rehearse", "--verify"]);
    assert_eq!((said.code, said.err.as_str()), (0, ""), "{}", said.out);
    assert_eq!(too_wide(&said.out), [""; 0]);
    for part in [
        "Repeatability",
        "front left",
        "Creep and return to zero",
        "passes so far",
        "Not a legal verification",
        "coverage factor",
    ] {
        assert!(said.out.contains(part), "no \"{part}\" in {}", said.out);
    }
    let page = std::fs::read_to_string(folder.file("rehearsal/verification.html"));
    let page = page.expect("the report");
    assert!(page.contains("<svg") && page.contains("OIML R 76"));

    // The file alone gives the same again, without a scale.
    let file = "rehearsal/verification.session.jsonl";
    let again = run(folder.path(), &["verify", "--again", file, "--json"]);
    assert_eq!((again.code, again.err.as_str()), (0, ""));
    let found: Value = serde_json::from_str(&again.out).expect("one object");
    assert_eq!(found["verdict"], "passes_so_far");
    assert_eq!(found["tests"].as_array().map(Vec::len), Some(7));
    let rewritten = std::fs::read_to_string(folder.file("rehearsal/verification.html"));
    assert_eq!(rewritten.expect("the report"), page);

    // Cut short it gives what it holds, and does not end as if it had passed.
    let whole = std::fs::read_to_string(folder.file(file)).expect("the session");
    let lines: Vec<&str> = whole.lines().collect();
    let cut = lines[..lines.len() * 3 / 4].join("\n") + "\n";
    let cut = folder.with("cut.session.jsonl", cut);
    let again = run(folder.path(), &["verify", "--again", &cut]);
    assert_eq!((again.code, again.err.as_str()), (5, ""), "{}", again.out);
    assert!(again.out.contains("It was cut short"), "{}", again.out);
    let told = again.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        told.contains("--go-on --session cut.session.jsonl"),
        "{told}"
    );

    // A calibration's file is none of a verification, and the other way round.
    let file = "rehearsal/rehearsal.session.jsonl";
    run(folder.path(), &["verify", "--again", file]).is_problem(DATA, "makes no sense");
    let file = "rehearsal/verification.session.jsonl";
    run(folder.path(), &["resume", file]).is_problem(DATA, "makes no sense");
}

#[test]
fn what_cannot_be_is_said_before_anything_happens() {
    let folder = Folder::new();
    let weights = folder.with("weights.toml", GOOD_WEIGHTS);
    let unknown = run(folder.path(), &["verify", "tilt", "--weights", &weights]);
    assert_eq!(unknown.code, USAGE);
    assert!(unknown.err.contains("eccentricity"), "{}", unknown.err);
    let none = run(folder.path(), &["verify"]);
    assert_eq!(none.code, USAGE);
    assert!(none.err.contains("--weights"), "{}", none.err);
    run(folder.path(), &["verify", "--go-on"]).is_problem(DATA, "verification.session.jsonl");
    let port = ["--port", "/dev/no-such-port"];
    let call = ["verify", "--weights", &weights, port[0], port[1]];
    run(folder.path(), &call).is_problem(SCALE, "no-such-port");
    run(folder.path(), &["verify", "--again", "nothing.jsonl"]).is_problem(DATA, "nothing.jsonl");
}

/// A table of permitted errors as its owner would write it.
const OWN_TABLE: &str = r#"name = "glaze kitchen"
source = "house rule of 2026"

[[step]]
up_to = "500 g"
permitted = "1 g"

[[step]]
up_to = "6 kg"
permitted = "0.2 %"
"#;

#[test]
fn a_bad_table_is_told_before_the_scale_is_asked() {
    let folder = Folder::new();
    let weights = folder.with("weights.toml", GOOD_WEIGHTS);
    let judged = |table: &str| {
        let file = folder.with("own.toml", table);
        let port = ["--port", "/dev/no-such-port"];
        let call = ["verify", "--weights", &weights, "--judge", &file];
        run(folder.path(), &[&call[..], &port].concat())
    };
    judged(OWN_TABLE).is_problem(SCALE, "no-such-port");
    for (from, to, said) in [
        (
            "6 kg",
            "0.4 kg",
            "line 9: up_to of step 2: 400 g is below the step before",
        ),
        (
            "1 g",
            "1,5 g",
            "line 6: permitted of step 1: \"1,5\" has a decimal comma",
        ),
        (
            "1 g",
            "0 g",
            "line 6: permitted of step 1: \"0 g\" is not a mass above zero",
        ),
        (
            "permitted",
            "limit",
            "line 6: the key \"limit\" is not known here",
        ),
        (
            "source",
            "from",
            "line 2: the key \"from\" is not known here",
        ),
    ] {
        judged(&OWN_TABLE.replacen(from, to, 1)).is_problem(DATA, said);
    }
    let call = ["verify", "--weights", &weights, "--judge", "absent.toml"];
    run(folder.path(), &call).is_problem(DATA, "absent.toml: cannot be read");
    let call = ["verify", "--weights", &weights, "--judge", "kindly"];
    run(folder.path(), &call).is_problem(USAGE, "--judge: \"kindly\" names no permitted error");
}

#[cfg(unix)]
mod at_a_port {
    use scalewright_bench::{LoadOrder, Pan, pty};

    use super::*;
    use support::bench::calibrated;
    use support::hands::{weights_file, with_hands};

    /// The session keeps the table: the file may go.
    #[test]
    fn a_table_of_ones_own_is_kept_and_named() {
        let bench = pty::open(calibrated(3)).expect("a bench");
        let desk = bench.desk();
        let weights = desk.weights();
        let folder = Folder::new();
        let file = folder.with("weights.toml", weights_file(&weights));
        let verify = |table: &str| {
            let own = folder.with("own.toml", table);
            let call = ["verify", "--weights", &file, "--port", bench.path()];
            let rest = ["--judge", &own, "errors"];
            with_hands(
                &folder,
                &weights,
                &mut |ids| desk.ask(LoadOrder::of(ids)),
                &[&call[..], &rest].concat(),
            )
        };
        // The bench is of Max 6 kg.
        let (code, _, err) = verify(&OWN_TABLE.replace("6 kg", "5 kg"));
        assert_eq!(code, DATA, "{err}");
        let said = err.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(
            said.contains(
                "line 9: up_to of the last step: the table ends at 5 kg, below Max (6 kg)"
            ),
            "{said}"
        );

        let (code, out, err) = verify(OWN_TABLE);
        assert_eq!((code, err.as_str()), (0, ""), "{out}");
        std::fs::remove_file(folder.file("own.toml")).expect("it was there");
        let page = |name: &str| std::fs::read_to_string(folder.file(name)).expect("the report");
        let before = page("verification.html");
        for part in [
            "the user's own table \"glaze kitchen\"",
            "house rule of 2026 (set by the user): up to 500 g: 1 g; up to 6000 g: 0.2 % of load",
        ] {
            let part = part.replace('"', "&quot;").replace('\'', "&#39;");
            assert!(before.replace('\u{a0}', " ").contains(&part), "no {part}");
        }
        let session = "verification.session.jsonl";
        let again = run(folder.path(), &["verify", "--again", session, "--json"]);
        assert_eq!((again.code, again.err.as_str()), (0, ""));
        assert_eq!(page("verification.html"), before);
        let found: Value = serde_json::from_str(&again.out).expect("one object");
        assert_eq!(found["scheme"], "the user's own table \"glaze kitchen\"");
        let rows = found["tests"][0]["rows"].as_array().expect("rows");
        assert!(rows.len() > 5);
        for row in rows {
            let number = |key: &str| row[key].as_f64().expect("a number");
            let permitted_g = match number("load_g") {
                small if small <= 500.0 => 1.0,
                large => 0.002 * large,
            };
            assert!((number("limit_g") - permitted_g).abs() < 1e-9, "{row}");
        }
    }
}
