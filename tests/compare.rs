//! Two scales on the same loads: ours on the bench, the other made here. What
//! is planted (a factor, a weight that is wrong) must be found.

mod support;

use std::fs;

use proptest::prelude::*;
use scalewright::drive::Heading;
use scalewright::proving::{self, ProofWatcher};
use scalewright::record::comparison::ComparisonRecord;
use scalewright::record::journal::Journal;
use scalewright::record::proof::Verdict;
use scalewright::record::readings::parse;
use scalewright::report;
use scalewright::session::comparing::gathered::Gathered;
use scalewright::session::comparing::heard::{Heard, Hearing};
use scalewright::session::comparing::typed::{Typed, TypedNews};
use scalewright::session::comparing::{Choices, compared, pattern};
use scalewright::session::plan::Load;
use scalewright::session::proof::Test;
use scalewright::session::proof::entry::ProofEntry;
use scalewright::session::proof::plan::ProofPlan;
use scalewright::session::proof::prover::{ProofEvent, Prover};
use scalewright_bench::{Desk, LoadOrder, Pan};
use support::bench::{at_a_bench, calibrated, plan, studio_scale};
use support::{Folder, run, session_text, too_wide};

/// The other scale: what it shows of a true load, g.
type Other = fn(f64) -> f64;

/// Right but for a little bend; d = 0.5 g.
fn fine(true_g: f64) -> f64 {
    let x = true_g / 6000.0;
    ((true_g + 0.8 * x * (1.0 - x)) / 0.5).round() * 0.5
}

/// Two grams in a kilogram too much.
fn steep(true_g: f64) -> f64 {
    (true_g * 1.002 / 0.5).round() * 0.5
}

/// Somebody who puts each load on our scale, then on the other.
struct Person {
    desk: Desk,
    other: Other,
    /// Loads with what the other showed, g.
    seen: Vec<(Load, f64)>,
    /// The other scale as it would be typed, and as it would be heard.
    typed: (Typed, Gathered),
    heard: (Heard, Gathered),
}

impl Person {
    fn at(desk: Desk, other: Other) -> Self {
        Self {
            desk,
            other,
            seen: Vec::new(),
            typed: Default::default(),
            heard: (
                Heard::new(pattern::USUAL.parse().expect("a pattern")),
                Gathered::default(),
            ),
        }
    }

    fn weigh(&mut self, load: &Load) {
        let ids = &load.weights;
        let true_g = self.desk.weights().into_iter();
        let true_g: f64 = true_g
            .filter(|one| ids.contains(&one.id))
            .map(|one| one.true_g)
            .sum();
        let reading_g = (self.other)(true_g);
        self.seen.push((load.clone(), reading_g));
        let (typed, gathered) = &mut self.typed;
        typed.expect(load.mass_g, 2.0);
        let news = typed.feed(format!("{reading_g:.1}\n").as_bytes());
        let [TypedNews::Readings(shown)] = &news[..] else {
            panic!("{news:?}");
        };
        gathered.take(load, shown);
        let (heard, gathered) = &mut self.heard;
        heard.expect(load.mass_g, 2.0);
        heard.feed(b"N  0.0 g\r\n");
        heard.feed(format!("N {reading_g:.1} g\r\n").repeat(5).as_bytes());
        let Hearing::Steady(shown) = heard.hearing() else {
            panic!("{:?}", heard.hearing());
        };
        gathered.take(load, &[shown]);
    }
}

impl ProofWatcher for Person {
    fn event(&mut self, event: &ProofEvent) {
        match event {
            ProofEvent::Do { step, .. } => {
                self.desk
                    .ask(LoadOrder::of(step.load.weights.iter().cloned()));
            }
            ProofEvent::Captured { capture, .. }
                if capture.test == Test::Errors && !capture.load.weights.is_empty() =>
            {
                self.weigh(&capture.load);
            }
            ProofEvent::Wrong { .. } => self.desk.correct(),
            _ => {}
        }
    }
}

/// The weights beside the bench, one of them this far off, g. A right table is
/// put into the scale first, as it would be after a calibration with good
/// weights.
fn both(
    other: Other,
    wrong: Option<(usize, f64)>,
    file: Option<&mut Journal>,
) -> (Vec<ProofEntry>, Person) {
    let mut spec = calibrated(3);
    if let Some((at, off_g)) = wrong {
        spec.weights[at].true_g += off_g;
    }
    let (mut client, desk) = at_a_bench(spec);
    let mut scale = studio_scale();
    scale.d_g = scale.e_g;
    let tests = [Test::Errors, Test::Repeatability];
    let scheme = "R76 III initial".to_owned();
    let planned = ProofPlan::new(scale, plan(&desk).weights, &tests, true, scheme, false);
    let mut prover = Prover::new(planned.expect("a plan"));
    prover.set_patience_s(600);
    let mut person = Person::at(desk, other);
    let heading = Heading {
        date: "2026-11-26T08:00:00Z".into(),
        seed: Some(3),
        ..Heading::default()
    };
    let kept = proving::run(
        &mut prover,
        &mut client,
        file,
        &heading,
        Vec::new(),
        &mut person,
    );
    (kept.expect("it comes to its end"), person)
}

fn choices() -> Choices {
    Choices {
        their_name: "Scale \"kitchen\"".into(),
        their_d_g: Some(0.5),
        ..Choices::default()
    }
}

fn compare(entries: &[ProofEntry], gathered: &Gathered) -> ComparisonRecord {
    compared(entries, &gathered.readings(), &choices()).expect("a comparison")
}

/// Both good: no one is off, nothing matters, no weight is accused.
#[test]
fn two_good_scales_agree() {
    let (entries, person) = both(fine, None, None);
    let found = compare(&entries, &person.typed.1);
    assert_eq!(
        (found.ours.verdict, found.theirs.verdict),
        (Verdict::Passes, Verdict::Passes)
    );
    assert!(found.rows.len() >= 8, "{}", found.rows.len());
    assert!(
        found.rows.iter().all(|row| row.e_n.abs() <= 1.0),
        "{:#?}",
        found.rows
    );
    assert_eq!(found.weight, None);
    assert!(found.blame.starts_with("Neither"), "{}", found.blame);
    // At 500 g half a gram of d reaches for the limit of one gram.
    assert!(
        !found.importance.starts_with("The difference matters"),
        "{}",
        found.importance
    );
    // Typed, heard and read from the file that keeps them: the same.
    let heard = compare(&entries, &person.heard.1);
    assert_eq!(heard, found);
    let read = parse(&person.typed.1.csv()).expect("readings");
    let again = compared(&entries, &read, &choices()).expect("a comparison");
    assert_eq!(again.rows.len(), found.rows.len());
    for (one, other) in again.rows.iter().zip(&found.rows) {
        assert_eq!(
            (one.theirs, one.difference_g),
            (other.theirs, other.difference_g)
        );
    }
}

#[test]
fn a_factor_is_found_and_who_has_it() {
    let (entries, person) = both(steep, None, None);
    let found = compare(&entries, &person.typed.1);
    assert_eq!(
        (found.ours.verdict, found.theirs.verdict),
        (Verdict::Passes, Verdict::Fails)
    );
    assert!(
        found.blame.starts_with("Scale \"kitchen\" is off"),
        "{}",
        found.blame
    );
    assert!(
        found.pattern.contains("g per kg below"),
        "{}",
        found.pattern
    );
    assert!(found.importance.contains("matters"), "{}", found.importance);
    assert_eq!(found.weight, None);
    // Ours less theirs, 2 g in a kilogram, to the bench's own errors.
    let top = found.rows.last().expect("rows");
    let slope = top.difference_g / top.load_g;
    assert!((slope + 0.002).abs() < 5e-4, "{slope}");
}

/// The weights 0 to 2 are the 2, 2 and 1 kg ones.
#[test]
fn a_wrong_weight_is_told_from_wrong_scales() {
    for (at, off_g) in [(0, 5.6), (2, -5.0)] {
        let (entries, person) = both(fine, Some((at, off_g)), None);
        let id = person.desk.weights()[at].id.clone();
        let found = compare(&entries, &person.typed.1);
        let weight = found
            .weight
            .unwrap_or_else(|| panic!("{id}: {:#?}", found.rows));
        assert_eq!(weight.names, [id]);
        // U covers what both scales add; class M1 is worth a tenth of a gram.
        let away = (weight.off_g - off_g).abs();
        assert!(away < weight.expanded_u_g + 0.1, "{weight:?}");
        assert!(found.rows.iter().any(|row| row.holds_wrong_weight));
        assert_eq!(found.ours.verdict_without, Some(Verdict::Passes));
    }
}

/// The files of a session, as the command gets them.
fn files(folder: &Folder, other: Other, wrong: Option<(usize, f64)>) -> (String, String, Person) {
    let path = folder.file("verification.session.jsonl");
    let mut journal = Journal::create(&path).expect("a journal");
    let (_, person) = both(other, wrong, Some(&mut journal));
    let mut text = String::from("load (g);kitchen scale reading (g)\n");
    for (load, reading_g) in &person.seen {
        text += &format!("{:.1};{reading_g:.1}\n", load.mass_g).replace('.', ",");
    }
    let theirs = folder.with("kitchen.csv", text);
    (path.display().to_string(), theirs, person)
}

#[test]
fn the_command_says_who_is_off() {
    let folder = Folder::new();
    let (ours, theirs, _) = files(&folder, fine, None);
    let good = run(folder.path(), &["compare", &ours, &theirs]);
    assert_eq!((good.code, good.err.as_str()), (0, ""), "{}", good.out);
    assert_eq!(too_wide(&good.out), [""; 0], "{}", good.out);
    assert!(
        good.out.contains("Both keep the tolerance."),
        "{}",
        good.out
    );
    let page = fs::read_to_string(folder.file("comparison.html")).expect("a page");
    let page = page.trim_start_matches("<!DOCTYPE html>\n");
    roxmltree::Document::parse(page).expect("well formed");
    assert!(!page.contains("NaN") && !page.contains("http://") || page.contains("w3.org"));

    let (ours, theirs, _) = files(&folder, steep, None);
    let bad = run(folder.path(), &["compare", &ours, &theirs, "--json"]);
    assert_eq!((bad.code, bad.err.as_str()), (1, ""));
    let found: ComparisonRecord = serde_json::from_str(&bad.out).expect("one object");
    assert_eq!(found.theirs.verdict, Verdict::Fails);
    assert_eq!(found.theirs.d_g, 0.5, "the digits show half grams");
    let wide = [
        "compare",
        &ours,
        &theirs,
        "--judge",
        "5 % of load",
        "--their-d",
        "1g",
    ];
    let kept = run(folder.path(), &wide);
    assert_eq!(kept.code, 0, "{}", kept.out);
    assert!(kept.out.contains("5 % of the load"), "{}", kept.out);
    let table =
        "name = \"wide\"\nsource = \"a rule\"\n[[step]]\nup_to = \"6 kg\"\npermitted = \"90 g\"\n";
    let own = folder.with("own.toml", table);
    let kept = run(
        folder.path(),
        &["compare", &ours, &theirs, "--judge", &own, "--json"],
    );
    assert_eq!(kept.code, 0, "{kept:?}");
    let found: ComparisonRecord = serde_json::from_str(&kept.out).expect("one object");
    assert_eq!(found.scheme, "the user's own table \"wide\"");
    assert!(found.scheme_source.starts_with("a rule (set by the user)"));
    assert!(found.rows.iter().all(|row| row.permitted_g == 90.0));
    let own = folder.with("own.toml", table.replace("6 kg", "500 g"));
    let short = run(folder.path(), &["compare", &ours, &theirs, "--judge", &own]);
    short.is_problem(4, "line 4: up_to of the last step: the table ends at 500 g");
    // An e of its own: 0.5 e to 500 e, 1 e to 2000 e, then 1.5 e (OIML R 76-1:2006,
    // table 6), counted by each scale's own.
    let own_e = [
        "compare",
        &ours,
        &theirs,
        "--their-e",
        "5g",
        "--their-d",
        "1g",
    ];
    let told = run(folder.path(), &own_e);
    assert!(told.out.contains(" / "), "{}", told.out);
    assert_eq!(too_wide(&told.out), [""; 0], "{}", told.out);
    let page = fs::read_to_string(folder.file("comparison.html")).expect("a page");
    assert!(page.contains("permitted, the other") && page.contains("5\u{a0}g for Scale"));
    let told = run(folder.path(), &[&own_e[..], &["--json"]].concat());
    let told: ComparisonRecord = serde_json::from_str(&told.out).expect("one object");
    assert_eq!(told.their_e_g, Some(5.0));
    for row in &told.rows {
        let class_iii = |e_g: f64| match row.load_g / e_g {
            ..=500.0 => 0.5 * e_g,
            ..=2000.0 => e_g,
            _ => 1.5 * e_g,
        };
        assert_eq!(row.ours.permitted_g, class_iii(2.0), "{row:?}");
        assert_eq!(row.theirs.permitted_g, class_iii(5.0), "{row:?}");
    }
    let fine = [
        "compare",
        &ours,
        &theirs,
        "--their-e",
        "0.5g",
        "--their-d",
        "1g",
    ];
    run(folder.path(), &fine).is_problem(4, "d = 1 g is above e = 0.5 g");
    let unsure = ["compare", &ours, &theirs, "--their-u", "40g", "--json"];
    let unsure: ComparisonRecord =
        serde_json::from_str(&run(folder.path(), &unsure).out).expect("one object");
    assert!(unsure.rows.iter().all(|row| row.e_n.abs() < 1.0));
}

#[test]
fn the_command_names_the_wrong_weight() {
    let folder = Folder::new();
    let (ours, theirs, person) = files(&folder, fine, Some((0, 5.6)));
    let told = run(folder.path(), &["compare", &ours, &theirs]);
    let id = &person.desk.weights()[0].id;
    let wanted = format!("A weight rather than either scale: {id} is");
    assert!(told.out.contains(&wanted), "{}", told.out);
    assert_eq!(too_wide(&told.out), [""; 0], "{}", told.out);
    let page = fs::read_to_string(folder.file("comparison.html")).expect("a page");
    assert!(page.contains("A weight rather than either scale"));
}

/// Names its line and what to do, whatever is in the other scale's file.
#[test]
fn a_hostile_file_is_refused_with_its_line() {
    let folder = Folder::new();
    let (ours, _, _) = files(&folder, fine, None);
    for (name, text, what) in [
        ("empty.csv", &b""[..], "nothing in it"),
        (
            "signs.csv",
            b"load (g);reading (g)\n500;500,5\n1000;1000.5\n",
            "line 3",
        ),
        (
            "commas.csv",
            b"load,reading (g)\n500,5,500,6\n",
            "line 2: 4 cells",
        ),
        (
            "units.csv",
            b"load (g);reading (g)\n1000;1.0004\n",
            "line 2: the reading is 1.0004 g",
        ),
        ("none.csv", b"load;reading\n1000;1000.4\n", "has no unit"),
        (
            "twice.csv",
            b"load (g);reading (g)\n1.500;1.502\n",
            "in two ways",
        ),
        (
            "bytes.csv",
            b"load (g);reading (g)\n1\xff00;1\n",
            "no UTF-8",
        ),
        (
            "other.csv",
            b"load (g);reading (g)\n1;1.1\n3;3.1\n",
            "no load of the other scale is one of ours",
        ),
        (
            "words.csv",
            b"load (g);reading (g)\nmuch;more\n",
            "no line has both",
        ),
    ] {
        let file = folder.with(name, text);
        let told = run(folder.path(), &["compare", &ours, &file]);
        told.is_problem(4, what);
    }
    run(folder.path(), &["compare", &ours, "missing.csv"]).is_problem(4, "can't be read");
}

#[test]
fn doubtful_lines_are_told_and_the_rest_is_compared() {
    let folder = Folder::new();
    let (ours, theirs, _) = files(&folder, fine, None);
    let text = fs::read_to_string(&theirs).expect("the file");
    let second = text.lines().nth(1).expect("a line").to_owned();
    // A line pasted twice, one without reading, one of a load we never had.
    let text = format!("{text}{second}\n700,0;\n77,0;77,5\n");
    let lines = text.lines().count();
    let theirs = folder.with("doubtful.csv", text);
    let told = run(folder.path(), &["compare", &ours, &theirs, "--json"]);
    let found: ComparisonRecord = serde_json::from_str(&told.out).expect("one object");
    let remarks = found.remarks.join("\n");
    assert!(
        remarks.contains(&format!(
            "line {} (left out): it is line 2 once more",
            lines - 2
        )),
        "{remarks}"
    );
    assert!(
        remarks.contains(&format!(
            "line {} (left out): there is no reading",
            lines - 1
        )),
        "{remarks}"
    );
    let strange: Vec<_> = found.unpaired.iter().filter(|one| !one.ours).collect();
    assert_eq!(strange.len(), 1);
    assert_eq!(
        (strange[0].what.as_str(), strange[0].line),
        ("77 g", Some(lines))
    );
}

#[test]
fn our_side_must_be_a_verification() {
    let folder = Folder::new();
    let calibration = folder.with("calibration.session.jsonl", session_text());
    let theirs = folder.with("other.csv", "load (g);reading (g)\n1000;1000.4\n");
    let told = run(folder.path(), &["compare", &calibration, &theirs]);
    assert_eq!(told.code, 4, "{told:?}");
    for arguments in [
        &["compare"][..],
        &["compare", "a.jsonl"],
        &["compare", "a.jsonl", "b.csv", "--listen", "/dev/x"],
        &["compare", &calibration, &theirs, "--their-d", "much"],
        &["compare", &calibration, &theirs, "--judge", "kindly"],
        &[
            "compare",
            "--weights",
            "1kg,2kg",
            "--listen",
            "x",
            "--line",
            "net @",
        ],
    ] {
        let told = run(folder.path(), arguments);
        assert_eq!(told.code, 2, "{arguments:?} {told:?}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    /// Whatever the other scale showed, there is an answer or a reason, and both
    /// reports are whole.
    #[test]
    fn any_readings_give_an_answer_or_a_reason(
        cells in prop::collection::vec((0usize..12, prop_oneof![
            (-1e4f64..1e4).prop_map(|off| off.to_string()), "[0-9.,a-z+-]{0,8}"]), 0..20),
        their_u in prop::option::of(any::<f64>()),
        name in ".{0,20}",
    ) {
        static ENTRIES: std::sync::OnceLock<Vec<ProofEntry>> = std::sync::OnceLock::new();
        let entries = ENTRIES.get_or_init(|| both(fine, None, None).0);
        let ProofEntry::ProofBegan { plan, .. } = &entries[0] else { panic!("it begins") };
        let loads: Vec<f64> = plan.tests[0].steps.iter().map(|step| step.load.mass_g).collect();
        let mut text = String::from("load (g);reading (g)\n");
        for (at, cell) in &cells {
            text += &format!("{};{cell}\n", loads[at % loads.len()]);
        }
        if let Ok(read) = parse(&text) {
            let choices = Choices { their_expanded_g: their_u, their_name: name, ..Choices::default() };
            if let Ok(found) = compared(entries, &read, &choices) {
                let text = report::comparison::table(&found, report::Style::PLAIN);
                prop_assert_eq!(too_wide(&text), [""; 0]);
                let page = report::comparison::page(&found);
                let page = page.trim_start_matches("<!DOCTYPE html>\n");
                prop_assert!(roxmltree::Document::parse(page).is_ok());
                prop_assert!(!page.contains("NaN") && !page.contains(">inf"));
            }
        }
    }
}

#[cfg(unix)]
mod at_ports {
    use std::sync::{Arc, Mutex};

    use scalewright_bench::pty;

    use super::*;
    use support::hands::{weights_file, with_hands};
    use support::port::Stranger;

    /// Both at ports: ours is asked, the other is heard.
    #[test]
    fn the_other_scale_is_heard_on_its_port() {
        let bench = pty::open(calibrated(3)).expect("a bench");
        let desk = bench.desk();
        let weights = desk.weights();
        let folder = Folder::new();
        let file = folder.with("weights.toml", weights_file(&weights));
        // What lies on our pan stands for what is carried over.
        let on_it = Arc::new(Mutex::new(0.0f64));
        let carried = Arc::clone(&on_it);
        let stranger = Stranger::new(move |_| {
            std::thread::sleep(std::time::Duration::from_millis(4));
            let true_g = *carried.lock().expect("not poisoned");
            Some(format!("net {:9.4} kg\r\n", fine(true_g) / 1000.0).into_bytes())
        });
        let (code, out, err) = with_hands(
            &folder,
            &weights,
            &mut |ids| {
                let true_g = weights.iter().filter(|one| ids.contains(&one.id));
                *on_it.lock().expect("not poisoned") = true_g.map(|one| one.true_g).sum();
                desk.ask(LoadOrder::of(ids));
            },
            &[
                "compare",
                "--weights",
                &file,
                "--port",
                bench.path(),
                "--listen",
                stranger.path(),
                "--line",
                "net # @",
            ],
        );
        assert_eq!((code, err.as_str()), (0, ""), "{out}");
        // The head of a test is the verification's screen, not this command's.
        let shown = out.replace(bench.path(), "PORT");
        let shown: Vec<&str> = shown
            .lines()
            .filter(|line| !line.starts_with("Errors of indication, up"))
            .collect();
        let shown = shown.join("\n");
        assert_eq!(too_wide(&shown), [""; 0], "{out}");
        assert!(out.contains("Both keep the tolerance."), "{out}");
        // Both files together give it again.
        let session = folder
            .file("comparison.session.jsonl")
            .display()
            .to_string();
        let theirs = folder.file("comparison.theirs.csv").display().to_string();
        let again = run(folder.path(), &["compare", &session, &theirs]);
        assert_eq!(again.code, 0, "{again:?}");
    }

    #[test]
    fn nobody_at_the_keyboard_and_no_line_is_told() {
        let bench = pty::open(calibrated(3)).expect("a bench");
        let desk = bench.desk();
        let weights = desk.weights();
        let folder = Folder::new();
        let file = folder.with("weights.toml", weights_file(&weights));
        let (code, _, err) = with_hands(
            &folder,
            &weights,
            &mut |ids| desk.ask(LoadOrder::of(ids)),
            &["compare", "--weights", &file, "--port", bench.path()],
        );
        assert_eq!(code, 4, "{err}");
        assert!(err.contains("nothing was read on the other scale"), "{err}");
    }
}
