//! A change of a table in this process: on a bench, and with answers and lines
//! that go wrong.

use std::time::Duration;

use scalewright::changing;
use scalewright::drive::DriveFault;
use scalewright::link::client::Client;
use scalewright::link::{Line, LinkFault};
use scalewright::quantise::HostTable;
use scalewright::session::note::Note;
use scalewright::session::table::adjusting::{Shown, Wanted, adjust};
use scalewright::session::table::change::{
    Change, ChangeAction, ChangeFault, Conversation, NewTable, Proposal,
};
use scalewright::session::table::face::Face;
use scalewright::session::table::reading::Held;
use scalewright_bench::{BenchSpec, BenchStream, Desk};
use scalewright_protocol::message::{
    Answer, Ask, Event, EventKind, Flags, Refusal, State, TableHeader,
};

use super::support::bench::{Near, calibrated};

/// A bench as a line whose plug comes out after so many frames were sent.
struct Plug {
    near: Near,
    left: usize,
}

impl Line for Plug {
    fn write(&mut self, bytes: &[u8]) -> Result<(), LinkFault> {
        let Some(left) = self.left.checked_sub(1) else {
            return Err(LinkFault::Unplugged {
                port: "the bench".into(),
            });
        };
        self.left = left;
        self.near.write(bytes)
    }

    fn read(&mut self, into: &mut [u8], timeout: Duration) -> Result<usize, LinkFault> {
        self.near.read(into, timeout)
    }

    fn name(&self) -> &str {
        "the bench"
    }
}

fn at_a_bench(spec: BenchSpec) -> (Client<Plug>, Desk) {
    let stream = BenchStream::open(spec).expect("a bench");
    let desk = stream.desk();
    let near = Near(stream);
    let left = usize::MAX;
    (Client::new(Plug { near, left }, 1), desk)
}

fn ask(client: &mut Client<Plug>, ask: &Ask) -> Answer {
    client.ask(ask, &mut |_| {}).expect("an answer")
}

fn header(client: &mut Client<Plug>) -> TableHeader {
    match ask(client, &Ask::Table) {
        Answer::Table(header) => header,
        other => panic!("{other:?}"),
    }
}

/// Lets so much of the scale's time pass; the state then.
fn after_s(client: &mut Client<Plug>, seconds: u32) -> State {
    let mut end = None;
    loop {
        let Answer::State(state) = ask(client, &Ask::Wait { up_to_ms: 500 }) else {
            panic!("a state");
        };
        let end = *end.get_or_insert(state.at_ms + seconds * 1000);
        if state.at_ms >= end {
            return state;
        }
    }
}

fn read(client: &mut Client<Plug>) -> Change {
    let mut change = Change::new(None);
    let first = change.start();
    let action = changing::run(&mut change, client, first);
    assert_eq!(action, Ok(ChangeAction::Decide));
    change
}

fn held(change: &Change) -> Held {
    change.held().cloned().expect("it was read")
}

/// What is proposed here: 2 kg, of which 2004 g are shown, put right.
fn proposal(held: &Held) -> Proposal {
    let table = held.table.as_ref().expect("a table");
    let wanted = Wanted {
        load_g: 2000.0,
        shown: Shown::Mass(2004.0),
        keep_g: vec![1000.0],
        reach_g: None,
        most_points: 32,
    };
    let adjusted = adjust(table, &held.settings, &wanted).expect("possible");
    Proposal::Table(Box::new(NewTable {
        table: adjusted.expect("a change").table,
        settings: held.settings,
        zero_counts: held.header.zero_counts,
    }))
}

/// The table that is proposed.
fn new_table(change: &Change) -> HostTable {
    match change.proposal() {
        Some(Proposal::Table(new) | Proposal::Trial(new)) => new.table.clone(),
        other => panic!("{other:?}"),
    }
}

fn proposed(client: &mut Client<Plug>) -> Change {
    let mut change = read(client);
    change.propose(proposal(&held(&change)));
    change
}

fn bring_in(
    change: &mut Change,
    client: &mut Client<Plug>,
) -> Result<ChangeAction, DriveFault<ChangeFault>> {
    let action = change.accept().expect("there is a proposal");
    changing::run(change, client, action)
}

/// To the last digit: what the laptop says of the counts at hand is what the
/// scale says, with the old table and with the new one.
#[test]
fn foretold_and_shown_agree_to_the_last_quantum() {
    for seed in [3, 8] {
        let (mut client, desk) = at_a_bench(calibrated(seed));
        after_s(&mut client, 6);
        let mut change = proposed(&mut client);
        let old = held(&change);
        let new = new_table(&change);
        let agree = |client: &mut Client<Plug>, table: &HostTable| {
            while !after_s(client, 1).flags.has(Flags::STABLE) {}
            ask(client, &Ask::SetZero);
            // From empty upwards, as `Face` has it.
            for load_g in [50.0, 500.0, 1000.0, 1500.0, 2000.0, 2700.0, 4000.0, 6000.0] {
                desk.place_g(load_g);
                let state = after_s(client, 5);
                let net_q8 = i64::from(state.smooth_q8) - i64::from(state.zero_counts) * 256;
                let face = Face {
                    table,
                    settings: &old.settings,
                };
                let mass = state.mass.expect("a mass");
                let by_table = table.lookup_q8(net_q8).mass;
                assert_eq!(mass + state.correction, by_table, "{load_g} g, seed {seed}");
                // The cell's memory swings with the noise of the way there.
                assert!(
                    (mass - face.mass(net_q8)).abs() <= 60,
                    "{load_g} g, seed {seed}"
                );
                let d = old.settings.d;
                let shown = state.indication.expect("an indication");
                assert!(shown % d == 0 && (shown - mass).abs() <= d / 2 + d / 4);
            }
            desk.place_g(0.0);
            after_s(client, 5);
        };
        agree(&mut client, old.table.as_ref().expect("a table"));
        assert_eq!(
            bring_in(&mut change, &mut client),
            Ok(ChangeAction::Finished)
        );
        let after = change.after().expect("it was read back");
        assert_eq!(after.table.as_ref(), Some(&new));
        assert_eq!(after.settings, old.settings);
        assert_eq!(after.header.zero_counts, old.header.zero_counts);
        agree(&mut client, &new);
    }
}

/// A table or settings that changed while somebody thought.
#[test]
fn a_table_changed_meanwhile_is_left_alone() {
    let (mut client, _) = at_a_bench(calibrated(3));
    let mut change = proposed(&mut client);
    // Another program brings in a table of its own.
    let mut other = proposed(&mut client);
    assert_eq!(
        bring_in(&mut other, &mut client),
        Ok(ChangeAction::Finished)
    );
    let now = header(&mut client);
    let ended = bring_in(&mut change, &mut client);
    assert_eq!(ended, Err(ChangeFault::ChangedMeanwhile.into()));
    // The same with a roll-back of what was brought in meanwhile.
    let mut back = read(&mut client);
    back.propose(Proposal::RollBack);
    ask(&mut client, &Ask::SetSettings(held(&back).settings));
    let ended = bring_in(&mut back, &mut client);
    assert_eq!(ended, Err(ChangeFault::ChangedMeanwhile.into()));
    assert_eq!(header(&mut client).checksum, now.checksum);
}

#[test]
fn a_roll_back_is_read_back_and_can_be_undone() {
    let (mut client, _) = at_a_bench(calibrated(3));
    let mut change = proposed(&mut client);
    let old = held(&change);
    assert_eq!(
        bring_in(&mut change, &mut client),
        Ok(ChangeAction::Finished)
    );
    let new = change.after().cloned().expect("read back");
    for due in [&old, &new] {
        let mut back = read(&mut client);
        back.propose(Proposal::RollBack);
        assert_eq!(bring_in(&mut back, &mut client), Ok(ChangeAction::Finished));
        let after = back.after().expect("read back");
        assert_eq!((&after.table, after.settings), (&due.table, due.settings));
    }
    // A scale that was never changed has nothing to go back to.
    let (mut client, _) = at_a_bench(BenchSpec::studio(1));
    let mut back = read(&mut client);
    back.propose(Proposal::RollBack);
    let ended = bring_in(&mut back, &mut client);
    assert_eq!(ended, Err(ChangeFault::NothingBefore.into()));
    assert!(read(&mut client).accept().is_err(), "nothing to accept");
    let mut named = Change::new(Some(7));
    let first = named.start();
    let ended = changing::run(&mut named, &mut client, first);
    assert!(matches!(
        ended,
        Err(DriveFault::Session(ChangeFault::OtherTable {
            named: 7,
            ..
        }))
    ));
}

/// The plug comes out after each frame in turn: the table in force is the old
/// one, whole, or the new one, whole, and the same command again ends well.
#[test]
fn a_plug_pulled_anywhere_leaves_a_whole_table() {
    let (mut whole, _) = at_a_bench(calibrated(3));
    let mut change = proposed(&mut whole);
    let old = held(&change);
    let new = new_table(&change);
    assert_eq!(
        bring_in(&mut change, &mut whole),
        Ok(ChangeAction::Finished)
    );
    let spec = calibrated(3);
    let mut seen = [false; 2];
    for frames in 0.. {
        let (mut client, _) = at_a_bench(spec.clone());
        let mut change = proposed(&mut client);
        client.line_mut().left = frames;
        let ended = bring_in(&mut change, &mut client);
        client.line_mut().left = usize::MAX;
        if ended.is_ok() {
            assert!(frames > 6, "{frames} frames");
            break;
        }
        assert!(matches!(
            ended,
            Err(DriveFault::Link(LinkFault::Unplugged { .. }))
        ));
        assert!(change.after().is_none());
        let now = held(&read(&mut client));
        let is_new = now.table.as_ref() == Some(&new);
        assert!(is_new || now.table == old.table, "{frames} frames");
        seen[usize::from(is_new)] = true;
        let mut again = proposed(&mut client);
        assert_eq!(
            bring_in(&mut again, &mut client),
            Ok(ChangeAction::Finished)
        );
    }
    assert_eq!(seen, [true; 2], "both were seen");
}

/// Whatever answer goes wrong, nobody is told it was written.
#[test]
fn an_answer_gone_wrong_is_never_called_written() {
    for wrong in [Err(Refusal::Storage), Ok(Answer::Zeroed { zero_counts: 1 })] {
        for broken in 0.. {
            let (mut client, _) = at_a_bench(calibrated(3));
            let mut change = Change::new(None);
            let mut action = change.start();
            let mut asked = 0;
            let ended = loop {
                action = match action {
                    ChangeAction::Finished => break Ok(()),
                    ChangeAction::Decide => {
                        change.propose(proposal(&held(&change)));
                        change.accept().expect("a proposal")
                    }
                    ChangeAction::Ask(due) => {
                        let right = client.ask_or_refused(&due, &mut |_| {}).expect("a line");
                        let answer = if asked == broken {
                            wrong.clone()
                        } else {
                            right
                        };
                        asked += 1;
                        match change.answered(answer) {
                            Ok(action) => action,
                            Err(fault) => break Err(fault),
                        }
                    }
                };
            };
            if broken >= asked {
                assert_eq!(ended, Ok(()));
                assert!(broken > 10, "{broken} answers");
                break;
            }
            assert!(
                ended.is_err() && change.after().is_none(),
                "answer {broken}"
            );
        }
    }
}

fn event(client: &mut Client<Plug>, back: u8) -> Option<Event> {
    match ask(client, &Ask::Event { back }) {
        Answer::Event(event) => event,
        other => panic!("{other:?}"),
    }
}

fn on_trial(client: &mut Client<Plug>) -> (Held, HostTable) {
    let mut change = read(client);
    let old = held(&change);
    let Proposal::Table(new) = proposal(&old) else {
        panic!("a table");
    };
    change.propose(Proposal::Trial(new));
    let tried = new_table(&change);
    assert_eq!(bring_in(&mut change, client), Ok(ChangeAction::Finished));
    let after = change.after().expect("it was read back");
    assert_eq!(after.table.as_ref(), Some(&tried));
    assert!(after_s(client, 1).flags.has(Flags::TRIAL));
    (old, tried)
}

/// Tried, the stored table stays; accepted, it is stored under who and why;
/// dropped or restarted, the stored one is in force again.
#[test]
fn a_trial_is_accepted_dropped_or_lost() {
    let (mut client, desk) = at_a_bench(calibrated(3));
    let (old, tried) = on_trial(&mut client);
    let mut change = read(&mut client);
    assert_eq!(held(&change).header.sequence, old.header.sequence);
    change.propose(Proposal::DropTrial);
    assert_eq!(
        bring_in(&mut change, &mut client),
        Ok(ChangeAction::Finished)
    );
    assert_eq!(
        change.after().and_then(|after| after.table.clone()),
        old.table
    );
    assert!(!after_s(&mut client, 1).flags.has(Flags::TRIAL));

    on_trial(&mut client);
    desk.restart();
    let state = after_s(&mut client, 2);
    assert!(!state.flags.has(Flags::TRIAL));
    assert_eq!(held(&read(&mut client)).table, old.table);

    on_trial(&mut client);
    let mut change = read(&mut client);
    change.propose(Proposal::AcceptTrial);
    change.note(Note {
        when_s: 1_795_000_000,
        text: "anna: 2 kg showed 4 g too much, seen twice".into(),
    });
    assert_eq!(
        bring_in(&mut change, &mut client),
        Ok(ChangeAction::Finished)
    );
    assert_eq!(
        change.after().and_then(|after| after.table.clone()),
        Some(tried.clone())
    );
    assert!(!after_s(&mut client, 1).flags.has(Flags::TRIAL));
    let event = event(&mut client, 0).expect("it is remembered");
    assert_eq!(
        (event.kind, event.when_s),
        (EventKind::Table, 1_795_000_000)
    );
    assert_eq!(event.checksum, tried.checksum());
    assert_eq!(
        event.text.as_str(),
        "anna: 2 kg showed 4 g too much, ",
        "32 letters"
    );
    // What is not on trial can't be accepted.
    let mut change = read(&mut client);
    change.propose(Proposal::AcceptTrial);
    let ended = bring_in(&mut change, &mut client);
    assert_eq!(
        ended,
        Err(ChangeFault::Declined(Refusal::NotStaging).into())
    );
}

/// A board that keeps no notes takes the change all the same.
#[test]
fn a_board_without_notes_goes_without() {
    let (mut client, _) = at_a_bench(calibrated(3));
    let mut change = proposed(&mut client);
    change.note(Note::default());
    let mut action = change.accept().expect("a proposal");
    let mut noted = 0;
    while let ChangeAction::Ask(due) = &action {
        let answer = match due {
            Ask::Note { .. } => {
                noted += 1;
                Err(Refusal::Unknown)
            }
            due => client.ask_or_refused(due, &mut |_| {}).expect("a line"),
        };
        action = change.answered(answer).expect("an answer");
    }
    assert_eq!((action, noted), (ChangeAction::Finished, 1));
}
