//! `scalewright weights check` as a user sees it: the list, what is remarked on
//! it, and the same for programs. Files that are wrong: `bad_input.rs`.

mod support;

use support::{Folder, command, run, too_wide};

/// A set for Max 6 kg with one of each kind: by class, by certificate, stated,
/// in ounces, of no stated worth, and a substitution load.
const SET: &str = r#"[[weight]]
id = "W1"
nominal = "2 kg"
class = "M1"

[[weight]]
id = "W2"
nominal = "2 kg"
certificate = "2000.012 g"
uncertainty = "30 mg"
density = "2.7 g/cm3"

[[weight]]
id = "jar"
nominal = "497.3 g"
uncertainty = "0.2 g"
drift = "0.3 g"

[[weight]]
id = "brick"
nominal = "8 oz"
uncertainty = "0.02 g"

[[weight]]
id = "kitchen"
nominal = "50 g"

[[substitution]]
id = "jug"
about = "4 kg"
note = "water, with a lid"
"#;

/// Numbers by hand: M1 leaves 2 kg 100 mg (OIML R 111-1:2004, table 1), over the
/// root of 3; 2.7 g/cm3 moves 2 kg by 0.12 (1/2700 - 1/8000) 2000 g = 58.9 mg at
/// most, over the root of 3 and with 15 mg in quadrature 37.2 mg. 0.3 g over the
/// root of 3 and 0.1 g are 0.2 g.
#[test]
fn weights_are_listed_one_a_line_with_what_is_known() {
    let folder = Folder::new();
    folder.with("weights.toml", SET);
    let scale = ["--max", "6kg", "--e", "2g"];
    let all = [&["weights", "check", "weights.toml"], &scale[..]].concat();
    let found = run(folder.path(), &all);
    assert_eq!((found.code, found.err.as_str()), (0, ""), "{found:#?}");
    assert_eq!(too_wide(&found.out), [""; 0]);
    assert!(!found.out.contains('\x1b'), "colour into a pipe");
    let lines: Vec<String> = found
        .out
        .lines()
        .map(|line| line.split_whitespace().collect::<Vec<_>>().join(" "))
        .collect();
    for line in [
        "W1 2 kg M1: within 100 mg 58 mg",
        "W2 2 kg 2.000012 kg certificate, U = 30 mg 37 mg",
        "density 2700 kg/m3: the air may move its reading by 59 mg",
        "jar 497.3 g stated, U = 0.2 g 0.2 g",
        "may have drifted by 0.3 g since its mass was stated",
        "brick 8 oz 226.796 g stated, U = 20 mg 10 mg",
        "kitchen 50 g nothing stated: 0.1 % assumed 29 mg",
        "jug about 4 kg substitution load, mass to be found 0.4 kg",
        "water, with a lid",
        // Five weights, two of them equal: 3 * 2 * 2 * 2 - 1.
        "Sum 4.77411 kg, u = 0.33 g; 23 different loads. Substitution loads: about 4 kg.",
        "· units brick (8 oz) is 226.796185 g",
        "! unstated nothing is stated of kitchen",
        "· equal ones W1 and W2 are both 2 kg",
        "means weighing each in the other's place tells whether one is off",
        "✓ reach the weights reach 4.7741 kg, 80 % of Max (6 kg)",
        "! small loads the lightest load is 50 g, 25 e",
        "try add a weight of 20 g, 10 e",
        "next scalewright calibrate --max 6kg --e 2g --weights weights.toml",
    ] {
        assert!(
            lines.iter().any(|one| one == line),
            "no {line:?}: {lines:#?}"
        );
    }
    // Without a scale nothing is said of one.
    let alone = run(folder.path(), &["weights", "check", "weights.toml"]);
    assert_eq!(alone.code, 0);
    assert!(alone.out.contains("W1 and W2 are both 2 kg"));
    assert!(!alone.out.contains("Max ("), "{}", alone.out);
    let plain: support::Run = command(folder.path(), &all)
        .env("LC_ALL", "C")
        .output()
        .expect("it runs")
        .into();
    assert!(plain.code == 0 && plain.out.is_ascii(), "{plain:#?}");
}

#[test]
fn weights_are_one_object_for_programs() {
    let folder = Folder::new();
    folder.with("weights.toml", SET);
    let scale = ["--max", "6kg", "--e", "2g", "--json"];
    let all = [&["weights", "check", "weights.toml"], &scale[..]].concat();
    let found = run(folder.path(), &all);
    assert_eq!((found.code, found.err.as_str()), (0, ""), "{found:#?}");
    let found: serde_json::Value = serde_json::from_str(&found.out).expect("one object");
    assert_eq!(found["file"], "weights.toml");
    let weights = found["weights"].as_array().expect("weights");
    let ids: Vec<_> = weights.iter().map(|one| one["id"].as_str()).collect();
    assert_eq!(
        ids,
        ["W1", "W2", "jar", "brick", "kitchen"].map(Some),
        "in the order of the file"
    );
    let basis: Vec<_> = weights.iter().map(|one| one["basis"].as_str()).collect();
    assert_eq!(
        basis,
        ["class", "certificate", "stated", "stated", "unstated"].map(Some)
    );
    let number = |index: usize, name: &str| weights[index][name].as_f64().expect("a number");
    let near = |found: f64, expected: f64| (found / expected - 1.0).abs() < 1e-3;
    assert_eq!(number(1, "mass_g"), 2000.012);
    assert_eq!(number(1, "nominal_g"), 2000.0);
    assert!(near(number(0, "standard_uncertainty_g"), 0.057_735));
    assert!(near(number(1, "buoyancy_half_width_g"), 0.058_889));
    assert!(near(number(1, "standard_uncertainty_g"), 0.037_161));
    assert!(near(number(4, "standard_uncertainty_g"), 0.028_868));
    assert!(weights[0]["buoyancy_half_width_g"].is_null());
    assert_eq!(found["substitutions"][0]["about_g"], 4000.0);
    assert_eq!(found["different_loads"], 23);
    assert_eq!(found["scale"]["max_g"], 6000.0);
    assert_eq!(found["scale"]["lightest_e"], 25.0);
    let remarks = found["remarks"].as_array().expect("remarks");
    for (topic, level) in [("equal", "note"), ("unstated", "heed"), ("small", "heed")] {
        let one = remarks.iter().find(|one| one["topic"] == topic);
        assert_eq!(one.expect(topic)["level"], level);
    }
    let alone = run(
        folder.path(),
        &["weights", "check", "weights.toml", "--json"],
    );
    let alone: serde_json::Value = serde_json::from_str(&alone.out).expect("one object");
    assert!(alone["scale"].is_null());
    assert_eq!(alone["weights"], found["weights"]);
}

/// Each example of a weights file in a help text can be used.
#[test]
fn weights_files_in_help_texts_are_good() {
    let folder = Folder::new();
    for name in ["weights", "calibrate"] {
        let help = run(folder.path(), &[name, "--help"]).out;
        let begin = help.find("  [[weight]]").expect("an example");
        let example: Vec<&str> = help[begin..]
            .lines()
            .take_while(|line| line.is_empty() || line.starts_with("  "))
            .collect();
        let file = folder.with("weights.toml", example.join("\n"));
        let checked = run(folder.path(), &["weights", "check", &file]);
        assert_eq!(
            (checked.code, checked.err.as_str()),
            (0, ""),
            "{example:#?}"
        );
        assert!(checked.out.contains("W1"), "{checked:#?}");
    }
}
