//! A queue between an interrupt and the main loop.
//!
//! Owns a fixed number of places; refuses what finds none free. Made of cells,
//! so that it can stand in a `Mutex` and be used by both sides without unsafe
//! code and without a check that could panic.

use core::cell::Cell;

/// A queue of `N` places, a power of two up to 128.
pub struct Ring<T: Copy, const N: usize> {
    items: Cell<[T; N]>,
    first: Cell<u8>,
    held: Cell<u8>,
}

impl<T: Copy, const N: usize> Ring<T, N> {
    const MASK: u8 = {
        assert!(N.is_power_of_two() && N <= 128);
        (N - 1) as u8
    };

    /// An empty queue; `filler` stands in places never used.
    pub const fn new(filler: T) -> Self {
        Self {
            items: Cell::new([filler; N]),
            first: Cell::new(0),
            held: Cell::new(0),
        }
    }

    /// Puts `item` at the end; says whether there was a place for it.
    pub fn push(&self, item: T) -> bool {
        let held = self.held.get();
        let at = self.first.get().wrapping_add(held) & Self::MASK;
        match self.items.as_array_of_cells().get(usize::from(at)) {
            Some(place) if held <= Self::MASK => {
                place.set(item);
                self.held.set(held.wrapping_add(1));
                true
            }
            _ => false,
        }
    }

    /// Whether nothing is held.
    pub fn is_empty(&self) -> bool {
        self.held.get() == 0
    }

    /// The oldest item, which stays.
    pub fn peek(&self) -> Option<T> {
        let place = usize::from(self.first.get() & Self::MASK);
        let item = self.items.as_array_of_cells().get(place)?.get();
        (!self.is_empty()).then_some(item)
    }

    /// Takes the oldest item.
    pub fn pop(&self) -> Option<T> {
        let item = self.peek()?;
        self.first
            .set(self.first.get().wrapping_add(1) & Self::MASK);
        self.held.set(self.held.get().wrapping_sub(1));
        Some(item)
    }
}
