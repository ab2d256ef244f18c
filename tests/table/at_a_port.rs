//! The command on a bench behind a port, as a user runs it.

use scalewright_bench::{BenchHandle, BenchSpec, Weight, pty};
use serde_json::Value;

use super::support::bench::calibrated;
use super::support::hands::with_hands;
use super::support::{Folder, Run, command, run, too_wide};
use super::terminal::at_a_terminal;
use super::{DATA, SCALE, STOPPED, USAGE};

fn at(folder: &Folder, bench: &BenchHandle, arguments: &[&str]) -> Run {
    run(
        folder.path(),
        &[&["table"], arguments, &["--port", bench.path()]].concat(),
    )
}

/// A run that goes well and fits a terminal.
fn well(folder: &Folder, bench: &BenchHandle, arguments: &[&str]) -> String {
    let said = at(folder, bench, arguments);
    assert_eq!(
        (said.code, said.err.as_str()),
        (0, ""),
        "{arguments:?}: {}",
        said.out
    );
    assert_eq!(too_wide(&said.out), [""; 0], "{arguments:?}");
    said.out
}

fn json(folder: &Folder, bench: &BenchHandle, arguments: &[&str]) -> Value {
    let said = at(folder, bench, &[arguments, &["--json"]].concat());
    assert_eq!((said.code, said.err.as_str()), (0, ""), "{arguments:?}");
    serde_json::from_str(&said.out).expect("one object")
}

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

/// The line of a load in what is foretold.
fn foretold(change: &Value, load_g: f64) -> Value {
    let lines = change["foretold"]["loads"].as_array().expect("loads");
    let found = lines.iter().find(|line| line["load_g"] == load_g);
    found
        .unwrap_or_else(|| panic!("no {load_g} in {lines:?}"))
        .clone()
}

#[test]
fn a_load_is_foretold_adjusted_and_rolled_back() {
    let folder = Folder::new();
    let bench = pty::open(calibrated(3)).expect("a bench");
    let before = json(&folder, &bench, &[]);
    let wish = [
        "adjust",
        "2kg",
        "--too-much",
        "4g",
        "--keep",
        "1kg,4kg",
        "--at",
        "1.5kg",
    ];
    let told = json(&folder, &bench, &[&wish[..], &["--predict"]].concat());
    assert_eq!(
        (told["written"].clone(), told["changes"].clone()),
        (false.into(), true.into())
    );
    assert_eq!(told["checksum"], before["checksum"]);
    let line = foretold(&told, 2000.0);
    assert_eq!(line["why"], "adjusted");
    assert!((number(&line["one_g"]) - 2004.0).abs() < 0.003);
    assert!((number(&line["other_g"]) - 2000.0).abs() < 0.003);
    assert!((number(&line["change_e"]) + 2.0).abs() < 0.003);
    assert_eq!(line["permitted_g"], 2.0);
    for kept_g in [1000.0, 4000.0] {
        let line = foretold(&told, kept_g);
        assert_eq!(line["why"], "kept");
        assert!(number(&line["change_e"]).abs() < 0.12, "{line}");
    }
    assert!(number(&foretold(&told, 1500.0)["change_g"]) < -1.0);

    let out = well(&folder, &bench, &[&wish[..], &["--yes"]].concat());
    for words in [
        "2 kg put right",
        "4.00 g too much",
        "Kept: 1 kg, 4 kg",
        "read back and compared: equal",
    ] {
        let flat: Vec<&str> = out.split_whitespace().collect();
        assert!(flat.join(" ").contains(words), "no \"{words}\" in {out}");
    }
    let after = json(&folder, &bench, &[]);
    assert_ne!(after["checksum"], before["checksum"]);
    assert_eq!(
        number(&after["sequence"]),
        number(&before["sequence"]) + 1.0
    );
    assert_eq!(after["zero_counts"], before["zero_counts"]);
    // Once right there is nothing to do.
    let out = well(&folder, &bench, &["adjust", "2kg", "--shows", "2kg"]);
    assert!(out.contains("reads right already"), "{out}");
    // A script that names the table does it once.
    let named = before["checksum"].as_str().expect("a checksum");
    let again = [&wish[..], &["--yes", "--table", named]].concat();
    at(&folder, &bench, &again).is_problem(SCALE, "it may be changed already");

    let out = well(&folder, &bench, &["compare"]);
    assert!(out.contains("the one before: "), "{out}");
    // To the rounding of the table: some milligrams.
    assert!(out.contains("-4.00") || out.contains("-3.99"), "{out}");
    let out = well(&folder, &bench, &["roll-back", "--predict"]);
    assert!(out.contains("+4.00") || out.contains("+3.99"), "{out}");
    let back = json(&folder, &bench, &["--roll-back", "--yes"]);
    assert_eq!(back["checksum"], before["checksum"]);
    assert_eq!(back["points"], before["points"]);
    assert_eq!(back["written"], true);
}

#[test]
fn a_no_and_nobody_keep_the_table_and_a_yes_changes_it() {
    let folder = Folder::new();
    let bench = pty::open(calibrated(3)).expect("a bench");
    let before = json(&folder, &bench, &[]);
    let wish = ["adjust", "3kg", "--too-little", "2g"];
    // Standard input is closed.
    let said = at(&folder, &bench, &wish);
    assert_eq!(
        (said.code, said.err.as_str()),
        (STOPPED, ""),
        "{}",
        said.out
    );
    assert!(said.out.contains("nothing was changed"));
    let answer = |call: &[&str], typed: &'static str, settings: &[(&str, &str)]| {
        let call = [&["table"], call, &["--port", bench.path()]].concat();
        let mut asked = false;
        at_a_terminal(folder.path(), &call, settings, |shown| {
            let now = shown.contains("[y/N]") && !asked;
            asked |= now;
            now.then_some(typed)
        })
    };
    let (code, shown) = answer(&wish, "n\n", &[]);
    assert_eq!(code, STOPPED);
    assert!(shown.contains('\u{1b}'), "colour on a terminal");
    assert_eq!(too_wide(&shown), [""; 0]);
    let (code, shown) = answer(&wish, "\n", &[("NO_COLOR", "1")]);
    assert_eq!(code, STOPPED);
    assert!(!shown.contains('\u{1b}'), "{shown}");
    assert_eq!(json(&folder, &bench, &[])["checksum"], before["checksum"]);
    let (code, shown) = answer(&wish, "y\n", &[]);
    assert_eq!(code, 0, "{shown}");
    assert_ne!(json(&folder, &bench, &[])["checksum"], before["checksum"]);
    // Rolling back shows what changes, and asks.
    let (code, shown) = answer(&["--roll-back"], "n\n", &[]);
    assert_eq!(code, STOPPED, "{shown}");
    assert!(
        shown.contains("-2.00") && shown.contains("Roll back?"),
        "{shown}"
    );
    let (code, shown) = answer(&["roll-back"], "y\n", &[]);
    assert_eq!(code, 0, "{shown}");
    assert_eq!(json(&folder, &bench, &[])["checksum"], before["checksum"]);
}

/// Another laptop, which never read the table before: it is told afterwards.
#[test]
fn a_table_nobody_read_here_is_rolled_back_to_and_shown() {
    let (here, there) = (Folder::new(), Folder::new());
    let bench = pty::open(calibrated(3)).expect("a bench");
    well(
        &here,
        &bench,
        &["adjust", "2kg", "--too-much", "4g", "--yes"],
    );
    at(&there, &bench, &["compare"]).is_problem(DATA, "never read on this laptop");
    let out = well(&there, &bench, &["roll-back", "--yes"]);
    assert!(
        out.contains("never read on this laptop") && out.contains("+4.00"),
        "{out}"
    );
}

/// Adjusts 2 kg, weighed now; `put_on` does what is asked. Its lines.
fn weighed_now(
    folder: &Folder,
    bench: &BenchHandle,
    how: &str,
    put_on: &mut dyn FnMut(Vec<String>),
) -> String {
    let hand = [Weight::exact("load", 2000.0)];
    let arguments = ["table", "adjust", "2kg", how, "--port", bench.path()];
    let (code, out, err) = with_hands(folder, &hand, put_on, &arguments);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    out
}

#[test]
fn a_load_is_weighed_now_and_put_right() {
    let folder = Folder::new();
    // 5 g too much at 2 kg, give or take what it is wrong by already.
    let bench = pty::open(BenchSpec::studio(14)).expect("a bench");
    let desk = bench.desk();
    well(
        &folder,
        &bench,
        &["adjust", "2kg", "--too-little", "5g", "--yes"],
    );
    let mut put_on = |ids: Vec<String>| desk.place_g(if ids.is_empty() { 0.0 } else { 2000.0 });
    let out = weighed_now(&folder, &bench, "--yes", &mut put_on);
    assert!(out.contains("It was captured to show"), "{out}");
    assert_eq!(too_wide(&out.replace(bench.path(), "PORT")), [""; 0]);
    // Weighed again from the new table it is right.
    let out = weighed_now(&folder, &bench, "--predict", &mut put_on);
    let left = out
        .split(" g too ")
        .next()
        .and_then(|text| text.rsplit(' ').next());
    let left: f64 = left.and_then(|text| text.parse().ok()).unwrap_or(0.0);
    assert!(
        left < 0.3 || out.contains("reads right already"),
        "{left} g: {out}"
    );
}

#[test]
fn a_load_that_lies_there_from_the_start_is_asked_off() {
    let folder = Folder::new();
    let bench = pty::open(calibrated(3)).expect("a bench");
    let desk = bench.desk();
    desk.place_g(2000.0);
    let mut orders = 0;
    // The first order is not heard.
    let out = weighed_now(&folder, &bench, "--predict", &mut |ids| {
        orders += 1;
        match (orders, ids.is_empty()) {
            (1, _) => {}
            (_, empty) => desk.place_g(if empty { 0.0 } else { 2000.0 }),
        }
    });
    assert!(out.contains("not the empty pan"), "{out}");
    assert!(out.contains("take off what lies there (the load)"), "{out}");
    assert!(!out.contains("no combination"), "{out}");
    assert_eq!(orders, 3, "{out}");
}

#[test]
fn a_table_goes_into_a_file_is_edited_and_comes_back() {
    let folder = Folder::new();
    let bench = pty::open(calibrated(3)).expect("a bench");
    let before = json(&folder, &bench, &[]);
    well(&folder, &bench, &["save", "kitchen.toml"]);
    at(&folder, &bench, &["save", "kitchen.toml"]).is_problem(DATA, "such a file already");
    let text = std::fs::read_to_string(folder.file("kitchen.toml")).expect("a file");
    // The same back again changes nothing.
    let out = well(&folder, &bench, &["push", "kitchen.toml"]);
    assert!(out.contains("nothing was written"), "{out}");

    // By hand: Max and what is above it read 3 g more.
    let points = before["points"].as_array().expect("points");
    let last = points.last().expect("a point");
    let last_line = text
        .lines()
        .rfind(|line| line.starts_with("  ["))
        .expect("a point");
    let edited = format!(
        "  [{}, \"{} g\"],",
        last["counts"],
        number(&last["mass_g"]) + 3.0
    );
    folder.with("edited.toml", text.replace(last_line, &edited));
    let told = json(&folder, &bench, &["push", "edited.toml", "--predict"]);
    let before_last = number(&points[points.len() - 2]["mass_g"]);
    let share = (6000.0 - before_last) / (number(&last["mass_g"]) - before_last);
    let change_g = number(&foretold(&told, 6000.0)["change_g"]);
    assert!(
        share > 0.3 && (change_g - 3.0 * share).abs() < 0.02,
        "{change_g}, {share}"
    );
    let after = json(&folder, &bench, &["push", "edited.toml", "--yes"]);
    assert_eq!(after["written"], true);
    let pushed = after["points"].as_array().and_then(|all| all.last());
    assert!(
        (number(&pushed.expect("a point")["mass_g"]) - number(&last["mass_g"]) - 3.0).abs() < 1e-6
    );

    // Two files need no scale; a page and a curve.
    let both = [
        "table",
        "compare",
        "kitchen.toml",
        "edited.toml",
        "--page",
        "both.html",
    ];
    let said = run(folder.path(), &both);
    assert_eq!((said.code, said.err.as_str()), (0, ""), "{}", said.out);
    assert!(
        said.out.contains("g (+") && said.out.contains("both.html"),
        "{}",
        said.out
    );
    assert_eq!(too_wide(&said.out), [""; 0]);
    let ascii = command(folder.path(), &both[..4])
        .env("LC_ALL", "C")
        .output();
    assert!(ascii.expect("it runs").stdout.is_ascii());
    let page = std::fs::read_to_string(folder.file("both.html")).expect("a page");
    assert!(page.contains("kitchen.toml") && page.contains("<svg"));
    // A file against the scale, and one that is kept here by its checksum.
    let out = well(&folder, &bench, &["compare", "kitchen.toml"]);
    assert!(out.contains("g (+"), "{out}");
    let checksum = before["checksum"].as_str().expect("a checksum");
    assert!(well(&folder, &bench, &["compare", checksum]).contains("g (+"));
    at(&folder, &bench, &["compare", "12345678"]).is_problem(DATA, "no table 12345678");
}

#[test]
fn what_is_wrong_with_a_file_is_named_before_anything_is_sent() {
    let folder = Folder::new();
    let bench = pty::open(calibrated(3)).expect("a bench");
    let before = json(&folder, &bench, &[]);
    well(&folder, &bench, &["save", "good.toml"]);
    let good = std::fs::read_to_string(folder.file("good.toml")).expect("a file");
    let wrong = |was: &str, is: &str, words: &str| {
        assert!(good.contains(was), "{was} in {good}");
        let file = folder.with("bad.toml", good.replace(was, is));
        at(&folder, &bench, &["push", &file, "--yes"]).is_problem(DATA, words);
    };
    wrong(
        "class = \"III\"",
        "class = \"5\"",
        "write I, II, III or IIII",
    );
    wrong(
        "e = \"2 g\"",
        "e = \"5 g\"",
        "another Max or e takes a calibration",
    );
    wrong("scale = \"", "scale = \"0", "its counts mean nothing there");
    wrong("points = [", "points = [\n  [9000, \"1 g\"],", "line ");
    at(&folder, &bench, &["push", "none.toml"]).is_problem(DATA, "none.toml can't be read");
    // Two faults at once, both with their lines.
    let file = folder.with(
        "bad.toml",
        good.replace("class = \"III\"", "class = \"V\"")
            .replace("max =", "mux ="),
    );
    let said = at(&folder, &bench, &["push", &file, "--yes"]);
    said.is_problem(DATA, "3 faults");
    assert!(said.err.matches("line ").count() >= 2, "{}", said.err);
    assert_eq!(json(&folder, &bench, &[]), before);
    // A scale without a table takes one, with Max and e of the file.
    let factory = pty::open(BenchSpec::studio_factory(3)).expect("a bench");
    let out = well(&folder, &factory, &[]);
    assert!(out.contains("not calibrated"));
    let own: String = good
        .lines()
        .filter(|line| !line.starts_with("scale ="))
        .map(|line| format!("{line}\n"))
        .collect();
    folder.with("own.toml", own);
    let out = well(&folder, &factory, &["push", "own.toml", "--yes"]);
    assert!(out.contains("In force: "), "{out}");
    assert_eq!(json(&folder, &factory, &[])["points"], before["points"]);
}

#[test]
fn nonsense_is_refused_in_three_parts() {
    let folder = Folder::new();
    let bench = pty::open(calibrated(3)).expect("a bench");
    let before = json(&folder, &bench, &[]);
    for (call, code, words) in [
        (&["adjust", "2"][..], USAGE, "has no unit"),
        (
            &["adjust", "2kg", "--too-much", "0g"],
            USAGE,
            "not a mass above zero",
        ),
        (
            &["adjust", "9kg", "--too-much", "4g"],
            USAGE,
            "not above zero and up to Max",
        ),
        (
            &["adjust", "2kg", "--too-much", "500g"],
            DATA,
            "bend the curve too much",
        ),
        (
            &["adjust", "2kg", "--too-much", "4g", "--keep", "1.9kg"],
            DATA,
            "would do",
        ),
        (
            &["adjust", "2kg", "--too-much", "4g", "--keep", "x"],
            USAGE,
            "--keep",
        ),
        (
            &["adjust", "2kg", "--too-much", "4g", "--at", "x"],
            USAGE,
            "--at",
        ),
        (
            &["adjust", "1g", "--too-much", "0.1g"],
            USAGE,
            "too near zero",
        ),
        (&["adjust", "2kg", "--shows", "70kg"], USAGE, "never shows"),
        (
            &["--roll-back", "adjust", "2kg", "--shows", "1kg"],
            USAGE,
            "a command of its own",
        ),
        (
            &["adjust", "2kg", "--too-much", "4g", "--json"],
            USAGE,
            "nothing is asked",
        ),
        (&["--roll-back", "--json"], USAGE, "nothing is asked"),
        (&["compare"], DATA, "never read on this laptop"),
    ] {
        at(&folder, &bench, call).is_problem(code, words);
    }
    assert_eq!(json(&folder, &bench, &[]), before);
    let factory = pty::open(BenchSpec::studio_factory(3)).expect("a bench");
    for call in [
        &["adjust", "2kg", "--too-much", "4g"][..],
        &["save", "x.toml"],
        &["compare"],
    ] {
        at(&folder, &factory, call).is_problem(SCALE, "not calibrated");
    }
    at(&folder, &factory, &["roll-back"]).is_problem(SCALE, "no table before this one");
    for call in [
        &["table", "--help"][..],
        &["table", "adjust", "--help"],
        &["table", "push", "--help"],
        &["table", "compare", "--help"],
        &["table", "save", "--help"],
    ] {
        let help = run(folder.path(), call);
        assert!(help.code == 0 && help.out.contains("Example"), "{call:?}");
        assert_eq!(too_wide(&help.out), [""; 0], "{call:?}");
    }
}

#[test]
fn a_table_is_tried_watched_and_accepted_with_who_and_why() {
    let folder = Folder::new();
    let bench = pty::open(calibrated(3)).expect("a bench");
    let desk = bench.desk();
    let before = json(&folder, &bench, &[]);
    let wish = ["adjust", "2kg", "--too-much", "4g", "--try"];
    for call in ["trial", "accept", "drop"] {
        at(&folder, &bench, &[call]).is_problem(SCALE, "no table is on trial");
    }
    // At a terminal it is watched with a load on, and dropped.
    desk.place_g(2000.0);
    let watch = |typed: &'static str| {
        let call = [&["table"], &wish[..], &["--port", bench.path()]].concat();
        let (mut asked, mut seen) = (false, 0);
        at_a_terminal(folder.path(), &call, &[("NO_COLOR", "1")], |shown| {
            if shown.contains("Try it? [y/N]") && !asked {
                asked = true;
                return Some("y\n");
            }
            seen += usize::from(shown.matches("at rest").count() > 4);
            (seen == 1).then_some(typed)
        })
    };
    let (code, shown) = watch("n\n");
    assert_eq!(code, STOPPED, "{shown}");
    assert!(
        shown.contains("-4.00 g   at rest") || shown.contains("-3.99 g   at rest"),
        "{shown}"
    );
    assert!(
        shown.contains("the stored table is in force again"),
        "{shown}"
    );
    assert_eq!(too_wide(&shown), [""; 0]);
    let dropped = json(&folder, &bench, &[]);
    assert_eq!(
        (&dropped["checksum"], &dropped["on_trial"]),
        (&before["checksum"], &false.into())
    );
    assert_eq!(dropped["sequence"], before["sequence"]);

    let (code, shown) = watch("q\n");
    assert_eq!(code, 0, "{shown}");
    let tried = json(&folder, &bench, &[]);
    assert_eq!(tried["on_trial"], true);
    assert_ne!(tried["checksum"], before["checksum"]);
    let now = json(&folder, &bench, &["trial"]);
    let off_g = number(&now["shows_g"]) - number(&now["stored_would_show_g"]);
    assert!((off_g + 4.0).abs() < 0.05, "{now}");
    at(&folder, &bench, &["roll-back", "--yes"])
        .is_problem(USAGE, "to go back from it is to drop it");
    let said = well(
        &folder,
        &bench,
        &["accept", "--yes", "--who", "anna", "--why", "2 kg was high"],
    );
    assert!(said.contains("read back and compared: equal"), "{said}");
    let after = json(&folder, &bench, &[]);
    assert_eq!(
        (&after["checksum"], &after["on_trial"]),
        (&tried["checksum"], &false.into())
    );
    let last = &after["history"][0];
    assert_eq!(
        (&last["text"], &last["what"]),
        (&"anna: 2 kg was high".into(), &"table".into())
    );
    assert_eq!(
        (&last["change"], &last["checksum"]),
        (&after["sequence"], &after["checksum"])
    );
    assert!(
        last["when"]
            .as_str()
            .is_some_and(|when| when.starts_with("20"))
    );
    let shown = well(&folder, &bench, &[]);
    assert!(shown.contains("anna: 2 kg was high"), "{shown}");
    // A script: tried, then dropped.
    let push = json(
        &folder,
        &bench,
        &["adjust", "3kg", "--too-little", "2g", "--try", "--yes"],
    );
    assert_eq!(
        (&push["on_trial"], &push["written"]),
        (&true.into(), &false.into())
    );
    let dropped = json(&folder, &bench, &["drop", "--yes"]);
    assert_eq!(dropped["checksum"], after["checksum"]);
    // Restarted, it is over.
    well(
        &folder,
        &bench,
        &["adjust", "3kg", "--too-little", "2g", "--try", "--yes"],
    );
    desk.restart();
    at(&folder, &bench, &["accept", "--yes"]).is_problem(SCALE, "no table is on trial");
    assert_eq!(json(&folder, &bench, &[])["checksum"], after["checksum"]);
}
