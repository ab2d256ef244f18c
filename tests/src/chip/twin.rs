//! What the host's own build of the firmware core makes of the same codes.
//!
//! The twin is the same instrument compiled for this machine. It is given every
//! code the chip read, at the chip's own time, and every request in the place
//! where the chip worked on it, which the order of the chip's reports tells.
//! Every report of the chip must then be the twin's: samples in all fields, and
//! states, captures, tables, settings and refusals likewise. Left out are the
//! moments at which a wait is answered, which depend on the line.

use std::collections::{HashMap, VecDeque};

use scalewright_bench::flash::{FlashFault, FlashImage, SimFlash};
use scalewright_core::FACTORY;
use scalewright_core::bridge::{Conversion, SETTLING_CONVERSIONS};
use scalewright_core::instrument::{Event, Identity, Instrument};
use scalewright_core::ports::{Slot, Storage};
use scalewright_protocol::codec::{MAX_FRAME, MAX_PAYLOAD, decode, encode};
use scalewright_protocol::frame::{Decoder, Event as FrameEvent};
use scalewright_protocol::message::{Answer, Ask, Flags, Report, Request, Sample, State};

/// How much was compared.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Compared {
    /// Samples, in every field.
    pub samples: usize,
    /// States, in every field but the moment.
    pub states: usize,
    /// Other replies, in every field.
    pub replies: usize,
    /// Samples that the chip worked on and had no room to send.
    pub unsent: usize,
}

/// The flash of a board that has no room for a notebook and the like.
struct Scanty(SimFlash);

impl Storage for Scanty {
    type Error = FlashFault;

    fn slot_bytes(&self) -> usize {
        self.0.slot_bytes()
    }
    fn read(&mut self, slot: Slot, offset: usize, into: &mut [u8]) -> Result<(), FlashFault> {
        self.0.read(slot, offset, into)
    }
    fn erase(&mut self, slot: Slot, from: usize) -> Result<Option<usize>, FlashFault> {
        self.0.erase(slot, from)
    }
    fn write(&mut self, slot: Slot, offset: usize, bytes: &[u8]) -> Result<(), FlashFault> {
        self.0.write(slot, offset, bytes)
    }
}

/// The instrument as the chip's board has it.
enum Core {
    Whole(Box<Instrument<SimFlash, 32>>),
    Scanty(Box<Instrument<Scanty, 32>>),
}

/// The same of either.
macro_rules! either {
    ($core:expr, $scale:ident => $what:expr) => {
        match $core {
            Core::Whole($scale) => $what,
            Core::Scanty($scale) => $what,
        }
    };
}

/// The twin.
pub struct Twin {
    scale: Core,
    decoder: Decoder<{ MAX_PAYLOAD + 4 }>,
    /// Codes read and not yet worked on: when, at which rate, and the code.
    codes: VecDeque<(u64, u16, i32)>,
    asks: HashMap<u16, Ask>,
    settling: u8,
    rate_sps: u16,
    /// Device time is virtual time less this, us.
    boot_us: Option<u64>,
    samples: VecDeque<Sample>,
    answers: Vec<Report>,
    /// How much was compared.
    pub compared: Compared,
}

impl Twin {
    /// A twin of a chip that was just switched on with empty memory.
    #[must_use]
    pub fn new(identity: Identity) -> Self {
        let flash = SimFlash::new(FlashImage::erased());
        let scale = if identity.board == "atmega328p" {
            let scale = Instrument::new(identity, Scanty(flash), FACTORY, 0);
            Core::Scanty(Box::new(scale))
        } else {
            Core::Whole(Box::new(Instrument::new(identity, flash, FACTORY, 0)))
        };
        Self {
            rate_sps: FACTORY.rate_sps,
            scale,
            decoder: Decoder::new(),
            codes: VecDeque::new(),
            asks: HashMap::new(),
            settling: SETTLING_CONVERSIONS,
            boot_us: None,
            samples: VecDeque::new(),
            answers: Vec::new(),
            compared: Compared::default(),
        }
    }

    /// The chip read a code of a converter that works at this rate.
    pub fn read(&mut self, at_us: u64, rate_sps: u16, code: i32) {
        self.codes.push_back((at_us, rate_sps, code));
    }

    /// A request goes to the chip.
    pub fn asked(&mut self, request: &Request) {
        self.asks.insert(request.id, request.ask.clone());
    }

    /// The chip said this; the twin must agree.
    ///
    /// # Panics
    /// When it does not.
    pub fn said(&mut self, report: &Report) {
        match report {
            Report::Sample(sample) => self.sample(sample),
            Report::Log { .. } => {}
            Report::Answer { id, answer } => self.answer(*id, answer, report),
            Report::Refusal { id, .. } => {
                self.work_on(*id);
                self.replied(report);
            }
        }
    }

    fn sample(&mut self, theirs: &Sample) {
        if self.boot_us.is_none() {
            self.find_boot(theirs);
        }
        loop {
            while self.samples.is_empty() {
                assert!(self.feed_code(), "the chip knows a code that it never read");
            }
            let ours = self.samples.pop_front();
            if ours.is_some_and(|ours| ours.sequence < theirs.sequence) {
                // The line was busy with something longer; or it stood before
                // samples were asked for.
                self.compared.unsent += usize::from(self.compared.samples > 0);
                continue;
            }
            assert_eq!(Some(*theirs), ours, "sample");
            break;
        }
        self.compared.samples += 1;
    }

    /// The first sample tells how the chip's clock lies to virtual time: the
    /// code that completed it was read at its time. A code is read at a tick, so
    /// the fraction of a millisecond is the same for all.
    fn find_boot(&mut self, first: &Sample) {
        let before = usize::from(SETTLING_CONVERSIONS);
        let at = before + first.sequence as usize - 1;
        let (at_us, ..) = self.codes.get(at).copied().expect("the code of the sample");
        self.boot_us = Some(at_us - u64::from(first.at_ms) * 1000);
    }

    /// Works on the next code; whether there was one.
    fn feed_code(&mut self) -> bool {
        let Some((at_us, rate_sps, code)) = self.codes.pop_front() else {
            return false;
        };
        // The driver counts what settles from the switch of the rate on; one
        // that was read before still lies in the chip's queue then.
        if rate_sps != self.rate_sps {
            self.rate_sps = rate_sps;
            self.settling = SETTLING_CONVERSIONS;
        }
        let boot_us = self.boot_us.expect("the first sample comes first");
        // Half a millisecond forgives how long reading took.
        let now_ms = ((at_us + 500).saturating_sub(boot_us) / 1000) as u32;
        let mut conversion = Conversion::settled(code);
        conversion.settling = self.settling > 0;
        self.settling = self.settling.saturating_sub(1);
        self.tell(now_ms, Event::Sample(Ok(conversion)));
        true
    }

    fn tell(&mut self, now_ms: u32, event: Event<'_>) {
        either!(&mut self.scale, scale => scale.handle(now_ms, event));
        loop {
            let saying = either!(&self.scale, scale => scale.output().to_vec());
            if saying.is_empty() {
                if !either!(&self.scale, scale => scale.is_storing()) {
                    break;
                }
                either!(&mut self.scale, scale => scale.handle(now_ms, Event::Tick));
                continue;
            }
            either!(&mut self.scale, scale => scale.sent(saying.len()));
            for byte in saying {
                if let Some(FrameEvent::Payload(payload)) = self.decoder.push(byte) {
                    match decode::<Report>(payload).expect("our own report") {
                        Report::Sample(sample) => self.samples.push_back(sample),
                        other => self.answers.push(other),
                    }
                }
            }
        }
    }

    /// Gives the twin request `id`, as the chip has just done.
    fn work_on(&mut self, id: u16) {
        let Some(ask) = self.asks.remove(&id) else {
            return;
        };
        let mut frame = [0u8; MAX_FRAME];
        let length = encode(&Request { id, ask }, &mut frame).expect("a request");
        self.tell(0, Event::Bytes(&frame[..length]));
    }

    fn answer(&mut self, id: u16, answer: &Answer, report: &Report) {
        if let Answer::State(theirs) = answer {
            self.state(id, theirs);
            return;
        }
        self.work_on(id);
        self.replied(report);
    }

    fn replied(&mut self, report: &Report) {
        let ours = (!self.answers.is_empty()).then(|| self.answers.remove(0));
        // A device number is the chip's own.
        let (theirs, ours) = (numberless(report), ours.as_ref().map(numberless));
        assert_eq!(Some(theirs), ours, "reply");
        self.compared.replies += 1;
    }

    fn state(&mut self, id: u16, theirs: &State) {
        let waited = matches!(self.asks.remove(&id), Some(Ask::Wait { .. }));
        if self.boot_us.is_none() {
            return;
        }
        // A wait may be answered before its last sample went out.
        let mut ours = either!(&self.scale, scale => scale.state(theirs.at_ms));
        while ours.sequence != theirs.sequence && self.feed_code() {
            ours = either!(&self.scale, scale => scale.state(theirs.at_ms));
        }
        // What settles after a change of rate counts no sample.
        while theirs.flags.has(Flags::SETTLING)
            && !ours.flags.has(Flags::SETTLING)
            && self.feed_code()
        {
            ours = either!(&self.scale, scale => scale.state(theirs.at_ms));
        }
        assert_eq!(*theirs, ours, "state (after a wait: {waited})");
        self.compared.states += 1;
    }

    /// The table in force at the twin, as knots.
    #[must_use]
    pub fn knots(&self) -> Vec<scalewright_protocol::table::Knot> {
        either!(&self.scale, scale => scale
            .table()
            .map_or(Vec::new(), |t| t.knots().to_vec()))
    }
}

fn numberless(report: &Report) -> Report {
    let mut report = report.clone();
    if let Report::Answer {
        answer: Answer::Hello(hello),
        ..
    } = &mut report
    {
        hello.device_id = 0;
        hello.slot_bytes = 0;
        hello.max_knots = 0;
    }
    report
}
