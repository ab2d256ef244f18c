//! What a scale remembers besides its record: changes, preferences, a
//! calibration under way.
//!
//! ```text
//! page:  entry 0 (head)  entry 1  entry 2 …        48 bytes each
//! entry: kind 1   content 43   CRC-32 of both 4
//! ```
//!
//! Entries are only ever appended. Of two pages the one whose head has the newest
//! number is in use; when it is full, what is still wanted of it is copied to the
//! other, whose head is written last. So at every moment one page is whole. An
//! entry that a power cut broke is skipped, and its place is not used again.
//!
//! Owns the order of entries and which of them survive a full page; what they say
//! is their writers' business. A board without pages carries none of this.

use scalewright_protocol::checksum::Running;
use scalewright_protocol::message::Refusal;

use crate::ports::{Slot, Storage};
use crate::shelf::is_newer;

/// Bytes of an entry, and what it may hold.
pub const ENTRY_BYTES: usize = 48;
/// Bytes of content.
pub const CONTENT_BYTES: usize = 43;
/// One change, with its note, for so many entries of a page survives when it is
/// full: 14 on a page of 4 KiB.
const EVENT_SHARE: u16 = 6;

/// What an entry is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Kind {
    /// Head of a page: its number.
    Head = 1,
    /// Who changes what comes next, and why.
    Note = 2,
    /// A change of table or settings.
    Event = 3,
    /// What somebody chose at the indicator.
    Preferences = 4,
    /// A calibration on the scale begins; what came of one before is void.
    WalkBegun = 5,
    /// A step of it.
    WalkStep = 6,
    /// It is over.
    WalkOver = 7,
}

impl Kind {
    const fn from(byte: u8) -> Option<Self> {
        Some(match byte {
            1 => Self::Head,
            2 => Self::Note,
            3 => Self::Event,
            4 => Self::Preferences,
            5 => Self::WalkBegun,
            6 => Self::WalkStep,
            7 => Self::WalkOver,
            _ => return None,
        })
    }

    const fn is_change(self) -> bool {
        matches!(self, Self::Note | Self::Event)
    }

    const fn is_walk(self) -> bool {
        matches!(self, Self::WalkBegun | Self::WalkStep | Self::WalkOver)
    }
}

/// An entry as read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Entry {
    /// What it is.
    pub kind: Kind,
    /// What it says, zeros behind.
    pub content: [u8; CONTENT_BYTES],
}

impl Entry {
    /// An entry of this content; what is too long is cut.
    #[must_use]
    pub fn new(kind: Kind, content: &[u8]) -> Self {
        let mut entry = Self {
            kind,
            content: [0; CONTENT_BYTES],
        };
        for (to, byte) in entry.content.iter_mut().zip(content) {
            *to = *byte;
        }
        entry
    }

    /// Four bytes of the content, lowest first; 0 past its end.
    #[must_use]
    pub fn word(&self, at: usize) -> u32 {
        let bytes = self.content.get(at..).and_then(|rest| rest.first_chunk());
        bytes.map_or(0, |bytes| u32::from_le_bytes(*bytes))
    }
}

/// Place in the notebook: which page, and the next free entry.
#[derive(Clone, Debug)]
pub struct Notebook {
    /// Whether the second page is in use. All zeros at first, as the whole
    /// instrument is: a small chip's image shall not hold it.
    second: bool,
    number: u32,
    /// 0 before anything was ever written.
    next: u16,
}

impl Default for Notebook {
    fn default() -> Self {
        Self::new()
    }
}

/// Entries of a page that outlive it: positions from which on.
struct Kept {
    events: u16,
    preferences: u16,
    walk: u16,
}

impl Notebook {
    /// Nothing is read yet.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            second: false,
            number: 0,
            next: 0,
        }
    }

    /// Finds the page in use. Reads only.
    pub fn open<S: Storage>(&mut self, storage: &mut S) {
        *self = Self::new();
        for second in [false, true] {
            let head = read(storage, page(second), 0).filter(|entry| entry.kind == Kind::Head);
            let Some(number) = head.map(|entry| entry.word(0)) else {
                continue;
            };
            if self.next == 0 || is_newer(number, self.number) {
                let mut next = 1u16;
                while next < capacity::<S>() && !is_erased(storage, page(second), next) {
                    next = next.wrapping_add(1);
                }
                *self = Self {
                    second,
                    number,
                    next,
                };
            }
        }
    }

    /// Appends an entry.
    ///
    /// # Errors
    /// [`Refusal::Storage`] when it does not read back; [`Refusal::Unknown`] on a
    /// board without pages.
    pub fn append<S: Storage>(
        &mut self,
        storage: &mut S,
        kind: Kind,
        content: &[u8],
    ) -> Result<(), Refusal> {
        if S::PAGE_BYTES == 0 {
            return Err(Refusal::Unknown);
        }
        // The place of a broken entry is lost, and the next may be good.
        for _ in 0..4u8 {
            if self.next == 0 || self.next >= capacity::<S>() {
                self.turn_over(storage)?;
            }
            let at = self.next;
            self.next = at.saturating_add(1);
            if write(storage, page(self.second), at, &Entry::new(kind, content)).is_ok() {
                return Ok(());
            }
        }
        Err(Refusal::Storage)
    }

    /// The newest entry that `wanted` takes, with its position, before position
    /// `before`.
    pub fn newest<S: Storage>(
        &self,
        storage: &mut S,
        before: u16,
        wanted: impl Fn(Kind) -> bool,
    ) -> Option<(u16, Entry)> {
        let mut at = before.min(self.next);
        while at > 1 {
            at = at.wrapping_sub(1);
            if let Some(entry) = read(storage, page(self.second), at)
                && wanted(entry.kind)
            {
                return Some((at, entry));
            }
        }
        None
    }

    /// The entry at a position, from 1; nothing where none is or it is broken.
    pub fn at<S: Storage>(&self, storage: &mut S, position: u16) -> Option<Entry> {
        if position == 0 || position >= self.next {
            return None;
        }
        read(storage, page(self.second), position)
    }

    /// Positions in use end here.
    #[must_use]
    pub const fn end(&self) -> u16 {
        self.next
    }

    /// The change `back` before the last, and the note that came with it.
    pub fn event<S: Storage>(&self, storage: &mut S, back: u8) -> Option<(Entry, Option<Entry>)> {
        let mut before = self.next;
        let mut left = back;
        loop {
            let (at, event) = self.newest(storage, before, |kind| kind == Kind::Event)?;
            if left == 0 {
                let told = self.newest(storage, at, Kind::is_change);
                let note = told.map(|(_, entry)| entry);
                return Some((event, note.filter(|entry| entry.kind == Kind::Note)));
            }
            left = left.wrapping_sub(1);
            before = at;
        }
    }

    /// Copies what is still wanted to the other page, which is in use from then
    /// on. Until its head is written the old one is.
    fn turn_over<S: Storage>(&mut self, storage: &mut S) -> Result<(), Refusal> {
        let kept = self.kept(storage);
        let (old, new) = (page(self.second), page(!self.second));
        let mut from = Some(0);
        while let Some(at) = from {
            from = storage.erase(new, at).map_err(|_| Refusal::Storage)?;
        }
        let mut next = 1u16;
        for at in 1..self.next {
            let Some(entry) = read(storage, old, at) else {
                continue;
            };
            let keep = match entry.kind {
                Kind::Head => false,
                Kind::Note | Kind::Event => at >= kept.events,
                Kind::Preferences => at >= kept.preferences,
                Kind::WalkBegun | Kind::WalkStep | Kind::WalkOver => at >= kept.walk,
            };
            // Room for at least one more is left in any case.
            if keep && next.saturating_add(1) < capacity::<S>() {
                write(storage, new, next, &entry)?;
                next = next.wrapping_add(1);
            }
        }
        let number = self.number.wrapping_add(1).max(1);
        let head = Entry::new(Kind::Head, &number.to_le_bytes());
        write(storage, new, 0, &head)?;
        *self = Self {
            second: !self.second,
            number,
            next,
        };
        Ok(())
    }

    fn kept<S: Storage>(&self, storage: &mut S) -> Kept {
        let mut kept = Kept {
            events: self.next,
            preferences: self.next,
            walk: self.next,
        };
        for _ in 0..capacity::<S>() / EVENT_SHARE {
            let Some((at, _)) = self.newest(storage, kept.events, |kind| kind == Kind::Event)
            else {
                break;
            };
            kept.events = at;
        }
        // With the note of the first.
        if let Some((at, told)) = self.newest(storage, kept.events, Kind::is_change)
            && told.kind == Kind::Note
        {
            kept.events = at;
        }
        if let Some((at, _)) = self.newest(storage, self.next, |kind| kind == Kind::Preferences) {
            kept.preferences = at;
        }
        // A calibration that is over leaves nothing.
        let last = self.newest(storage, self.next, Kind::is_walk);
        if last.is_some_and(|(_, entry)| entry.kind != Kind::WalkOver)
            && let Some((at, _)) = self.newest(storage, self.next, |kind| kind == Kind::WalkBegun)
        {
            kept.walk = at;
        }
        kept
    }
}

const fn page(second: bool) -> Slot {
    if second { Slot::NotesB } else { Slot::NotesA }
}

/// Entries of a page.
const fn capacity<S: Storage>() -> u16 {
    let entries = S::PAGE_BYTES / ENTRY_BYTES;
    if entries > 1000 { 1000 } else { entries as u16 }
}

fn place(position: u16) -> usize {
    usize::from(position).wrapping_mul(ENTRY_BYTES)
}

fn check_of(bytes: &[u8]) -> [u8; 4] {
    let mut crc = Running::new();
    for byte in bytes {
        crc.push(*byte);
    }
    crc.finish().to_le_bytes()
}

fn read<S: Storage>(storage: &mut S, page: Slot, position: u16) -> Option<Entry> {
    let mut bytes = [0u8; ENTRY_BYTES];
    storage.read(page, place(position), &mut bytes).ok()?;
    let (said, check) = bytes.split_last_chunk::<4>()?;
    if check_of(said) != *check {
        return None;
    }
    let (kind, content) = said.split_first()?;
    Some(Entry::new(Kind::from(*kind)?, content))
}

fn is_erased<S: Storage>(storage: &mut S, page: Slot, position: u16) -> bool {
    let mut bytes = [0u8; ENTRY_BYTES];
    storage.read(page, place(position), &mut bytes).is_ok()
        && bytes.iter().all(|byte| *byte == 0xFF)
}

/// Writes an entry and reads it back.
fn write<S: Storage>(
    storage: &mut S,
    page: Slot,
    position: u16,
    entry: &Entry,
) -> Result<(), Refusal> {
    let mut bytes = [0u8; ENTRY_BYTES];
    let kind = [entry.kind as u8];
    let said = kind.iter().chain(&entry.content);
    let mut crc = Running::new();
    let mut at = bytes.iter_mut();
    for byte in said {
        crc.push(*byte);
        if let Some(to) = at.next() {
            *to = *byte;
        }
    }
    for byte in crc.finish().to_le_bytes() {
        if let Some(to) = at.next() {
            *to = byte;
        }
    }
    // What counts is what reads back, not what the write says of itself.
    let _ = storage.write(page, place(position), &bytes);
    if read(storage, page, position).as_ref() == Some(entry) {
        Ok(())
    } else {
        Err(Refusal::Storage)
    }
}
