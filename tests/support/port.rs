//! A far end of a serial port that is not our scale, or not quite: a
//! pseudo-terminal and a thread that misbehaves on it. Unix only.

use std::io::{Read, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::Duration;

use scalewright_protocol::codec::{MAX_FRAME, MAX_PAYLOAD, decode, encode};
use scalewright_protocol::frame::{self, Decoder, Event};
use scalewright_protocol::message::{Answer, Ask, Hello, Report, Request};
use serialport::{SerialPort, TTYPort};

/// A port somebody else answers on, until dropped.
pub struct Stranger {
    path: String,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Stranger {
    /// A port on which `manners` hears the bytes that come (often none) and
    /// returns those to send, or `None` to pull the plug.
    pub fn new(mut manners: impl FnMut(&[u8]) -> Option<Vec<u8>> + Send + 'static) -> Self {
        let (mut master, slave) = TTYPort::pair().expect("a pseudo-terminal");
        let path = slave.name().expect("it has a name");
        drop(slave);
        let stop = Arc::new(AtomicBool::new(false));
        let asked = Arc::clone(&stop);
        let thread = std::thread::spawn(move || {
            let mut heard = [0; 256];
            while !asked.load(Ordering::Relaxed) {
                let _ = master.set_timeout(Duration::from_millis(5));
                let count = match master.read(&mut heard) {
                    Ok(count) => count,
                    Err(_) => {
                        // Nothing came, or nobody holds the port.
                        std::thread::sleep(Duration::from_millis(2));
                        0
                    }
                };
                let Some(said) = manners(&heard[..count]) else {
                    return;
                };
                let _ = master.set_timeout(Duration::from_millis(20));
                let _ = master.write(&said);
            }
        });
        Self {
            path,
            stop,
            thread: Some(thread),
        }
    }

    /// A port that takes everything and says nothing.
    pub fn silent() -> Self {
        Self::new(|_| Some(Vec::new()))
    }

    /// A device that answers each request with the bytes `reply` makes.
    pub fn answering(mut reply: impl FnMut(&Request) -> Option<Vec<u8>> + Send + 'static) -> Self {
        let mut decoder: Decoder<{ MAX_PAYLOAD + 4 }> = Decoder::new();
        Self::new(move |heard| {
            let mut said = Vec::new();
            for byte in heard {
                let Some(Event::Payload(payload)) = decoder.push(*byte) else {
                    continue;
                };
                if let Ok(request) = decode::<Request>(payload) {
                    said.extend(reply(&request)?);
                }
            }
            Some(said)
        })
    }

    pub fn path(&self) -> &str {
        &self.path
    }
}

impl Drop for Stranger {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// One message as a frame.
pub fn framed(report: &Report) -> Vec<u8> {
    let mut bytes = [0; MAX_FRAME];
    let length = encode(report, &mut bytes).expect("it fits");
    bytes[..length].to_vec()
}

/// Any payload as a frame.
pub fn framed_payload(payload: &[u8]) -> Vec<u8> {
    let mut bytes = [0; MAX_FRAME];
    let length = frame::encode(payload, &mut bytes).expect("it fits");
    bytes[..length].to_vec()
}

/// The greeting of a device of this wire version, if that was asked for.
pub fn greeting(request: &Request, wire_version: u16) -> Option<Report> {
    let Ask::Hello { .. } = request.ask else {
        return None;
    };
    Some(Report::Answer {
        id: request.id,
        answer: Answer::Hello(Hello {
            wire_version,
            firmware: (9, 0, 1),
            device_id: 0x0000_6B11,
            board: "kiln shelf".try_into().expect("short"),
            max_knots: 16,
            rates_sps: [10].into_iter().collect(),
            slot_bytes: 1024,
            max_payload: 96,
        }),
    })
}
