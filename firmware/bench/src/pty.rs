//! The bench behind a pseudo-terminal: to the host it is a serial port like any
//! other. The only file of the bench that needs a Unix.
//!
//! What differs from a cable: baud rate and DTR mean nothing, and what is said
//! while nobody holds the port is lost.

use std::io::{ErrorKind, Read, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use serialport::{SerialPort, TTYPort};

use crate::board::Board;
use crate::desk::{Desk, Pan};
use crate::operator::LoadOrder;
use crate::pace::Pacer;
use crate::weights::Weight;
use crate::{BenchFault, BenchSpec};

/// Longest sleep with nothing to do: bytes that arrive cut it short.
const LISTEN: Duration = Duration::from_millis(5);
/// Pause while nobody holds the port, when reading fails at once.
const NOBODY: Duration = Duration::from_millis(2);
/// Bytes per write: less than what a pseudo-terminal that can take anything
/// takes whole, so that a write does not block.
const CHUNK: usize = 128;
/// Unsent bytes above which the board rests until the host has read.
const BACKLOG: usize = 16 * 1024;
/// Longest wait for the thread to end: a host that holds the port and never
/// reads could block a write for ever.
const GRACE: Duration = Duration::from_secs(1);

/// A running bench. Dropping it switches the bench off.
#[derive(Debug)]
pub struct BenchHandle {
    desk: Desk,
    path: String,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

/// Switches a bench on behind a new pseudo-terminal, served by a thread.
///
/// # Errors
/// [`BenchFault`] when there is no pseudo-terminal to be had, or the table
/// asked for cannot be brought into flash.
pub fn open(spec: BenchSpec) -> Result<BenchHandle, BenchFault> {
    let pacer = Pacer::new(spec.pace);
    let board = spec.board()?;
    let terminal = |what: String| BenchFault::Terminal(what);
    let (master, slave) = TTYPort::pair().map_err(|e| terminal(e.to_string()))?;
    let path = slave
        .name()
        .ok_or_else(|| terminal("the pseudo-terminal has no name".into()))?;
    // A port that stays open here would look busy to the host.
    drop(slave);
    let stop = Arc::new(AtomicBool::new(false));
    let desk = board.desk();
    let asked = Arc::clone(&stop);
    let thread = std::thread::Builder::new()
        .name("bench".into())
        .spawn(move || serve(master, board, pacer, &asked))
        .map_err(|e| terminal(e.to_string()))?;
    Ok(BenchHandle {
        desk,
        path,
        stop,
        thread: Some(thread),
    })
}

impl BenchHandle {
    /// The port's path, for the host to open.
    #[must_use]
    pub fn path(&self) -> &str {
        &self.path
    }

    /// The handle for the pan and for faults.
    #[must_use]
    pub fn desk(&self) -> Desk {
        self.desk.clone()
    }

    /// Switches the bench off and waits for it.
    pub fn stop(mut self) {
        self.end();
    }

    fn end(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        let Some(thread) = self.thread.take() else {
            return;
        };
        let began = Instant::now();
        while !thread.is_finished() {
            if began.elapsed() > GRACE {
                return;
            }
            std::thread::sleep(Duration::from_millis(1));
        }
        // A panic of the bench is nothing the host could mend.
        let _ = thread.join();
    }
}

impl Drop for BenchHandle {
    fn drop(&mut self) {
        self.end();
    }
}

impl Pan for BenchHandle {
    fn ask(&self, load: LoadOrder) {
        self.desk.ask(load);
    }

    fn correct(&self) {
        self.desk.correct();
    }

    fn true_load_g(&self) -> f64 {
        self.desk.true_load_g()
    }

    fn weights(&self) -> Vec<Weight> {
        self.desk.weights()
    }
}

/// The thread: write, read, let the board move, until told to stop.
fn serve(mut master: TTYPort, mut board: Board, mut pacer: Pacer, stop: &AtomicBool) {
    let mut out = Vec::new();
    let mut incoming = [0; 512];
    let mut moving = false;
    while !stop.load(Ordering::Relaxed) {
        let blocked = !send(&mut master, &mut out);
        let listen = if moving && !blocked {
            Duration::ZERO
        } else {
            LISTEN
        };
        // Only the port's own record of the time-out changes: it cannot fail.
        let _ = master.set_timeout(listen);
        match master.read(&mut incoming) {
            Ok(count) => board.feed(&incoming[..count], &mut out),
            Err(e) if matches!(e.kind(), ErrorKind::TimedOut | ErrorKind::Interrupted) => {}
            Err(_) => {
                // Nobody holds the port. Time goes on if a wait is open.
                out.clear();
                if !moving {
                    std::thread::sleep(NOBODY);
                }
            }
        }
        moving = false;
        for _ in 0..pacer.moves_at_once() {
            if out.len() > BACKLOG || !pacer.turn(&mut board, &mut out) {
                break;
            }
            moving = !pacer.is_free();
        }
    }
}

/// Sends what the terminal takes; whether all is sent.
fn send(master: &mut TTYPort, out: &mut Vec<u8>) -> bool {
    let mut sent = 0;
    // Only the port's own record of the time-out changes: it cannot fail.
    let _ = master.set_timeout(Duration::ZERO);
    while sent < out.len() {
        let end = out.len().min(sent + CHUNK);
        match master.write(&out[sent..end]) {
            Ok(0) => break,
            Ok(count) => sent += count,
            Err(e) if e.kind() == ErrorKind::Interrupted => {}
            Err(_) => break,
        }
    }
    out.drain(..sent);
    out.is_empty()
}
