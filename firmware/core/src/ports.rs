//! What the core needs from a board and cannot have by embedded-hal alone.

/// A part of the memory that is erased by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Slot {
    /// The first place a record can live in.
    A,
    /// The second.
    B,
    /// The first page of the notebook, on boards that keep one.
    NotesA,
    /// The second.
    NotesB,
}

impl Slot {
    /// The other of its kind.
    #[must_use]
    pub const fn other(self) -> Self {
        match self {
            Self::A => Self::B,
            Self::B => Self::A,
            Self::NotesA => Self::NotesB,
            Self::NotesB => Self::NotesA,
        }
    }
}

/// Memory that survives a power cut: two slots of NOR flash or EEPROM and, on
/// boards with room, two pages for the [`crate::notebook`].
///
/// The core keeps to the stricter of the two kinds: it writes each byte at most
/// once between two erases, and takes an erased byte to read 0xFF. A board
/// whose memory wants whole pages fills the rest of a page with 0xFF, which
/// leaves NOR cells as they are.
pub trait Storage {
    /// What can go wrong; shown to developers only.
    type Error: core::fmt::Debug;

    /// Whether the chip has flash to spare for what a scale can do without: weighing
    /// with a table on trial and zero-tracking. A constant, as the next is.
    const HAS_ROOM: bool = false;

    /// Bytes of one page of the notebook; 0 where a board keeps none. A constant,
    /// so that such a board carries no code for it.
    const PAGE_BYTES: usize = 0;

    /// Bytes of one slot; both are of the same size.
    fn slot_bytes(&self) -> usize;

    /// Fills `into` from `offset` on.
    ///
    /// # Errors
    /// When the memory cannot be read or the range leaves the slot.
    fn read(&mut self, slot: Slot, offset: usize, into: &mut [u8]) -> Result<(), Self::Error>;

    /// Makes some bytes of `slot` from offset `from` on 0xFF, and says where to
    /// go on; `None` when the slot is erased to its end. The other slot is not
    /// touched, even when power dies on the way.
    ///
    /// A memory that erases byte by byte does a few at a time, so that samples
    /// are worked on in between; one that erases whole sectors does all at once.
    ///
    /// # Errors
    /// When the memory refuses.
    fn erase(&mut self, slot: Slot, from: usize) -> Result<Option<usize>, Self::Error>;

    /// Writes `bytes` from `offset` on, in rising order; bytes around them are
    /// not touched.
    ///
    /// # Errors
    /// When the memory refuses or the range leaves the slot.
    fn write(&mut self, slot: Slot, offset: usize, bytes: &[u8]) -> Result<(), Self::Error>;
}

/// Runs a few instructions with nothing in between.
///
/// The two-wire converter powers down when its clock line stays high for 60 us;
/// an interrupt inside a pulse could do that.
pub trait Critical {
    /// What `f` returns, run with interrupts held off.
    fn run<R>(&mut self, f: impl FnOnce() -> R) -> R;
}

/// A [`Critical`] for hosts and chips without interrupts: just runs.
#[derive(Clone, Copy, Debug, Default)]
pub struct Unguarded;

impl Critical for Unguarded {
    fn run<R>(&mut self, f: impl FnOnce() -> R) -> R {
        f()
    }
}
