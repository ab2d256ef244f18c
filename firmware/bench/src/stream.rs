//! The bench inside the host's own process: bytes in, bytes out, no threads.
//!
//! The board moves while somebody reads. For populations, for tests, and for
//! systems without a pseudo-terminal.

use std::time::{Duration, Instant};

use crate::board::Board;
use crate::desk::Desk;
use crate::pace::Pacer;
use crate::{BenchFault, BenchSpec};

/// A duplex stream with a whole scale at its far end.
#[derive(Debug)]
pub struct BenchStream {
    board: Board,
    pacer: Pacer,
    out: Vec<u8>,
    read: usize,
}

impl BenchStream {
    /// Switches a bench on.
    ///
    /// # Errors
    /// [`BenchFault`] when the table asked for cannot be brought into flash.
    pub fn open(spec: BenchSpec) -> Result<Self, BenchFault> {
        let pacer = Pacer::new(spec.pace);
        Ok(Self {
            board: spec.board()?,
            pacer,
            out: Vec::new(),
            read: 0,
        })
    }

    /// The handle for the pan and for faults.
    #[must_use]
    pub fn desk(&self) -> Desk {
        self.board.desk()
    }

    /// Sends bytes to the device; all of them are taken.
    pub fn write(&mut self, bytes: &[u8]) -> usize {
        self.board.feed(bytes, &mut self.out);
        bytes.len()
    }

    /// Reads what the device says, letting its time run if it must; how many
    /// bytes came. 0 means that nothing will come: the device has said all and
    /// its time stands still, which no waiting would change, so `timeout` is
    /// not spent on it. At [`crate::Pace::Free`] 0 means that `timeout` passed.
    pub fn read(&mut self, into: &mut [u8], timeout: Duration) -> usize {
        let began = Instant::now();
        while self.read == self.out.len() {
            self.out.clear();
            self.read = 0;
            if self.pacer.turn(&mut self.board, &mut self.out) {
                continue;
            }
            if !self.pacer.is_free() || began.elapsed() >= timeout {
                return 0;
            }
            std::thread::sleep(Duration::from_millis(1));
        }
        let waiting = &self.out[self.read..];
        let count = waiting.len().min(into.len());
        into[..count].copy_from_slice(&waiting[..count]);
        self.read += count;
        count
    }
}
