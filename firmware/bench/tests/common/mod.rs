//! A small laptop for the bench's own tests: asks, listens, keeps every byte.
#![allow(dead_code)]

#[cfg(unix)]
use std::io::{Read, Write};
use std::time::Duration;

use scalewright_bench::BenchStream;
use scalewright_protocol::codec::{MAX_FRAME, MAX_PAYLOAD, decode, encode};
use scalewright_protocol::frame::{Decoder, Event};
use scalewright_protocol::message::{
    Answer, Ask, CaptureOrder, CaptureState, Captured, Refusal, Report, Request, Sample, State,
};

/// Either kind of line to a bench.
pub trait Link {
    fn send(&mut self, bytes: &[u8]);
    /// Bytes read; 0 when none came in time.
    fn receive(&mut self, into: &mut [u8]) -> usize;
}

impl Link for BenchStream {
    fn send(&mut self, bytes: &[u8]) {
        assert_eq!(self.write(bytes), bytes.len());
    }

    fn receive(&mut self, into: &mut [u8]) -> usize {
        self.read(into, Duration::ZERO)
    }
}

#[cfg(unix)]
impl Link for Box<dyn serialport::SerialPort> {
    fn send(&mut self, bytes: &[u8]) {
        self.write_all(bytes).expect("write to the port");
    }

    fn receive(&mut self, into: &mut [u8]) -> usize {
        self.read(into).unwrap_or(0)
    }
}

pub struct Laptop<L> {
    pub link: L,
    decoder: Decoder<{ MAX_PAYLOAD + 4 }>,
    id: u16,
    /// Every byte the device said.
    pub transcript: Vec<u8>,
    /// Every sample that came along.
    pub samples: Vec<Sample>,
    /// Broken frames seen.
    pub broken: usize,
}

impl<L: Link> Laptop<L> {
    pub fn new(link: L) -> Self {
        Self {
            link,
            decoder: Decoder::new(),
            id: 0,
            transcript: Vec::new(),
            samples: Vec::new(),
            broken: 0,
        }
    }

    /// One request, said again up to `times` with the same number until its
    /// reply comes; `None` when it never does.
    pub fn try_ask(&mut self, ask: Ask, times: usize) -> Option<Result<Answer, Refusal>> {
        self.id = self.id.wrapping_add(1);
        let mut bytes = [0; MAX_FRAME];
        let request = Request { id: self.id, ask };
        let length = encode(&request, &mut bytes).expect("fits");
        for _ in 0..times {
            self.link.send(&bytes[..length]);
            if let Some(result) = self.await_reply() {
                return Some(result);
            }
        }
        None
    }

    fn await_reply(&mut self) -> Option<Result<Answer, Refusal>> {
        let mut chunk = [0; 256];
        let mut found = None;
        while found.is_none() {
            let count = self.link.receive(&mut chunk);
            if count == 0 {
                return None;
            }
            self.transcript.extend_from_slice(&chunk[..count]);
            for byte in &chunk[..count] {
                let payload = match self.decoder.push(*byte) {
                    Some(Event::Payload(payload)) => payload,
                    Some(Event::Broken(_)) => {
                        self.broken += 1;
                        continue;
                    }
                    None => continue,
                };
                match decode::<Report>(payload) {
                    Ok(Report::Answer { id, answer }) if id == self.id => found = Some(Ok(answer)),
                    Ok(Report::Refusal { id, refusal }) if id == self.id => {
                        found = Some(Err(refusal));
                    }
                    Ok(Report::Sample(sample)) => self.samples.push(sample),
                    _ => {}
                }
            }
        }
        found
    }

    pub fn ask(&mut self, ask: Ask) -> Answer {
        self.try_ask(ask.clone(), 1)
            .unwrap_or_else(|| panic!("no reply to {ask:?}"))
            .unwrap_or_else(|refusal| panic!("{ask:?} refused: {refusal:?}"))
    }

    pub fn wait(&mut self, up_to_ms: u16) -> State {
        match self.ask(Ask::Wait { up_to_ms }) {
            Answer::State(state) => state,
            other => panic!("not a state: {other:?}"),
        }
    }

    /// Lets `ms` of device time pass, through every reason to wake.
    pub fn pass(&mut self, ms: u32) -> State {
        let began = self.state().at_ms;
        loop {
            let state = self.state();
            let left = ms.saturating_sub(state.at_ms.wrapping_sub(began));
            if left == 0 {
                return state;
            }
            self.wait(left.min(10_000) as u16);
        }
    }

    pub fn state(&mut self) -> State {
        match self.ask(Ask::State) {
            Answer::State(state) => state,
            other => panic!("not a state: {other:?}"),
        }
    }

    pub fn capture(&mut self, samples: u16, rest_counts: u32) -> Captured {
        self.ask(Ask::Capture(CaptureOrder {
            samples,
            rest_counts,
            patience_ms: 60_000,
        }));
        loop {
            match self.wait(10_000).capture {
                CaptureState::Captured(captured) => return captured,
                CaptureState::Settling | CaptureState::Averaging { .. } => {}
                other => panic!("no capture: {other:?}"),
            }
        }
    }
}

/// A laptop on an in-process bench.
pub fn in_process(spec: scalewright_bench::BenchSpec) -> Laptop<BenchStream> {
    Laptop::new(BenchStream::open(spec).expect("the bench opens"))
}

/// ADC counts of a captured mean.
pub fn counts(captured: &Captured) -> f64 {
    f64::from(captured.mean_q8) / 256.0
}
