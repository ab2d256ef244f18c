//! The notebook, with the power cut after every byte.

mod common;

use common::*;
use scalewright_core::notebook::{CONTENT_BYTES, ENTRY_BYTES, Entry, Kind, Notebook};
use scalewright_core::ports::{Slot, Storage};
use scalewright_protocol::message::Refusal;

fn opened(flash: &mut Flash) -> Notebook {
    let mut book = Notebook::new();
    book.open(flash);
    book
}

fn all(book: &Notebook, flash: &mut Flash) -> Vec<Entry> {
    (1..book.end())
        .filter_map(|at| book.at(flash, at))
        .collect()
}

#[test]
fn what_is_written_is_read_after_a_restart() {
    let mut flash = Flash::new(256);
    let mut book = opened(&mut flash);
    assert_eq!(book.end(), 0);
    assert!(book.newest(&mut flash, u16::MAX, |_| true).is_none());
    book.append(&mut flash, Kind::Preferences, &[1, 2, 3])
        .expect("room");
    book.append(&mut flash, Kind::Preferences, &[0xFF; 60])
        .expect("room");
    let mut again = opened(&mut flash);
    let (at, last) = again
        .newest(&mut flash, u16::MAX, |kind| kind == Kind::Preferences)
        .expect("there");
    assert_eq!((at, last.content), (2, [0xFF; CONTENT_BYTES]), "cut");
    let (_, first) = again
        .newest(&mut flash, at, |kind| kind == Kind::Preferences)
        .expect("there");
    assert_eq!(first.word(0), 0x0003_0201);
    assert_eq!(first.word(41), 0, "past the end");
    again
        .append(&mut flash, Kind::Note, &[])
        .expect("where the other ended");
    assert_eq!(all(&again, &mut flash).len(), 3);
}

/// Preferences are one value, a calibration under way is whole or gone.
#[test]
fn a_full_page_keeps_what_is_still_wanted() {
    let mut flash = Flash::new(256);
    let mut book = opened(&mut flash);
    let mut write = |kind, byte| book.append(&mut flash, kind, &[byte]).expect("room");
    write(Kind::WalkBegun, 1);
    write(Kind::WalkStep, 1);
    write(Kind::WalkOver, 1);
    write(Kind::WalkBegun, 2);
    for step in 0..5 {
        write(Kind::WalkStep, step);
    }
    for n in 0..200u8 {
        write(Kind::Preferences, n);
    }
    let entries = all(&book, &mut flash);
    let of = |wanted: Kind| -> Vec<u8> {
        let matching = entries.iter().filter(|entry| entry.kind == wanted);
        matching.map(|entry| entry.content[0]).collect()
    };
    assert_eq!(of(Kind::WalkBegun), [2]);
    assert_eq!(of(Kind::WalkStep), [0, 1, 2, 3, 4]);
    assert!(of(Kind::WalkOver).is_empty());
    assert_eq!(of(Kind::Preferences).last(), Some(&199));
    // Erasing and copying cost less than three entries for each that is written.
    assert!(flash.used < 200 * ENTRY_BYTES * 4);
}

/// After a cut at any byte the last value is the one before or the new one, and
/// the notebook goes on being written.
#[test]
fn a_cut_at_every_byte_costs_nothing_but_the_entry_at_hand() {
    // One page, filled to every height, so that turning over is met as well.
    for before in [0u8, 1, 2, 21, 22, 23, 24, 45] {
        let mut flash = Flash::new(256);
        let mut book = opened(&mut flash);
        for n in 0..before {
            book.append(&mut flash, Kind::Preferences, &[n])
                .expect("room");
        }
        flash.used = 0;
        let mut whole = flash.clone();
        opened(&mut whole)
            .append(&mut whole, Kind::Preferences, &[0xEE])
            .expect("room");
        let mut new = 0;
        for fuel in 1..=whole.used + 1 {
            let mut cut = flash.clone();
            cut.fuel = Some(fuel);
            let mut book = opened(&mut cut);
            let said = book.append(&mut cut, Kind::Preferences, &[0xEE]);
            let mut cut = cut.revived();
            let mut book = opened(&mut cut);
            let last = book
                .newest(&mut cut, u16::MAX, |kind| kind == Kind::Preferences)
                .map(|(_, entry)| entry.content[0]);
            let old = before.checked_sub(1);
            assert!(
                last == old || last == Some(0xEE),
                "{before}, {fuel}: {last:?}"
            );
            assert!(said.is_err() || last == Some(0xEE), "{before}, {fuel}");
            new += usize::from(last == Some(0xEE));
            book.append(&mut cut, Kind::Preferences, &[0xDD])
                .expect("it goes on");
            let last = opened(&mut cut)
                .newest(&mut cut, u16::MAX, |kind| kind == Kind::Preferences)
                .map(|(_, entry)| entry.content[0]);
            assert_eq!(last, Some(0xDD), "{before}, {fuel}");
        }
        assert!((1..60).contains(&new), "{before}: new in {new} cases");
    }
}

#[test]
fn noise_in_the_pages_is_no_notebook_and_does_no_harm() {
    let mut state = 0x2545_F491u32;
    let mut noise = move || {
        state ^= state << 13;
        state ^= state >> 17;
        state ^= state << 5;
        state as u8
    };
    for _ in 0..50 {
        let mut flash = Flash::new(256);
        for page in &mut flash.pages {
            page.fill_with(&mut noise);
        }
        let mut book = opened(&mut flash);
        assert_eq!(book.end(), 0);
        book.append(&mut flash, Kind::Note, b"Ida").expect("room");
        assert_eq!(all(&opened(&mut flash), &mut flash).len(), 1);
    }
}

#[test]
fn a_memory_that_refuses_is_told() {
    let mut flash = Flash::new(256);
    flash.refuse_writes = true;
    let mut book = opened(&mut flash);
    assert_eq!(
        book.append(&mut flash, Kind::Note, &[]),
        Err(Refusal::Storage)
    );
    flash.refuse_writes = false;
    flash.forget_writes = true;
    assert_eq!(
        book.append(&mut flash, Kind::Note, &[]),
        Err(Refusal::Storage)
    );
    flash.forget_writes = false;
    book.append(&mut flash, Kind::Note, &[]).expect("again");
}

/// A board without pages.
struct Bare;

impl Storage for Bare {
    type Error = ();

    fn slot_bytes(&self) -> usize {
        256
    }
    fn read(&mut self, slot: Slot, _: usize, _: &mut [u8]) -> Result<(), ()> {
        assert!(matches!(slot, Slot::A | Slot::B), "no pages");
        Err(())
    }
    fn erase(&mut self, _: Slot, _: usize) -> Result<Option<usize>, ()> {
        Err(())
    }
    fn write(&mut self, _: Slot, _: usize, _: &[u8]) -> Result<(), ()> {
        Err(())
    }
}

#[test]
fn a_board_without_pages_is_asked_for_none() {
    let mut book = Notebook::new();
    assert_eq!(
        book.append(&mut Bare, Kind::Note, &[]),
        Err(Refusal::Unknown)
    );
}
