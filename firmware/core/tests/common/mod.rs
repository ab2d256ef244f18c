//! What the tests share: a strict flash that loses power, and a laptop that
//! speaks in real frames.
#![allow(dead_code)]

use scalewright_core::instrument::{Event, Identity, Instrument};
use scalewright_core::ports::{Slot, Storage};
use scalewright_protocol::codec::{MAX_FRAME, MAX_PAYLOAD, decode, encode};
use scalewright_protocol::frame::{self, Decoder};
use scalewright_protocol::message::{
    Answer, Ask, KNOTS_PER_MESSAGE, Refusal, Report, Request, Sample, Stage, State,
};
use scalewright_protocol::settings::{Class, Conduct, Input, Settings};
use scalewright_protocol::table::{Knot, knots_checksum};

use scalewright_core::bridge::Conversion;

pub const KNOTS: usize = 16;
pub type Scale = Instrument<Flash, KNOTS>;

pub const IDENTITY: Identity = Identity {
    device_id: 0x4F2A,
    board: "test board",
    firmware: (0, 1, 0),
    rates_sps: &[10, 80],
};

/// The glaze kitchen's bench scale: Max 6 kg, e = 2 g, d = 1 g, quantum 10 mg.
pub fn kitchen() -> Settings {
    Settings {
        quantum_ug: 10_000,
        max: 600_000,
        e: 200,
        d: 100,
        class: Class::III,
        rate_sps: 10,
        input: Input::A128,
        smoothing: 2,
        rest_tenths_d: 5,
        rest_ms: 1000,
        loop_gain: 0,
        conduct: Conduct::default(),
    }
}

/// Three knots, 6.6 kg; 10 counts are about one gram.
pub fn knots() -> Vec<Knot> {
    vec![
        Knot { counts: 0, mass: 0 },
        Knot {
            counts: 30_000,
            mass: 301_000,
        },
        Knot {
            counts: 66_000,
            mass: 660_000,
        },
    ]
}

pub const ZERO: i32 = 50_000;

/// In which order an erase clears bytes; real cells promise none.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EraseOrder {
    Rising,
    Falling,
    /// Every 7th, then the next 7th …: as if by rows.
    Strided,
}

/// Two slots that hold the core to its promises: a byte written twice between
/// erases fails the test. Dies when its fuel (one unit a byte) is used up.
#[derive(Clone, Debug)]
pub struct Flash {
    pub slots: [Vec<u8>; 2],
    /// Of the notebook.
    pub pages: [Vec<u8>; 2],
    written: [Vec<bool>; 4],
    pub fuel: Option<usize>,
    pub used: usize,
    pub order: EraseOrder,
    /// Bytes one call erases.
    pub erase_step: usize,
    /// Refuses writes (not erases) without losing power.
    pub refuse_writes: bool,
    /// Says it wrote, and does not.
    pub forget_writes: bool,
    /// Refuses erases.
    pub refuse_erase: bool,
}

#[derive(Debug)]
pub struct Dead;

impl Flash {
    pub fn new(bytes: usize) -> Self {
        Self::with(vec![0xFF; bytes], vec![0xFF; bytes])
    }

    /// With this content, which counts as written.
    pub fn with(a: Vec<u8>, b: Vec<u8>) -> Self {
        let page = || vec![0xFF; PAGE_BYTES];
        let seen = || vec![true; PAGE_BYTES];
        let written = [vec![true; a.len()], vec![true; b.len()], seen(), seen()];
        Self {
            slots: [a, b],
            pages: [page(), page()],
            written,
            fuel: None,
            used: 0,
            order: EraseOrder::Rising,
            erase_step: usize::MAX,
            refuse_writes: false,
            forget_writes: false,
            refuse_erase: false,
        }
    }

    /// Power comes back.
    pub fn revived(mut self) -> Self {
        self.fuel = None;
        self
    }

    fn burn(&mut self) -> Result<(), Dead> {
        if let Some(fuel) = &mut self.fuel {
            *fuel = fuel.checked_sub(1).ok_or(Dead)?;
        }
        self.used += 1;
        Ok(())
    }
}

/// Bytes of a page: a head and 23 entries.
pub const PAGE_BYTES: usize = 24 * 48;

impl Flash {
    fn area(&mut self, slot: Slot) -> (&mut Vec<u8>, &mut Vec<bool>) {
        let [a, b] = &mut self.slots;
        let [c, d] = &mut self.pages;
        let [of_a, of_b, of_c, of_d] = &mut self.written;
        match slot {
            Slot::A => (a, of_a),
            Slot::B => (b, of_b),
            Slot::NotesA => (c, of_c),
            Slot::NotesB => (d, of_d),
        }
    }
}

impl Storage for Flash {
    type Error = Dead;
    const HAS_ROOM: bool = true;
    const PAGE_BYTES: usize = PAGE_BYTES;

    fn slot_bytes(&self) -> usize {
        self.slots[0].len()
    }

    fn read(&mut self, slot: Slot, offset: usize, into: &mut [u8]) -> Result<(), Dead> {
        if self.fuel == Some(0) {
            return Err(Dead);
        }
        let from = self
            .area(slot)
            .0
            .get(offset..offset + into.len())
            .ok_or(Dead)?;
        into.copy_from_slice(from);
        Ok(())
    }

    fn erase(&mut self, slot: Slot, from: usize) -> Result<Option<usize>, Dead> {
        if self.refuse_erase {
            return Err(Dead);
        }
        let bytes = self.area(slot).0.len();
        let to = from.saturating_add(self.erase_step).min(bytes);
        let order: Vec<usize> = match self.order {
            EraseOrder::Rising => (from..to).collect(),
            EraseOrder::Falling => (from..to).rev().collect(),
            EraseOrder::Strided => (0..7).flat_map(|s| (from + s..to).step_by(7)).collect(),
        };
        for at in order {
            self.burn()?;
            let (bytes, written) = self.area(slot);
            bytes[at] = 0xFF;
            written[at] = false;
        }
        Ok((to < bytes).then_some(to))
    }

    fn write(&mut self, slot: Slot, offset: usize, bytes: &[u8]) -> Result<(), Dead> {
        if self.refuse_writes {
            return Err(Dead);
        }
        if self.forget_writes {
            return Ok(());
        }
        assert!(offset + bytes.len() <= self.area(slot).0.len());
        for (at, byte) in bytes.iter().enumerate() {
            self.burn()?;
            let (held, written) = self.area(slot);
            let (held, written) = (&mut held[offset + at], &mut written[offset + at]);
            // A place never written since an erase may hold what the factory
            // left, if that is erased.
            assert!(
                !*written || *held == 0xFF,
                "byte {} of {slot:?} written twice",
                offset + at
            );
            (*written, *held) = (true, *byte);
        }
        Ok(())
    }
}

pub fn frame_of(id: u16, ask: Ask) -> Vec<u8> {
    let mut out = [0u8; MAX_FRAME];
    let length = encode(&Request { id, ask }, &mut out).unwrap();
    out[..length].to_vec()
}

/// The other end of the line.
pub struct Laptop {
    id: u16,
    decoder: Decoder<{ MAX_PAYLOAD + 4 }>,
    pub samples: Vec<Sample>,
}

impl Laptop {
    pub fn new() -> Self {
        Self {
            id: 0,
            decoder: Decoder::new(),
            samples: Vec::new(),
        }
    }

    /// Every report the scale has to tell; taken from it a few bytes at a time.
    pub fn hear(&mut self, scale: &mut Scale) -> Vec<Report> {
        let mut reports = Vec::new();
        loop {
            if scale.output().is_empty() {
                if !scale.is_storing() {
                    break;
                }
                // The clock does not run backwards for it.
                scale.handle(0, Event::Tick);
                continue;
            }
            let bytes = scale.output();
            let some = bytes[..bytes.len().min(7)].to_vec();
            scale.sent(some.len());
            for byte in some {
                match self.decoder.push(byte) {
                    Some(frame::Event::Payload(payload)) => {
                        let report: Report = decode(payload).unwrap();
                        if let Report::Sample(sample) = &report {
                            self.samples.push(*sample);
                        }
                        reports.push(report);
                    }
                    Some(frame::Event::Broken(fault)) => panic!("the scale sent {fault:?}"),
                    None => {}
                }
            }
        }
        reports
    }

    /// Asks under a fresh number and returns the one reply.
    pub fn ask(&mut self, scale: &mut Scale, now_ms: u32, ask: Ask) -> Result<Answer, Refusal> {
        self.id += 1;
        let id = self.id;
        scale.handle(now_ms, Event::Bytes(&frame_of(id, ask)));
        let mut replies: Vec<Report> = self
            .hear(scale)
            .into_iter()
            .filter(|r| !matches!(r, Report::Sample(_)))
            .collect();
        assert_eq!(replies.len(), 1, "one reply to one request");
        match replies.remove(0) {
            Report::Answer { id: to, answer } if to == id => Ok(answer),
            Report::Refusal { id: to, refusal } if to == id => Err(refusal),
            other => panic!("not a reply to {id}: {other:?}"),
        }
    }

    pub fn state(&mut self, scale: &mut Scale, now_ms: u32) -> State {
        match self.ask(scale, now_ms, Ask::State) {
            Ok(Answer::State(state)) => state,
            other => panic!("no state: {other:?}"),
        }
    }

    /// Stages a whole record; the reply to its last piece, or the first refusal.
    pub fn stage(
        &mut self,
        scale: &mut Scale,
        settings: Settings,
        zero_counts: i32,
        knots: &[Knot],
    ) -> Result<Answer, Refusal> {
        let stage = Stage {
            settings,
            zero_counts,
            knots: knots.len() as u8,
            checksum: knots_checksum(knots),
        };
        let mut last = self.ask(scale, 0, Ask::StageBegin(stage))?;
        for (at, piece) in knots.chunks(KNOTS_PER_MESSAGE).enumerate() {
            let ask = Ask::StageKnots {
                from: (at * KNOTS_PER_MESSAGE) as u8,
                knots: heapless::Vec::from_slice(piece).unwrap(),
            };
            last = self.ask(scale, 0, ask)?;
        }
        Ok(last)
    }

    /// Transfers a whole record; the reply to the commit, or the first refusal.
    pub fn transfer(
        &mut self,
        scale: &mut Scale,
        settings: Settings,
        zero_counts: i32,
        knots: &[Knot],
    ) -> Result<Answer, Refusal> {
        self.stage(scale, settings, zero_counts, knots)?;
        self.ask(scale, 0, Ask::StageCommit)
    }
}

pub fn start(flash: Flash) -> Scale {
    Instrument::new(IDENTITY, flash, kitchen(), 0)
}

/// The scale of the glaze kitchen, sealed.
pub fn sealed() -> Settings {
    Settings {
        conduct: Conduct::SEALED,
        ..kitchen()
    }
}

/// A calibrated scale over erased flash, and its laptop.
pub fn calibrated() -> (Scale, Laptop) {
    let mut scale = start(Flash::new(512));
    let mut laptop = Laptop::new();
    let stored = laptop.transfer(&mut scale, kitchen(), ZERO, &knots());
    assert_eq!(stored, Ok(Answer::Stored { sequence: 1 }));
    (scale, laptop)
}

/// `count` samples of one code from `from_ms` on at 10 a second; the time of
/// the next.
pub fn load(scale: &mut Scale, from_ms: u32, counts: i32, count: u32) -> u32 {
    for n in 0..count {
        let now_ms = from_ms.wrapping_add(n * 100);
        scale.handle(now_ms, Event::Sample(Ok(Conversion::settled(counts))));
    }
    from_ms.wrapping_add(count * 100)
}
