//! Log lines (defmt) on their way into the instrument's own frames.
//!
//! Owns the ring they wait in. A line that finds no room is cut off; the
//! decoder finds the next one. The interrupt that samples never logs.

use core::cell::UnsafeCell;

use defmt::{Encoder, global_logger};
use scalewright_core::instrument::Instrument;
use scalewright_core::ports::Storage;
use scalewright_protocol::message::LOG_BYTES;

/// Bytes that may wait.
const ROOM: usize = 512;

struct Ring {
    bytes: [u8; ROOM],
    head: usize,
    length: usize,
}

impl Ring {
    fn put(&mut self, bytes: &[u8]) {
        for byte in bytes {
            if self.length == ROOM {
                return;
            }
            if let Some(place) = self.bytes.get_mut((self.head + self.length) % ROOM) {
                *place = *byte;
            }
            self.length += 1;
        }
    }
}

struct Shared {
    ring: UnsafeCell<Ring>,
    encoder: UnsafeCell<Encoder>,
    section: UnsafeCell<critical_section::RestoreState>,
}

// SAFETY: touched between `acquire` and `release`, or by `peek` and `drop`,
// always with interrupts off.
unsafe impl Sync for Shared {}

static SHARED: Shared = Shared {
    ring: UnsafeCell::new(Ring {
        bytes: [0; ROOM],
        head: 0,
        length: 0,
    }),
    encoder: UnsafeCell::new(Encoder::new()),
    section: UnsafeCell::new(critical_section::RestoreState::invalid()),
};

fn put(bytes: &[u8]) {
    // SAFETY: called by the encoder only, between `acquire` and `release`.
    unsafe { (*SHARED.ring.get()).put(bytes) };
}

#[global_logger]
struct Logger;

// SAFETY: a critical section stands from `acquire` to `release`, so no two
// lines mix; nothing in it logs.
unsafe impl defmt::Logger for Logger {
    fn acquire() {
        // SAFETY: released by `release`, which defmt always calls.
        unsafe {
            *SHARED.section.get() = critical_section::acquire();
            (*SHARED.encoder.get()).start_frame(put);
        }
    }

    unsafe fn flush() {}

    unsafe fn release() {
        // SAFETY: ends what `acquire` began.
        unsafe {
            (*SHARED.encoder.get()).end_frame(put);
            critical_section::release(*SHARED.section.get());
        }
    }

    unsafe fn write(bytes: &[u8]) {
        // SAFETY: between `acquire` and `release`.
        unsafe { (*SHARED.encoder.get()).write(bytes, put) };
    }
}

/// Offers the oldest bytes to the instrument, which takes them when it has
/// room for an event.
pub fn offer<S: Storage, const KNOTS: usize>(instrument: &mut Instrument<S, KNOTS>) {
    let mut piece = [0; LOG_BYTES];
    let count = peek(&mut piece);
    if let Some(bytes @ [_, ..]) = piece.get(..count)
        && instrument.log(bytes)
    {
        forget(count);
    }
}

/// Copies the oldest bytes to `into`; how many.
fn peek(into: &mut [u8]) -> usize {
    critical_section::with(|_| {
        // SAFETY: interrupts are off.
        let ring = unsafe { &*SHARED.ring.get() };
        let mut count = 0;
        for (to, at) in into.iter_mut().zip(0..ring.length) {
            if let Some(byte) = ring.bytes.get((ring.head + at) % ROOM) {
                *to = *byte;
            }
            count += 1;
        }
        count
    })
}

/// Forgets the oldest `count` bytes.
fn forget(count: usize) {
    critical_section::with(|_| {
        // SAFETY: interrupts are off.
        let ring = unsafe { &mut *SHARED.ring.get() };
        let count = count.min(ring.length);
        ring.head = (ring.head + count) % ROOM;
        ring.length -= count;
    });
}
