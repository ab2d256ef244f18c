//! A scale on a pseudo-terminal that says of itself what it is told to, and
//! says something else once it has been flashed.

use std::io::{Read, Write};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::Duration;

use scalewright_protocol::WIRE_VERSION;
use scalewright_protocol::codec::{MAX_FRAME, MAX_PAYLOAD, decode, encode};
use scalewright_protocol::frame::{Decoder, Event};
use scalewright_protocol::message::{
    Answer, Ask, CaptureState, Flags, Hello, Refusal, Report, Request, State, TableHeader,
};
use serialport::{SerialPort, TTYPort};

/// What a scale says of itself.
#[derive(Clone, Copy)]
pub struct Persona {
    pub board: &'static str,
    pub device_id: u32,
    pub firmware: (u8, u8, u8),
    pub wire_version: u16,
    pub points: u8,
    pub flags: Flags,
    /// Its log, sent in pieces after each hello; the second is damaged.
    pub log: &'static [u8],
}

impl Persona {
    /// A calibrated scale on `board`.
    pub fn calibrated(board: &'static str) -> Self {
        Self {
            board,
            device_id: 0x4F2A,
            firmware: (0, 3, 0),
            wire_version: WIRE_VERSION,
            points: 16,
            flags: Flags(0),
            log: &[],
        }
    }

    /// The same without a table.
    pub fn empty(board: &'static str) -> Self {
        Self {
            points: 0,
            ..Self::calibrated(board)
        }
    }

    fn answer(&self, ask: &Ask) -> Option<Answer> {
        Some(match ask {
            Ask::Hello { .. } => Answer::Hello(Hello {
                wire_version: self.wire_version,
                firmware: self.firmware,
                device_id: self.device_id,
                board: self.board.try_into().ok()?,
                max_knots: 16,
                rates_sps: [10, 80].iter().copied().collect(),
                slot_bytes: 352,
                max_payload: MAX_PAYLOAD as u16,
            }),
            Ask::Table => Answer::Table(TableHeader {
                sequence: 3,
                knots: self.points,
                checksum: u32::from(self.points) * 0x0101_0101,
                zero_counts: 0,
                previous: false,
            }),
            Ask::State => Answer::State(State {
                at_ms: 0,
                sequence: 0,
                smooth_q8: 0,
                spread_q8: 0,
                zero_counts: 0,
                mass: None,
                indication: None,
                flags: self.flags,
                capture: CaptureState::Idle,
                correction: 0,
            }),
            _ => return None,
        })
    }
}

/// Bytes of a log in one piece; short, so that lines are cut.
const PIECE: usize = 5;

fn log_frames(log: &[u8]) -> Vec<u8> {
    let mut all = Vec::new();
    for (index, piece) in log.chunks(PIECE).enumerate() {
        let report = Report::Log {
            bytes: piece.iter().copied().collect(),
        };
        let mut bytes = [0; MAX_FRAME];
        let length = encode(&report, &mut bytes).expect("it fits");
        if index == 1 {
            bytes[length / 2] ^= 0x40;
        }
        all.extend(&bytes[..length]);
    }
    all
}

/// The scale, until dropped.
pub struct FarEnd {
    path: String,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl FarEnd {
    /// `before` answers until the file `flashed` is there, then `after`; nobody
    /// for none.
    pub fn new(before: Option<Persona>, after: Option<Persona>, flashed: PathBuf) -> Self {
        let (mut master, slave) = TTYPort::pair().expect("a pseudo-terminal");
        let path = slave.name().expect("it has a name");
        drop(slave);
        let stop = Arc::new(AtomicBool::new(false));
        let asked = Arc::clone(&stop);
        let thread = std::thread::spawn(move || {
            let mut decoder: Decoder<{ MAX_PAYLOAD + 4 }> = Decoder::new();
            let mut heard = [0; 256];
            let _ = master.set_timeout(Duration::from_millis(5));
            while !asked.load(Ordering::Relaxed) {
                let Ok(count) = master.read(&mut heard) else {
                    // Nothing came, or nobody holds the port.
                    std::thread::sleep(Duration::from_millis(2));
                    continue;
                };
                for byte in &heard[..count] {
                    let Some(Event::Payload(payload)) = decoder.push(*byte) else {
                        continue;
                    };
                    let Ok(Request { id, ask }) = decode(payload) else {
                        continue;
                    };
                    let who = if flashed.exists() { after } else { before };
                    let Some(who) = who else { continue };
                    let report = match who.answer(&ask) {
                        Some(answer) => Report::Answer { id, answer },
                        None => Report::Refusal {
                            id,
                            refusal: Refusal::Unknown,
                        },
                    };
                    let mut bytes = [0; MAX_FRAME];
                    let length = encode(&report, &mut bytes).expect("it fits");
                    let _ = master.write_all(&bytes[..length]);
                    if matches!(ask, Ask::Hello { .. }) {
                        let _ = master.write_all(&log_frames(who.log));
                    }
                }
            }
        });
        Self {
            path,
            stop,
            thread: Some(thread),
        }
    }

    pub fn path(&self) -> &str {
        &self.path
    }
}

impl Drop for FarEnd {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}
