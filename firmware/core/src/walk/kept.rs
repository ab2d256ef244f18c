//! What a walk leaves in the notebook, and how it goes on with that after a power cut.
//!
//! Owns the form of these notes: settings at the beginning, then each empty pan, each
//! load and each one taken back. Where a board keeps no notebook all of it is refused
//! and nothing is lost but this.

use scalewright_protocol::message::Refusal;
use scalewright_protocol::settings::Settings;

use super::{Stage, Taken, Walk, uncorrected};
use crate::instrument::Instrument;
use crate::notebook::{CONTENT_BYTES, Kind};
use crate::ports::Storage;

/// How the content of a [`Kind::WalkStep`] begins.
const STEP_LOAD: u8 = 1;
pub(super) const STEP_UNDO: u8 = 2;
const STEP_ZERO: u8 = 3;

impl Walk {
    /// Begins: nothing is captured yet.
    ///
    /// # Errors
    /// [`Refusal::Sealed`]; [`Refusal::Settings`] for settings that make no sense.
    pub fn begin<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
        settings: Settings,
    ) -> Result<(), Refusal> {
        scale.may_calibrate(&settings)?;
        self.start_over(settings, scale.zero_q8());
        scale.hold_line(true);
        let mut content = [0u8; CONTENT_BYTES];
        let words = [
            settings.quantum_ug,
            settings.max as u32,
            settings.e as u32,
            settings.d as u32,
        ];
        write_words(&mut content, 0, &words);
        // Without a notebook it works as well, but does not outlive a power cut.
        let _ = scale.remember(Kind::WalkBegun, &content);
        Ok(())
    }

    /// Whether the notebook holds a calibration that a power cut ended.
    pub fn is_interrupted<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) -> bool {
        let last = scale
            .recall_any(|kind| matches!(kind, Kind::WalkBegun | Kind::WalkStep | Kind::WalkOver));
        last.is_some_and(|(_, entry)| entry.kind != Kind::WalkOver)
    }

    /// Goes on with an interrupted one: its loads are there, and zero is asked for.
    ///
    /// # Errors
    /// [`Refusal::NotStaging`] when there is none; as [`Self::begin`].
    pub fn resume<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) -> Result<(), Refusal> {
        let (from, begun) = scale
            .recall_any(|kind| kind == Kind::WalkBegun)
            .ok_or(Refusal::NotStaging)?;
        let settings = Settings {
            quantum_ug: begun.word(0),
            max: begun.word(4) as i32,
            e: begun.word(8) as i32,
            d: begun.word(12) as i32,
            ..uncorrected(*scale.settings())
        };
        scale.may_calibrate(&settings)?;
        self.start_over(settings, scale.zero_q8());
        scale.hold_line(true);
        for position in from.saturating_add(1)..scale.notes_end() {
            let Some(entry) = scale.note_at(position) else {
                continue;
            };
            match (entry.kind, entry.content.first()) {
                (Kind::WalkStep, Some(&STEP_LOAD)) => {
                    // More than fit were never written.
                    let _ = self.loads.push(Taken {
                        mass: entry.word(1) as i32,
                        counts: entry.word(5) as i32,
                        sd_q8: entry.word(9),
                    });
                }
                (Kind::WalkStep, Some(&STEP_UNDO)) => {
                    self.loads.pop();
                }
                (Kind::WalkStep, Some(&STEP_ZERO)) => self.zero_q8 = entry.word(1) as i32,
                _ => {}
            }
        }
        Ok(())
    }

    /// An interrupted calibration is given up for good.
    pub fn discard<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) {
        let _ = scale.remember(Kind::WalkOver, &[]);
    }

    /// What was captured last is the empty pan, before the loads.
    pub(super) fn keep_zero<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) {
        self.zero_q8 = self.rested_q8;
        let content = step(STEP_ZERO, &[self.zero_q8 as u32]);
        let _ = scale.remember(Kind::WalkStep, &content);
        self.stage = Stage::Choose;
    }

    pub(super) fn keep<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
        taken: Taken,
    ) {
        let words = [taken.mass as u32, taken.counts as u32, taken.sd_q8];
        let content = step(STEP_LOAD, &words);
        let _ = scale.remember(Kind::WalkStep, &content);
        // The choice was refused if there was no room.
        let _ = self.loads.push(taken);
        self.stage = Stage::Choose;
    }
}

/// The content of a [`Kind::WalkStep`].
fn step(begins: u8, words: &[u32]) -> [u8; CONTENT_BYTES] {
    let mut content = [0u8; CONTENT_BYTES];
    if let Some(first) = content.first_mut() {
        *first = begins;
    }
    write_words(&mut content, 1, words);
    content
}

/// Numbers of four bytes, lowest first, from `at` on.
fn write_words(content: &mut [u8; CONTENT_BYTES], at: usize, words: &[u32]) {
    let bytes = words.iter().flat_map(|word| word.to_le_bytes());
    for (to, byte) in content.iter_mut().skip(at).zip(bytes) {
        *to = byte;
    }
}
