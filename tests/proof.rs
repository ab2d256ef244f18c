//! The tests of a calibrated scale on the bench, from the first question to the
//! last result, and what its file tells.

mod support;

use scalewright::proving::{self, ProvingFault};
use scalewright::record::journal::{Contents, Journal};
use scalewright::record::proof::{Proof, TestOutcome, Verdict};
use scalewright::session::proof::Test;
use scalewright::session::proof::entry::{self, ProofEntry};
use scalewright::session::proof::evaluate::evaluate;
use scalewright::session::proof::plan::ProofPlan;
use scalewright::session::proof::prover::{ProofCommand, ProofEvent, ProofFault, Prover, Watching};
use scalewright_bench::{BenchSpec, Desk, Habits, Mistake};
use scalewright_protocol::message::{Answer, Ask};
use scalewright_protocol::settings::{Conduct, Settings};
use scalewright_tests::proofs::{self, Hand};
use scalewright_tests::traced;
use support::Folder;
use support::bench::{at_a_bench, calibrated, plan, studio_scale};

fn proof_plan(desk: &Desk, tests: &[Test], short: bool) -> ProofPlan {
    let weights = plan(desk).weights;
    let scheme = "R76 III initial".to_owned();
    let mut scale = studio_scale();
    scale.d_g = scale.e_g;
    ProofPlan::new(scale, weights, tests, short, scheme, false).expect("a plan")
}

fn prove(spec: BenchSpec, tests: &[Test], short: bool) -> (Vec<ProofEntry>, Hand) {
    let made = proofs::prove(spec, |desk| proof_plan(desk, tests, short));
    made.expect("it comes to its end")
}

fn of(proof: &Proof, test: Test) -> &TestOutcome {
    let found = proof.tests.iter().find(|one| one.test == test.name());
    found.expect("the test was made")
}

#[test]
fn a_scale_that_we_calibrated_passes_all_tests() {
    for seed in [1, 2, 3] {
        let (kept, _) = prove(calibrated(seed), &Test::ALL, false);
        let ProofEntry::ProofBegan { plan, .. } = &kept[0] else {
            panic!("{:?}", kept[0]);
        };
        // The studio has no weights of 1.4 d.
        let impossible: Vec<Test> = plan.impossible.iter().map(|one| one.0).collect();
        assert_eq!(impossible, [Test::Discrimination]);
        assert_eq!(entry::finished(plan, &kept).len(), Test::ALL.len() - 1);
        let proof = evaluate(&kept).expect("results");
        for test in &proof.tests {
            assert_eq!(
                test.verdict,
                Verdict::Passes,
                "seed {seed}, {}: {} {:?}",
                test.title,
                test.says,
                test.incomplete
            );
        }
        assert_eq!(proof.verdict, Verdict::Passes);
    }
}

/// The same scale, but it tracks zero.
fn tracking(seed: u64) -> BenchSpec {
    let mut spec = calibrated(seed);
    let (mut client, desk) = at_a_bench(spec.clone());
    let settings = client.settings().expect("settings");
    let settings = Settings {
        conduct: settings.conduct.with(Conduct::TRACKS_ZERO),
        ..settings
    };
    let stored = client.ask(&Ask::SetSettings(settings), &mut |_| {});
    assert!(matches!(stored, Ok(Answer::Stored { .. })), "{stored:?}");
    spec.flash = Some(desk.flash_image());
    spec
}

/// Zero-tracking would hide what the tests look for (how zero returns after a load),
/// so it stands still meanwhile; after them it goes on.
#[test]
fn a_scale_that_tracks_zero_is_tested_like_one_that_does_not() {
    let (without, _) = prove(calibrated(2), &Test::ALL, false);
    let (with, _) = prove(tracking(2), &Test::ALL, false);
    let [without, with] = [without, with].map(|kept| evaluate(&kept).expect("results"));
    assert_eq!(without.tests, with.tests);

    let (mut client, desk) = at_a_bench(tracking(2));
    let mut prover = Prover::new(proof_plan(&desk, &[Test::Zero], true));
    let mut hand = Hand::at(desk);
    let kept = proofs::proved(&mut client, &mut prover, None, Vec::new(), &mut hand);
    let mut set = kept.expect("it ends").into_iter().filter_map(|entry| {
        let ProofEntry::Zeroed { zero_counts, .. } = entry else {
            return None;
        };
        Some(zero_counts)
    });
    let set = set.next_back().expect("zero was set");
    let ask = Ask::Wait { up_to_ms: 10_000 };
    let moved = (0..30).any(|_| match client.ask(&ask, &mut |_| {}) {
        Ok(Answer::State(state)) => state.zero_counts != set,
        other => panic!("{other:?}"),
    });
    assert!(moved, "it tracks again");
}

#[test]
fn a_scale_set_with_one_weight_fails_where_it_is_wrong() {
    let (kept, _) = prove(BenchSpec::studio(1), &[Test::Zero, Test::Errors], true);
    let proof = evaluate(&kept).expect("results");
    assert_eq!(of(&proof, Test::Zero).verdict, Verdict::Passes);
    let errors = of(&proof, Test::Errors);
    assert_eq!(errors.verdict, Verdict::Fails);
    let failed = errors
        .rows
        .iter()
        .filter(|row| row.verdict == Verdict::Fails);
    assert!(failed.clone().count() >= 3);
    assert!(failed.clone().all(|row| row.load_g > 2000.0));
    assert!(errors.rows.iter().any(|row| row.from_above));
}

#[test]
fn a_short_test_passes_only_so_far() {
    let (kept, _) = prove(calibrated(1), &[Test::Creep, Test::WarmUp], true);
    let proof = evaluate(&kept).expect("results");
    for test in [Test::Creep, Test::WarmUp] {
        let found = of(&proof, test);
        assert_eq!(found.verdict, Verdict::PassesSoFar, "{}", found.says);
        assert!(
            found
                .incomplete
                .iter()
                .any(|gap| gap.contains("min of 30 min"))
        );
    }
    assert_eq!(proof.verdict, Verdict::PassesSoFar);
    assert!(
        proof
            .not_tested
            .iter()
            .any(|what| what.contains("cut short"))
    );
}

#[test]
fn a_warm_scale_is_not_tried_for_warming_up() {
    let (mut client, desk) = at_a_bench(calibrated(1));
    client
        .ask(&Ask::Wait { up_to_ms: 10_000 }, &mut |_| {})
        .expect("waits");
    for _ in 0..20 {
        let ask = Ask::Wait { up_to_ms: 10_000 };
        client.ask(&ask, &mut |_| {}).expect("waits");
    }
    let mut prover = Prover::new(proof_plan(&desk, &[Test::WarmUp, Test::Zero], true));
    let mut hand = Hand::at(desk);
    let kept = proofs::proved(&mut client, &mut prover, None, Vec::new(), &mut hand);
    let proof = evaluate(&kept.expect("goes on with the other")).expect("results");
    assert_eq!(proof.tests.len(), 1);
    let (test, why) = &proof.left_out[0];
    assert!(test == "Warm-up" && why.contains("unplug"), "{test}: {why}");
}

/// Every number of the results, once more from the file alone, by arithmetic
/// written here.
#[test]
fn every_number_comes_out_of_the_file_again() {
    let folder = Folder::new();
    let file = folder.file("verification.session.jsonl");
    let mut journal = Journal::create(&file).expect("a journal");
    let (kept, _) = proofs::attend(
        calibrated(5),
        |desk| Prover::new(proof_plan(desk, &Test::ALL, true)),
        Hand::at,
        Some(&mut journal),
        Vec::new(),
    );
    let live = evaluate(&kept.expect("whole")).expect("results");
    drop(journal);
    let (_, contents): (Journal, Contents<ProofEntry>) = Journal::open(&file).expect("reads");
    let proof = evaluate(&contents.entries).expect("results");
    assert_eq!(proof, live, "the file tells what the session told");

    let found = traced::traced(&contents.entries, &proof).expect("a verification");
    for number in &found.gross {
        let off_g = (number.said_g - number.from_file_g).abs();
        assert!(off_g <= found.quantum_g, "{number:?}");
    }
    for number in &found.values {
        let off_g = (number.said_g - number.from_file_g).abs();
        assert!(off_g <= 3.0 * found.quantum_g, "{number:?}");
    }
    let rows: usize = proof.tests.iter().map(|test| test.rows.len()).sum();
    assert_eq!(found.values.len(), rows, "every value of the report");
    assert_eq!(found.gross.len(), proof.captures.len());
    assert!(rows > 40, "{rows} numbers");
}

#[test]
fn an_interrupted_verification_goes_on_and_keeps_whole_tests() {
    let folder = Folder::new();
    let spec = calibrated(7);
    let tests = [Test::Zero, Test::Repeatability, Test::Eccentricity];
    // In the first test, between two, in the second, in the third, at the end.
    for after in [1, 3, 5, 8, 11, 13] {
        let file = folder.file(&format!("cut-{after}.session.jsonl"));
        let mut journal = Journal::create(&file).expect("a journal");
        let made = |desk: &Desk| proof_plan(desk, &tests, true);
        let leaves = |desk: Desk| {
            let mut hand = Hand::at(desk);
            hand.stop_after = Some(after);
            hand
        };
        let (ended, _) = proofs::attend(
            spec.clone(),
            |desk| Prover::new(made(desk)),
            leaves,
            Some(&mut journal),
            Vec::new(),
        );
        assert_eq!(ended, Err(ProvingFault::Stopped), "after {after}");
        drop(journal);

        let (mut journal, contents): (Journal, Contents<ProofEntry>) =
            Journal::open(&file).expect("reads");
        let entries = contents.entries.clone();
        let (kept, hand) = proofs::attend(
            spec.clone(),
            |desk| Prover::resume(made(desk), &entries),
            Hand::at,
            Some(&mut journal),
            contents.entries,
        );
        let ProofEntry::ProofBegan { plan: made, .. } = &entries[0] else {
            panic!("no beginning");
        };
        let done = entry::finished(made, &entries);
        let kept = kept.expect("comes to its end");
        let begun = hand
            .events
            .iter()
            .filter(|one| matches!(one, ProofEvent::Begins(_)));
        assert_eq!(begun.count(), tests.len() - done.len(), "whole tests stay");
        assert_eq!(entry::finished(made, &kept).len(), tests.len());
        let proof = evaluate(&kept).expect("results");
        assert_eq!(proof.verdict, Verdict::Passes, "after {after}");
        assert_eq!(
            of(&proof, Test::Repeatability).rows.len(),
            6,
            "5 and their spread"
        );
        drop(journal);
        let (_, again): (Journal, Contents<ProofEntry>) = Journal::open(&file).expect("reads");
        assert_eq!(evaluate(&again.entries), Ok(proof));
    }
}

#[test]
fn a_wrong_load_is_noticed_and_can_be_put_right() {
    let mut spec = calibrated(1);
    spec.habits = Habits {
        planned: vec![(2, Mistake::WrongWeight)],
        ..Habits::default()
    };
    let (kept, person) = proofs::attend(
        spec,
        |desk| Prover::new(proof_plan(desk, &[Test::Errors], true)),
        |desk| Corrected {
            desk: desk.clone(),
            hand: Hand::at(desk),
            wrong: 0,
        },
        None,
        Vec::new(),
    );
    let proof = evaluate(&kept.expect("comes to its end")).expect("results");
    assert_eq!(person.wrong, 1);
    assert_eq!(proof.verdict, Verdict::Passes);
}

struct Corrected {
    desk: Desk,
    hand: Hand,
    wrong: usize,
}

impl proving::ProofWatcher for Corrected {
    fn event(&mut self, event: &ProofEvent) {
        if let ProofEvent::Wrong { nothing_moved, .. } = event {
            if !nothing_moved {
                self.wrong += 1;
                scalewright_bench::Pan::correct(&self.desk);
            }
            return;
        }
        self.hand.event(event);
    }
}

#[test]
fn a_capture_can_be_taken_back_and_a_test_left_out() {
    struct Fickle {
        hand: Hand,
        said: Vec<(usize, ProofCommand)>,
    }
    impl proving::ProofWatcher for Fickle {
        fn event(&mut self, event: &ProofEvent) {
            self.hand.event(event);
        }
        fn wish(&mut self) -> proving::ProofWish {
            match self.said.first() {
                Some((after, command)) if self.hand.captures >= *after => {
                    let command = *command;
                    self.said.remove(0);
                    proving::ProofWish::Say(command)
                }
                _ => proving::ProofWish::GoOn,
            }
        }
    }
    let tests = [Test::Errors, Test::Repeatability, Test::Eccentricity];
    let (kept, _) = proofs::attend(
        calibrated(1),
        |desk| Prover::new(proof_plan(desk, &tests, true)),
        |desk| Fickle {
            hand: Hand::at(desk),
            // Somewhere in the first test, and in the second.
            said: vec![(4, ProofCommand::Undo), (17, ProofCommand::LeaveOut)],
        },
        None,
        Vec::new(),
    );
    let kept = kept.expect("comes to its end");
    let proof = evaluate(&kept).expect("results");
    let undone = kept
        .iter()
        .filter(|one| **one == ProofEntry::Undone)
        .count();
    assert_eq!(undone, 1);
    assert_eq!(of(&proof, Test::Errors).verdict, Verdict::Passes);
    assert_eq!(
        of(&proof, Test::Errors).rows.len(),
        13,
        "none is missing or double"
    );
    assert_eq!(
        proof
            .left_out
            .iter()
            .filter(|one| one.1 == "by request")
            .count(),
        1
    );
    assert_eq!(of(&proof, Test::Eccentricity).rows.len(), 6);
}

/// What is said while the scale averages is not of the load that is averaged.
#[test]
fn a_capture_under_way_when_one_is_taken_back_counts_for_nothing() {
    struct Hasty {
        hand: Hand,
        averaging: bool,
        said: bool,
    }
    impl proving::ProofWatcher for Hasty {
        fn event(&mut self, event: &ProofEvent) {
            self.averaging = matches!(
                event,
                ProofEvent::Live {
                    watching: Watching::Averaging { .. },
                    ..
                }
            );
            self.hand.event(event);
        }
        fn wish(&mut self) -> proving::ProofWish {
            if self.averaging && self.hand.captures == 4 && !self.said {
                self.said = true;
                return proving::ProofWish::Say(ProofCommand::Undo);
            }
            proving::ProofWish::GoOn
        }
    }
    let (kept, hasty) = proofs::attend(
        calibrated(1),
        |desk| Prover::new(proof_plan(desk, &[Test::Errors], true)),
        |desk| Hasty {
            hand: Hand::at(desk),
            averaging: false,
            said: false,
        },
        None,
        Vec::new(),
    );
    assert!(hasty.said);
    let proof = evaluate(&kept.expect("comes to its end")).expect("results");
    let errors = of(&proof, Test::Errors);
    assert_eq!((errors.verdict, errors.rows.len()), (Verdict::Passes, 13));
}

#[test]
fn another_table_or_none_is_refused() {
    let refused = |spec: BenchSpec, prover: &mut dyn FnMut(&Desk) -> Prover| {
        proofs::attend(spec, prover, Hand::at, None, Vec::new()).0
    };
    let fresh = refused(BenchSpec::studio_factory(1), &mut |desk| {
        Prover::new(proof_plan(desk, &[Test::Zero], true))
    });
    assert_eq!(fresh, Err(ProvingFault::Session(ProofFault::NotCalibrated)));

    let (kept, _) = prove(BenchSpec::studio(1), &[Test::Zero], true);
    let changed = refused(calibrated(1), &mut |desk| {
        Prover::resume(proof_plan(desk, &[Test::Zero, Test::Errors], true), &kept)
    });
    let Err(ProvingFault::Session(fault @ ProofFault::OtherTable { .. })) = changed else {
        panic!("{changed:?}");
    };
    assert!(fault.to_string().contains("calibrated since"), "{fault}");
    let other = refused(BenchSpec::studio(2), &mut |desk| {
        Prover::resume(proof_plan(desk, &[Test::Zero, Test::Errors], true), &kept)
    });
    assert!(
        matches!(
            other,
            Err(ProvingFault::Session(ProofFault::OtherScale { .. }))
        ),
        "{other:?}"
    );
}

/// A file that ends early is never shown as the whole.
#[test]
fn what_ended_early_is_not_called_passed() {
    let tests = [Test::Zero, Test::Repeatability, Test::Eccentricity];
    let (kept, _) = prove(calibrated(2), &tests, true);
    assert_eq!(evaluate(&kept).expect("results").verdict, Verdict::Passes);
    let first = kept.iter().position(
        |one| matches!(one, ProofEntry::Captured(capture) if capture.test == Test::Eccentricity),
    );
    let cut = &kept[..first.expect("captured")];
    let proof = evaluate(cut).expect("results");
    assert_eq!(proof.verdict, Verdict::PassesSoFar);
    let (test, why) = &proof.left_out[0];
    assert!(
        test == "Eccentricity" && why.contains("ended before"),
        "{why}"
    );
}

/// Where a table of one's own steps, a load is asked for.
#[test]
fn the_steps_of_an_own_table_are_tried() {
    let mut tried = Vec::new();
    proofs::prove(calibrated(2), |desk| {
        let mut scale = studio_scale();
        scale.d_g = scale.e_g;
        let scheme = "up to 620 g: 2 g; up to 2.5 kg: 4 g; up to 6 kg: 6 g".to_owned();
        let weights = plan(desk).weights;
        let made = ProofPlan::new(scale, weights, &[Test::Errors], false, scheme, false);
        let made = made.expect("a plan");
        let steps = made.tests.iter().flat_map(|test| &test.steps);
        tried = steps.map(|step| step.load.mass_g).collect();
        made
    })
    .expect("comes to its end");
    for at_g in [620.0, 2500.0] {
        let near = tried
            .iter()
            .any(|load_g| (load_g - at_g).abs() <= 0.1 * at_g);
        assert!(near, "{at_g}: {tried:?}");
    }
    let top = tried
        .iter()
        .position(|load_g| *load_g > 5400.0)
        .expect("near Max");
    let rising = &tried[..=top];
    assert!(rising.windows(2).all(|two| two[0] <= two[1]), "{tried:?}");
}
