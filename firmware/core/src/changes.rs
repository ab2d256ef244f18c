//! Changes as a scale remembers them: who, when, why, and what was then in force.
//!
//! Owns the bytes of notes and events in the notebook. A change is kept after it is
//! in force, and one that cannot be kept is no fault of the change: the number of
//! the record counts it in any case, and nothing turns that back.

use scalewright_protocol::cursor::Cursor;
use scalewright_protocol::message::{Event, EventKind, NOTE_BYTES, Refusal};
use scalewright_protocol::table::{Table, knots_checksum};
use scalewright_protocol::tags::answer;

use crate::conversation::{Outcome, answers};
use crate::instrument::Instrument;
use crate::notebook::{CONTENT_BYTES, Entry, Kind};
use crate::ports::Storage;

/// Where things stand in the content of an event: counter, checksum, kind.
const COUNTER_AT: usize = 0;
const CHECKSUM_AT: usize = 4;
const KIND_AT: usize = 8;
/// And of a note: when, length of the text, text.
const WHEN_AT: usize = 0;
const LENGTH_AT: usize = 4;
const TEXT_AT: usize = 5;
const _: () = assert!(TEXT_AT + NOTE_BYTES <= CONTENT_BYTES);

impl<S: Storage, const KNOTS: usize, const QUEUE: usize> Instrument<S, KNOTS, QUEUE> {
    /// Takes who makes the next change, and why.
    pub(crate) fn note(&mut self, mut at: Cursor) -> Result<Outcome, Refusal> {
        let payload = self.decoder.payload().unwrap_or(&[]);
        let when_s = at.u32(payload);
        let text = at.bytes(payload);
        if !at.is_whole(payload) || text.len() > NOTE_BYTES || core::str::from_utf8(text).is_err() {
            return Err(Refusal::Unknown);
        }
        let mut content = [0u8; CONTENT_BYTES];
        put(&mut content, WHEN_AT, &when_s.to_le_bytes());
        put(&mut content, LENGTH_AT, &[text.len() as u8]);
        put(&mut content, TEXT_AT, text);
        self.notebook
            .append(self.slots.storage(), Kind::Note, &content)?;
        Ok(Outcome::Done)
    }

    /// Keeps that a record came into force.
    #[inline]
    pub(crate) fn keep_event(&mut self, kind: EventKind) {
        if S::PAGE_BYTES == 0 {
            return;
        }
        let knots = self.table.as_ref().map_or(&[][..], Table::knots);
        let mut content = [0u8; CONTENT_BYTES];
        put(
            &mut content,
            COUNTER_AT,
            &self.slots.sequence().to_le_bytes(),
        );
        put(
            &mut content,
            CHECKSUM_AT,
            &knots_checksum(knots).to_le_bytes(),
        );
        put(&mut content, KIND_AT, &[kind as u8]);
        // The change is in force, kept here or not.
        let _ = self
            .notebook
            .append(self.slots.storage(), Kind::Event, &content);
    }

    /// Answers with the change `back` before the last.
    pub(crate) fn tell_event(&mut self, id: u16, back: u8) {
        let found = self.notebook.event(self.slots.storage(), back);
        let event = found.map(|(event, note)| event_of(&event, note.as_ref()));
        self.outbox.reply(|pen| {
            answers(pen, id, answer::EVENT);
            pen.bool(event.is_some());
            if let Some(event) = &event {
                pen.event(event);
            }
        });
    }

    /// Keeps bytes under a kind, at most [`CONTENT_BYTES`].
    ///
    /// # Errors
    /// [`Refusal::Storage`]; [`Refusal::Unknown`] on a board without a notebook.
    pub fn remember(&mut self, kind: Kind, content: &[u8]) -> Result<(), Refusal> {
        self.notebook.append(self.slots.storage(), kind, content)
    }

    /// What was remembered last under a kind.
    pub fn recall(&mut self, kind: Kind) -> Option<Entry> {
        if S::PAGE_BYTES == 0 {
            return None;
        }
        let found = self
            .notebook
            .newest(self.slots.storage(), u16::MAX, |other| other == kind);
        found.map(|(_, entry)| entry)
    }
}

fn event_of(event: &Entry, note: Option<&Entry>) -> Event {
    let mut told = Event {
        counter: event.word(COUNTER_AT),
        kind: match event.content.get(KIND_AT) {
            Some(1) => EventKind::Settings,
            Some(2) => EventKind::RolledBack,
            Some(3) => EventKind::MadeHere,
            _ => EventKind::Table,
        },
        checksum: event.word(CHECKSUM_AT),
        when_s: note.map_or(0, |note| note.word(WHEN_AT)),
        text: heapless::String::new(),
    };
    let text = note.and_then(|note| {
        let length = usize::from(*note.content.get(LENGTH_AT)?);
        let text = note.content.get(TEXT_AT..)?.get(..length)?;
        core::str::from_utf8(text).ok()
    });
    // It was at most NOTE_BYTES when it came.
    let _ = told.text.push_str(text.unwrap_or_default());
    told
}

/// `bytes` from `at` on; what does not fit is cut.
fn put(content: &mut [u8; CONTENT_BYTES], at: usize, bytes: &[u8]) {
    for (to, byte) in content.iter_mut().skip(at).zip(bytes) {
        *to = *byte;
    }
}
