//! Hysteresis through a whole session: seen in the fit, taken off in the scale,
//! kept or left off by what the proof says of it.

mod support;

use scalewright::link::client::Client;
use scalewright::quantise::loop_width_g;
use scalewright::session::event::{Capture, Event, Part};
use scalewright::session::plan::{Load, Plan, PlannedWeight, ScaleSpec};
use scalewright::session::procedure::{Action, Command, Procedure};
use scalewright_bench::{BenchSpec, LoadOrder, Pan};
use scalewright_protocol::message::{Answer, Ask};
use scalewright_protocol::settings::Settings;
use support::bench::{Near, at_a_bench, plan, session, whole};

fn settings_of(client: &mut Client<Near>) -> Settings {
    match client.ask(&Ask::Settings, &mut |_| {}) {
        Ok(Answer::Settings(settings)) => settings,
        other => panic!("{other:?}"),
    }
}

/// Root mean square error of the proof as reported, in e.
fn rms_e(outcome: &scalewright::record::outcome::Outcome) -> f64 {
    let rows = &outcome.after.rows;
    let squares: f64 = rows.iter().map(|row| row.error_e.powi(2)).sum();
    (squares / rows.len() as f64).sqrt()
}

#[test]
fn what_helps_is_kept_and_the_scale_goes_on_with_it() {
    for seed in [1, 2, 3] {
        let (outcome, mut session) = whole(BenchSpec::studio(seed));
        let tried = outcome.correction.expect("the studio's cell has a loop");
        let said = outcome.together.as_ref().and_then(|one| one.loop_width_g);
        let width_g = said.expect("it was seen").value;
        assert!(tried.kept, "{tried:?}");
        assert!(
            tried.error_with_e < 0.6 * tried.error_without_e,
            "{tried:?}"
        );
        assert!((tried.error_with_e - rms_e(&outcome)).abs() < 1e-9);
        let settings = settings_of(&mut session.client);
        let taken_off_g = loop_width_g(&settings).expect("taken off");
        assert!(
            (taken_off_g - width_g).abs() < 0.01,
            "{taken_off_g}, {width_g} g"
        );
        let above = outcome
            .after
            .rows
            .iter()
            .filter(|row| row.from_above)
            .count();
        assert!(above >= 3, "{above} loads from above");
    }
}

#[test]
fn who_does_not_want_it_has_the_table_alone() {
    let mut session = session(BenchSpec::studio(1), None, None, |mut plan| {
        plan.correct_hysteresis = false;
        Procedure::new(plan)
    });
    assert_eq!(session.ended, Ok(()));
    assert_eq!(session.outcome.expect("an outcome").correction, None);
    assert_eq!(settings_of(&mut session.client).loop_gain, 0);
}

/// A scale that corrects the wrong way round, as a wrong picture of its cell
/// would: every State says so.
#[test]
fn what_does_not_help_is_left_off() {
    let (mut client, desk) = at_a_bench(BenchSpec::studio(1));
    let mut procedure = Procedure::new(plan(&desk));
    let mut tried = None;
    let mut action = procedure.start();
    while action != Action::Finished {
        for event in procedure.take_events() {
            match event {
                Event::PutOn { load, .. } => desk.ask(LoadOrder::of(load.weights)),
                Event::CorrectionTried(said) => tried = Some(said),
                _ => {}
            }
        }
        action = match action {
            Action::Decide(_) => procedure
                .command(Command::Accept)
                .expect("a table")
                .expect("to be stored"),
            Action::Ask(ask) => {
                let mut answer = client
                    .ask(&ask, &mut |sample| procedure.sample(sample))
                    .expect("an answer");
                if let Answer::State(state) = &mut answer {
                    let uncorrected = state.mass.map(|mass| mass + state.correction);
                    state.correction = -state.correction;
                    state.mass = uncorrected.map(|mass| mass - state.correction);
                }
                procedure.answered(Ok(answer)).expect("the session goes on")
            }
            Action::Finished => Action::Finished,
        };
    }
    for event in procedure.take_events() {
        if let Event::CorrectionTried(said) = event {
            tried = Some(said);
        }
    }
    let tried = tried.expect("it is said");
    assert!(
        !tried.kept && tried.error_with_e > tried.error_without_e,
        "{tried:?}"
    );
    let outcome = procedure.outcome().expect("an outcome");
    assert_eq!(outcome.correction, Some(tried));
    assert!((rms_e(&outcome) - tried.error_without_e).abs() < 1e-9);
    assert_eq!(
        settings_of(&mut client).loop_gain,
        0,
        "left off in the scale"
    );
    match client.ask(&Ask::Table, &mut |_| {}) {
        Ok(Answer::Table(header)) => {
            assert_eq!(usize::from(header.knots), outcome.table.points.len());
            assert_eq!(header.sequence, outcome.table.sequence);
        }
        other => panic!("{other:?}"),
    }
}

/// What the proof takes for loads from above are such: what the next one keeps
/// of the one before never left the pan.
#[test]
fn the_proof_comes_down_without_going_up() {
    let (outcome, _) = whole(BenchSpec::studio(4));
    let made = |load: &Load| load.weights.to_vec();
    for nominals_g in [
        &[
            2000.0, 2000.0, 1000.0, 500.0, 200.0, 200.0, 100.0, 50.0, 20.0, 20.0, 10.0,
        ][..],
        &[3000.0, 2000.0, 500.0, 200.0, 100.0],
        &[2000.0, 1000.0, 500.0, 500.0, 200.0],
        &[5000.0, 500.0, 300.0],
    ] {
        let known = |(index, mass_g): (usize, &f64)| {
            PlannedWeight::new(format!("W{index}"), *mass_g, 1e-5 * mass_g)
        };
        let weights = nominals_g.iter().enumerate().map(known).collect();
        let scale = ScaleSpec {
            max_g: 6000.0,
            e_g: 2.0,
            d_g: 2.0,
            class: "III".into(),
        };
        let Ok(plan) = Plan::new(scale, weights) else {
            panic!("{nominals_g:?} makes a plan");
        };
        let mut before = plan.verify.last().expect("a proof");
        for load in &plan.verify_falling {
            let then = made(before);
            assert!(load.mass_g < before.mass_g);
            assert!(made(load).iter().all(|id| then.contains(id)), "{load:?}");
            let of_the_fit = |fit: &Load| (fit.mass_g - load.mass_g).abs() < 1e-6;
            assert!(!plan.fit.iter().any(of_the_fit), "{load:?} is of the fit");
            before = load;
        }
        if nominals_g.len() > 8 {
            assert!(plan.verify_falling.len() >= 3, "of a full set");
        }
    }
    let above: Vec<bool> = outcome
        .after
        .rows
        .iter()
        .map(|row| row.from_above)
        .collect();
    let first = above.iter().position(|above| *above).expect("some");
    assert!(above.iter().skip(first).all(|above| *above), "{above:?}");
}

/// Journals from before hold neither the way down nor what was taken off.
#[test]
fn sessions_of_old_are_read() {
    let (_, session) = whole(BenchSpec::studio(1));
    let plan = plan(&session.desk);
    let mut old = serde_json::to_value(&plan).expect("a plan");
    let fields = old.as_object_mut().expect("an object");
    fields.remove("verify_falling");
    fields.remove("correct_hysteresis");
    let read: Plan = serde_json::from_value(old).expect("reads");
    assert!(read.verify_falling.is_empty() && read.correct_hysteresis);
    let capture = Capture {
        part: Part::Verification,
        load: Load::empty(),
        mean_counts: 1.0,
        sd_counts: 1.0,
        samples: 16,
        at_s: 1.0,
        rested_s: None,
        sitting: 0,
        saturated: false,
        correction_g: 0.5,
    };
    let mut old = serde_json::to_value(&capture).expect("a capture");
    old.as_object_mut()
        .expect("an object")
        .remove("correction_g");
    let read: Capture = serde_json::from_value(old).expect("reads");
    assert_eq!(read.correction_g, 0.0);
}
