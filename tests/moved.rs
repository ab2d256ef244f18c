//! `moved`: told without a scale, corrected on a bench that was carried to other
//! gravity, and everything that can be wrong on the way.

mod support;
#[cfg(unix)]
#[path = "support/terminal.rs"]
mod terminal;

#[cfg(unix)]
#[path = "moved/at_a_port.rs"]
mod at_a_port;
#[path = "moved/laws.rs"]
mod laws;

use scalewright::changing;
use scalewright::drive::DriveFault;
use scalewright::link::LinkFault;
use scalewright::link::client::Client;
use scalewright::quantise::spec_of;
use scalewright::record::moved::MovedVerdict;
use scalewright::record::place;
use scalewright::session::moving::correction::{Correction, CorrectionFault};
use scalewright::session::moving::told;
use scalewright::session::table::change::{ChangeAction, ChangeFault, Conversation};
use scalewright_bench::BenchSpec;
use scalewright_metrology::gravity::{Formula, MOST_RELATIVE, Moved, Place, normal_gravity_m_s2};
use scalewright_protocol::message::{Answer, Ask, Refusal, TableHeader};
use scalewright_protocol::settings::Settings;
use serde_json::Value;
use support::bench::{Near, at_a_bench, calibrated, studio_scale};
use support::{Folder, command, run, too_wide};

const USAGE: i32 = 2;
const SCALE: i32 = 3;

/// Where the scales here come from, and where they go: as text and in numbers.
const HOME: &str = "48.1,520m";
const MOUNTAIN: &str = "0.2S,2850m";

/// Gravity there over gravity at home, by another way than the command's: the
/// formula of OIML Bulletin 127 differs by 1e-6, nothing here.
fn ratio() -> f64 {
    let g = |latitude_deg, height_m| {
        let place = Place {
            latitude_deg,
            height_m,
        };
        normal_gravity_m_s2(Formula::Oiml, place).expect("a place")
    };
    g(-0.2, 2850.0) / g(48.1, 520.0)
}

fn move_of(relative: f64) -> Moved {
    Moved {
        relative,
        u_relative: 0.0,
    }
}

fn ask(client: &mut Client<Near>, ask: &Ask) -> Answer {
    client.ask(ask, &mut |_| {}).expect("an answer")
}

fn header(client: &mut Client<Near>) -> TableHeader {
    match ask(client, &Ask::Table) {
        Answer::Table(header) => header,
        other => panic!("{other:?}"),
    }
}

fn settings(client: &mut Client<Near>) -> Settings {
    match ask(client, &Ask::Settings) {
        Answer::Settings(settings) => settings,
        other => panic!("{other:?}"),
    }
}

/// Lets so much of the scale's time pass; the gross mass then, g.
fn after_s(client: &mut Client<Near>, seconds: u32, quantum_g: f64) -> f64 {
    let mut end = None;
    loop {
        let Answer::State(state) = ask(client, &Ask::Wait { up_to_ms: 500 }) else {
            panic!("a state");
        };
        let end = *end.get_or_insert(state.at_ms + seconds * 1000);
        if state.at_ms >= end {
            return f64::from(state.mass.expect("a mass")) * quantum_g;
        }
    }
}

/// Errors of indication in e, up to Max and down again, after zero-setting.
fn errors_e(spec: BenchSpec) -> Vec<(f64, f64)> {
    let (mut client, desk) = at_a_bench(spec);
    let settings = settings(&mut client);
    let quantum_g = f64::from(settings.quantum_ug) * 1e-6;
    after_s(&mut client, 6, quantum_g);
    ask(&mut client, &Ask::SetZero);
    let mut all = Vec::new();
    for load_g in [200.0, 1000.0, 2500.0, 4000.0, 6000.0, 3000.0, 1000.0] {
        desk.place_g(load_g);
        let shown_g = after_s(&mut client, 6, quantum_g);
        all.push((load_g, (shown_g - load_g) / 2.0));
    }
    all
}

/// The furthest that two series of errors lie apart, e.
fn apart_e(one: &[(f64, f64)], other: &[(f64, f64)]) -> f64 {
    let each = one.iter().zip(other).map(|(a, b)| (a.1 - b.1).abs());
    each.fold(0.0, f64::max)
}

// ---- told ------------------------------------------------------------------

/// The note in `tests/reference/gravity.csv` (COMPUTED HERE from VERIFIED
/// constants): from 52 to 40 degrees at the sea -1.0983178e-3, 5000 g by
/// -5.4916 g.
#[test]
fn a_move_is_told_as_published_without_a_scale() {
    let folder = Folder::new();
    let scale = ["--max", "5kg", "--e", "5g"];
    let call = [&["moved", "--from", "52,0m", "--to", "40,0m"], &scale[..]].concat();
    let said = run(folder.path(), &[&call[..], &["--json"]].concat());
    assert_eq!((said.code, said.err.as_str()), (1, ""), "{said:#?}");
    let found: Value = serde_json::from_str(&said.out).expect("one object");
    let number = |value: &Value| value.as_f64().expect("a number");
    assert!((number(&found["shift"]["ppm"]) - -1098.3178).abs() < 5e-5);
    let at_max = found["loads"].as_array().and_then(|all| all.last());
    let at_max = at_max.expect("Max");
    assert!((number(&at_max["shift_g"]) - -5.4916).abs() < 5e-5);
    assert_eq!(found["verdict"], "correct_or_recalibrate");
    assert_eq!(found["air"]["steel_ppm"], 0.0, "one height, one air");

    let said = run(folder.path(), &call);
    assert_eq!((said.code, said.err.as_str()), (1, ""));
    for words in ["0.110 % too small", "-5.49", "Correct it, or recalibrate."] {
        assert!(said.out.contains(words), "no \"{words}\" in {}", said.out);
    }
    assert!(!said.out.contains('\u{1b}'), "colour into a pipe");
    assert_eq!(too_wide(&said.out), [""; 0]);
    let ascii = command(folder.path(), &call).env("LC_ALL", "C").output();
    assert!(ascii.expect("it runs").stdout.is_ascii());
}

#[test]
fn each_verdict_has_its_words_and_its_code() {
    let folder = Folder::new();
    for (from, to, e, code, words) in [
        ("48.1,520m", "48.2,500m", "2g", 0, "Nothing to do."),
        (
            "48.1,520m",
            "53.6,10m",
            "2g",
            1,
            "Correct it, or recalibrate.",
        ),
        (
            "48.1,520m",
            "48.2N",
            "2g",
            1,
            "can't be told: weigh a known weight",
        ),
        (
            "48.1,520m",
            "53.6,10m",
            "0.5g",
            1,
            "Recalibrate with weights.",
        ),
        ("9.80943 m/s2", "9.80944 m/s2", "0.5g", 0, "Nothing to do."),
    ] {
        let call = [
            "moved", "--from", from, "--to", to, "--max", "6kg", "--e", e,
        ];
        let class = if e == "0.5g" { "II" } else { "III" };
        let said = run(folder.path(), &[&call[..], &["--class", class]].concat());
        assert_eq!(
            (said.code, said.err.as_str()),
            (code, ""),
            "{to}: {said:#?}"
        );
        assert!(said.out.contains(words), "{to}: {}", said.out);
        assert_eq!(said.out.contains("--correct"), words.starts_with("Correct"));
        assert_eq!(too_wide(&said.out), [""; 0], "{to}");
    }
}

#[test]
fn what_is_wrong_is_named_with_what_to_do() {
    let folder = Folder::new();
    let call = |extra: &[&str]| {
        let plain = ["moved", "--max", "6kg", "--e", "2g"];
        run(folder.path(), &[&plain[..], extra].concat())
    };
    for (from, cause) in [
        ("48,1", "--from: \"1\" after the comma has no unit"),
        ("Munich", "is neither a latitude"),
        ("91,0m", "not between -90 and 90 degrees"),
        ("48.1,9km,2", "3 parts"),
        ("9.8", "may be a latitude or a gravity"),
        ("", "no place is given"),
        ("9.70000", "no two places on the ground do"),
    ] {
        call(&["--from", from, "--to", "9.89999"]).is_problem(USAGE, cause);
    }
    let here = ["--from", "48.1,0", "--to", "-33.9,0m"];
    assert_eq!(call(&here).code, 1, "a southern latitude is no option");
    call(&[&here[..], &["--density", "1"]].concat()).is_problem(USAGE, "--density");
    call(&[&here[..], &["--class", "V"]].concat()).is_problem(USAGE, "no accuracy class V");
    let few = ["moved", "--max", "6kg", "--e", "1kg"];
    run(folder.path(), &[&few[..], &here].concat()).is_problem(USAGE, "100 to 100 000");
    let asked = ["moved", "--correct", "--json"];
    run(folder.path(), &[&asked[..], &here].concat()).is_problem(USAGE, "nothing is asked");
    for extra in [
        &["--correct"][..],
        &["--yes"],
        &["--table", "12"],
        &["--port", "/dev/x"],
    ] {
        let said = call(&[&here[..], extra].concat());
        assert_eq!(said.code, USAGE, "{extra:?} without a scale: {said:#?}");
    }
    let port = ["moved", "--port", "/dev/no-such-port"];
    run(folder.path(), &[&port[..], &here].concat()).is_problem(SCALE, "no-such-port");
    let help = run(folder.path(), &["moved", "--help"]);
    assert!(help.code == 0 && help.out.contains("Examples:"));
    assert_eq!(too_wide(&help.out), [""; 0]);
}

// ---- corrected, in this process --------------------------------------------

/// Drives a correction to where it decides.
fn proposed(client: &mut Client<Near>, relative: f64) -> Correction {
    let mut correction = Correction::new(move_of(relative), None);
    let first = correction.start().expect("a possible move");
    let action = changing::run(&mut correction, client, first);
    assert_eq!(action, Ok(ChangeAction::Decide));
    correction
}

fn fault(fault: ChangeFault) -> DriveFault<CorrectionFault> {
    DriveFault::Session(fault.into())
}

/// A table or settings that changed while somebody thought.
#[test]
fn a_table_changed_meanwhile_is_left_alone() {
    let (mut client, _) = at_a_bench(calibrated(3));
    let mut correction = proposed(&mut client, 1e-3);
    let mut other = settings(&mut client);
    other.smoothing += 1;
    ask(&mut client, &Ask::SetSettings(other));
    let held = header(&mut client);
    let action = correction.accept().expect("there is a proposal");
    let ended = changing::run(&mut correction, &mut client, action);
    assert_eq!(ended, Err(fault(ChangeFault::ChangedMeanwhile)));
    assert_eq!(header(&mut client), held);
    // The same settings once more: only the number of changes tells.
    let mut correction = proposed(&mut client, 1e-3);
    ask(&mut client, &Ask::SetSettings(other));
    let action = correction.accept().expect("there is a proposal");
    let ended = changing::run(&mut correction, &mut client, action);
    assert_eq!(ended, Err(fault(ChangeFault::ChangedMeanwhile)));
}

/// Whatever answer goes wrong, the table in force is the old one, whole, or the
/// new one, whole, and nobody is told it was written.
#[test]
fn an_answer_gone_wrong_ends_it_with_a_whole_table() {
    let wrong = [
        Err(Refusal::Storage),
        Ok(Answer::Done),
        Ok(Answer::Stored { sequence: 9 }),
    ];
    for wrong in wrong {
        for broken in 0.. {
            let (mut client, _) = at_a_bench(calibrated(3));
            let before = header(&mut client);
            let mut correction = Correction::new(move_of(1e-3), None);
            let mut action = correction.start().expect("a possible move");
            let mut asked = 0;
            let mut answers_as_due = false;
            let ended = loop {
                action = match action {
                    ChangeAction::Finished => break Ok(()),
                    ChangeAction::Decide => correction.accept().expect("a proposal"),
                    ChangeAction::Ask(due) => {
                        let right = match client.ask(&due, &mut |_| {}) {
                            Err(LinkFault::Refused(refusal)) => Err(refusal),
                            other => Ok(other.expect("an answer")),
                        };
                        let answer = match asked == broken {
                            true => wrong.clone(),
                            false => right.clone(),
                        };
                        let same_kind = match (&answer, &right) {
                            (Ok(told), Ok(right)) => {
                                std::mem::discriminant(told) == std::mem::discriminant(right)
                            }
                            _ => false,
                        };
                        answers_as_due |= asked == broken && same_kind;
                        asked += 1;
                        match correction.answered(answer) {
                            Ok(action) => action,
                            Err(fault) => break Err(fault),
                        }
                    }
                };
            };
            if broken >= asked {
                assert_eq!(ended, Ok(()), "nothing was wrong");
                assert!(broken > 8, "{broken} answers");
                break;
            }
            let after = header(&mut client);
            if answers_as_due {
                continue;
            }
            assert!(ended.is_err(), "answer {broken}, {wrong:?}");
            assert!(correction.line(&[]).is_none_or(|line| !line.written));
            let whole = [before.checksum, corrected_checksum(&correction)];
            assert!(whole.contains(&after.checksum), "answer {broken}");
        }
    }
}

fn corrected_checksum(correction: &Correction) -> u32 {
    correction.line(&[]).map_or(0, |line| {
        u32::from_str_radix(&line.checksum_after, 16).expect("a checksum")
    })
}

#[test]
fn a_table_read_back_wrong_is_never_called_written() {
    let (mut client, _) = at_a_bench(calibrated(3));
    let mut correction = proposed(&mut client, 1e-3);
    let mut action = correction.accept().expect("a proposal");
    let ended = loop {
        let ChangeAction::Ask(due) = &action else {
            panic!("called written");
        };
        let mut answer = ask(&mut client, due);
        if let Answer::Knots { knots, .. } = &mut answer
            && let Some(last) = knots.last_mut()
        {
            last.mass += 1;
        }
        match correction.answered(Ok(answer)) {
            Ok(next) => action = next,
            Err(fault) => break fault,
        }
    };
    assert_eq!(ended, ChangeFault::ReadBack.into());
}

#[test]
fn what_cannot_be_corrected_is_refused() {
    let (mut client, _) = at_a_bench(BenchSpec::studio_factory(1));
    let mut correction = Correction::new(move_of(1e-3), None);
    let first = correction.start().expect("a possible move");
    let ended = changing::run(&mut correction, &mut client, first);
    assert_eq!(ended, Err(fault(ChangeFault::NotCalibrated)));
    assert!(correction.accept().is_err(), "nothing to accept");
    for far in [1.1 * MOST_RELATIVE, -1.1 * MOST_RELATIVE, f64::NAN] {
        let mut correction = Correction::new(move_of(far), None);
        assert!(matches!(
            correction.start(),
            Err(CorrectionFault::TooFar(_))
        ));
    }
}

/// Foretold is what happens: the same integers in the scale.
#[test]
fn settings_counts_and_zero_stay_and_masses_shrink_where_loads_pull_harder() {
    let (mut client, _) = at_a_bench(calibrated(3));
    let (kept, before) = (settings(&mut client), header(&mut client));
    let mut correction = proposed(&mut client, 1e-3);
    let line = correction
        .line(&[1000.0, 6000.0, 60_000.0])
        .expect("a proposal");
    assert!((line.factor - 1.0 / 1.001).abs() < 1e-15);
    assert!(line.rounding_g <= 0.001 + 1e-12, "half a quantum: {line:?}");
    assert_eq!(line.foretold.len(), 2, "60 kg is off the table");
    for row in &line.foretold {
        assert!((row.now_g - row.load_g * 1.001).abs() < 0.004, "{row:?}");
        assert!((row.corrected_g - row.load_g).abs() < 0.004, "{row:?}");
    }
    let action = correction.accept().expect("a proposal");
    let ended = changing::run(&mut correction, &mut client, action);
    assert_eq!(ended, Ok(ChangeAction::Finished));
    let after = header(&mut client);
    assert_eq!(
        (after.knots, after.zero_counts),
        (before.knots, before.zero_counts)
    );
    assert_eq!(after.sequence, before.sequence + 1);
    assert_eq!(after.checksum, corrected_checksum(&correction));
    assert_eq!(
        settings(&mut client),
        kept,
        "the hysteresis gain stays as well"
    );
    assert!(kept.loop_gain > 0);
}

/// The words hold for the studio's scale as the library tells it.
#[test]
fn the_studio_scale_by_the_library() {
    let spot = |text| place::parse(text).expect("a place");
    let record = told(&spot(HOME), &spot(MOUNTAIN), &studio_scale(), 1000.0).expect("a move");
    assert_eq!(record.verdict, MovedVerdict::CorrectOrRecalibrate);
    assert!((record.shift.relative - (ratio() - 1.0)).abs() < 2e-6);
    let air = record.air.expect("two heights");
    assert!(air.load_ppm > 150.0 && air.steel_ppm > 20.0, "{air:?}");
    let (mut client, _) = at_a_bench(calibrated(3));
    assert_eq!(spec_of(&settings(&mut client)).max_g, 6000.0);
}
