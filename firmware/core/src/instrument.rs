//! The whole scale as one state machine: bytes, samples and time in; bytes out.
//!
//! Owns the order of things: which request is worked on, what a sample touches,
//! when an open wait ends. It never blocks except inside [`Storage`].
//!
//! **One request at a time.** While a reply is unsent, arriving bytes stand in
//! a queue; they are worked on as soon as the reply is out, in order. A board
//! that can hold its line back asks [`Instrument::room`] first. Bytes beyond
//! the queue are lost, which breaks the frame they belong to: that request was
//! never received, and its asker sends it again. Replies are never lost or
//! reordered.
//!
//! **Storing takes steps.** Where a memory is slow, a request that erases or
//! copies is carried out a piece with each tick, so that samples are worked on
//! in between; [`Instrument::is_storing`] says that another piece is due, and
//! the reply comes after the last.
//!
//! **Time never runs backwards.** A sample read while storage was busy may be
//! older than the last event; it is worked on at that event's time.
//!
//! **A wait and what ends it.** An open `Ask::Wait` is answered at its
//! deadline, when a capture ends or when rest begins or ends. If one of these
//! happened since a state was last told, it is answered at once: nothing falls
//! between two waits. The same request again changes nothing; another request
//! has the wait answered first. Only a Hello under the wait's own number drops
//! it unanswered: its asker is a new one that would take the answer for its own.
//!
//! **After a fault** of the ADC the filter starts clean; the first sound
//! conversion ends the fault.
//!
//! **Hysteresis** is remembered load by load, at rest, where the settings have a width
//! to correct by; without one nothing is. With each record, at power-on and after
//! zero-setting the cell counts as exercised and empty.

use heapless::Deque;
use scalewright_protocol::codec::MAX_PAYLOAD;
use scalewright_protocol::frame::Decoder;
use scalewright_protocol::hysteresis::Plays;
use scalewright_protocol::message::{LOG_BYTES, State};
use scalewright_protocol::settings::{Conduct, Input, Settings};
use scalewright_protocol::table::Table;
use scalewright_protocol::tags::report;
use scalewright_protocol::units::reached_ms;

use crate::BLANK;
use crate::bridge::{BridgeFault, Conversion};
use crate::capture::Capture;
use crate::conversation::Wait;
use crate::filter::Filter;
use crate::indication::Reference;
use crate::notebook::Notebook;
use crate::outbox::Outbox;
use crate::ports::Storage;
use crate::rest::Rest;
use crate::slots::{Limits, Slots};

/// Bytes that may arrive while a reply is unsent, unless a board chooses
/// otherwise: one frame of any length.
pub const QUEUE_BYTES: usize = 128;

/// What a board says of itself.
#[derive(Clone, Copy, Debug)]
pub struct Identity {
    /// Number of this one device.
    pub device_id: u32,
    /// Kind of board, at most 16 bytes.
    pub board: &'static str,
    /// Firmware version: major, minor, patch.
    pub firmware: (u8, u8, u8),
    /// Rates of the ADC, conversions per second.
    pub rates_sps: &'static [u16],
}

/// Before a scale is started.
pub(crate) const UNKNOWN: Identity = Identity {
    device_id: 0,
    board: "",
    firmware: (0, 0, 0),
    rates_sps: &[],
};

/// What happens to a scale.
#[derive(Clone, Copy, Debug)]
pub enum Event<'a> {
    /// Time went by.
    Tick,
    /// Bytes arrived.
    Bytes(&'a [u8]),
    /// The ADC delivered, or cannot.
    Sample(Result<Conversion, BridgeFault>),
}

/// A scale with a table of up to `KNOTS` knots and a queue of `QUEUE` bytes.
pub struct Instrument<S: Storage, const KNOTS: usize, const QUEUE: usize = QUEUE_BYTES> {
    pub(crate) identity: Option<Identity>,
    pub(crate) slots: Slots<S>,
    pub(crate) settings: Settings,
    pub(crate) table: Option<Table<KNOTS>>,
    pub(crate) reference: Reference,
    pub(crate) fell_back: bool,
    pub(crate) other_layout: bool,
    /// The table in force is not the stored one.
    pub(crate) trial: bool,
    /// Settings and table may not be written.
    pub(crate) sealed: bool,
    unlocked: bool,
    /// A calibration at the scale itself is under way.
    pub(crate) held: bool,
    pub(crate) notebook: Notebook,
    /// Initial zero-setting was done, or its moment is over: a table that comes later
    /// shall not make the load of that moment zero.
    pub(crate) started: bool,
    /// Zero-tracking moved last, or could not, at that time.
    pub(crate) followed_ms: u32,
    /// Until then it stands still.
    pub(crate) zero_held_ms: Option<u32>,
    pub(crate) capture: Capture,
    /// Send one of so many samples; 0 sends none.
    pub(crate) stream_every: u8,
    pub(crate) stream_left: u8,
    /// A capture ended or rest changed since a state was last told.
    pub(crate) untold: bool,
    pub(crate) rest_limit_q8: u32,
    pub(crate) fault: Option<BridgeFault>,
    pub(crate) filter: Filter,
    pub(crate) rest: Rest,
    pub(crate) stable: bool,
    /// The step shown last, and how firmly it stays, quanta: see
    /// [`crate::calm`].
    pub(crate) shown: i32,
    pub(crate) keep: u32,
    pub(crate) sequence: u32,
    pub(crate) now_ms: u32,
    pub(crate) decoder: Decoder<{ MAX_PAYLOAD + 4 }>,
    queue: Deque<u8, QUEUE>,
    pub(crate) outbox: Outbox,
    pub(crate) last_id: Option<u16>,
    /// The request in the decoder stands behind the reply on its way.
    pub(crate) pending: bool,
    pub(crate) wait: Option<Wait>,
    /// The request whose storing is under way.
    pub(crate) chore: Option<u16>,
}

impl<S: Storage, const KNOTS: usize, const QUEUE: usize> Instrument<S, KNOTS, QUEUE> {
    /// A scale just switched on: the newest sound record is in force, else
    /// `factory` without a table. Zero is the reference stored at calibration.
    pub fn new(identity: Identity, storage: S, factory: Settings, now_ms: u32) -> Self {
        let mut scale = Self::switched_off(storage);
        scale.start(identity, factory, now_ms);
        scale
    }

    /// A scale before [`Self::start`]. A constant, so that a board with little
    /// RAM has it in its static memory from the first and never on its stack;
    /// and nothing but zeros, so that its image takes no flash.
    #[must_use]
    pub const fn switched_off(storage: S) -> Self {
        Self {
            identity: None,
            slots: Slots::new(storage),
            settings: BLANK,
            rest_limit_q8: 0,
            rest: Rest::new(),
            table: None,
            reference: Reference::stored(0),
            fell_back: false,
            other_layout: false,
            trial: false,
            sealed: false,
            unlocked: false,
            held: false,
            notebook: Notebook::new(),
            started: false,
            followed_ms: 0,
            zero_held_ms: None,
            capture: Capture::idle(),
            stream_every: 0,
            stream_left: 0,
            untold: false,
            fault: None,
            filter: Filter::new(),
            stable: false,
            shown: 0,
            keep: 0,
            sequence: 0,
            now_ms: 0,
            decoder: Decoder::new(),
            queue: Deque::new(),
            outbox: Outbox::new(),
            last_id: None,
            pending: false,
            wait: None,
            chore: None,
        }
    }

    /// The storage, for a board that keeps something of its own there.
    pub const fn storage(&mut self) -> &mut S {
        self.slots.storage()
    }

    /// Finds the record in force; called once, before all else. Without one,
    /// `factory` is in force and no table.
    pub fn start(&mut self, identity: Identity, factory: Settings, now_ms: u32) {
        self.identity = Some(identity);
        self.now_ms = now_ms;
        let limits = self.limits();
        let boot = self.slots.boot(&limits, &mut self.table);
        if boot.found {
            self.adopt();
        } else {
            self.settings = factory;
        }
        self.adopt_rest();
        self.fell_back = boot.fell_back;
        self.other_layout = boot.other_layout;
        self.followed_ms = now_ms;
        self.seal();
        if S::PAGE_BYTES > 0 {
            self.notebook.open(self.slots.storage());
        }
    }

    /// The key for it was held when the scale was switched on: what is sealed may
    /// be written until it is switched off.
    pub const fn unlock(&mut self) {
        self.unlocked = true;
        self.sealed = false;
    }

    /// Whether settings and table may not be written now.
    #[must_use]
    pub const fn is_sealed(&self) -> bool {
        self.sealed
    }

    pub(crate) const fn seal(&mut self) {
        self.sealed = !self.unlocked && self.settings.conduct.has(Conduct::SEALED);
    }

    /// Takes what happened at `now_ms`.
    pub fn handle(&mut self, now_ms: u32, event: Event<'_>) {
        if reached_ms(now_ms, self.now_ms) {
            self.now_ms = now_ms;
        }
        match event {
            Event::Tick => self.step_chore(),
            Event::Bytes(bytes) => {
                // What was due before these bytes comes before them.
                self.watch();
                for byte in bytes {
                    if self.is_busy() || !self.queue.is_empty() {
                        // Beyond the queue bytes are lost: see the module's head.
                        let _ = self.queue.push_back(*byte);
                    } else {
                        self.receive(*byte);
                    }
                }
            }
            Event::Sample(Ok(conversion)) => self.sample(conversion),
            Event::Sample(Err(fault)) => {
                self.fault = Some(fault);
                self.forget_samples();
                self.capture.silence();
            }
        }
        self.note_rest();
        self.watch();
    }

    /// When [`Event::Tick`] is due at the latest, ms; none when only bytes or
    /// samples can change anything.
    #[must_use]
    pub fn next_deadline_ms(&self) -> Option<u32> {
        let wait = self.wait.map(|w| w.deadline_ms);
        if self.is_storing() {
            return Some(self.now_ms);
        }
        match (wait, self.capture.deadline_ms()) {
            (Some(a), Some(b)) => Some(if reached_ms(a, b) { b } else { a }),
            (a, b) => a.or(b),
        }
    }

    /// Bytes to send now. After sending some, [`Self::sent`] must be called
    /// before the next [`Self::handle`].
    #[must_use]
    pub fn output(&self) -> &[u8] {
        self.outbox.output()
    }

    /// The first `bytes` of [`Self::output`] are on the line.
    pub fn sent(&mut self, bytes: usize) {
        self.outbox.sent(bytes);
        while !self.is_replying() && !self.is_storing() {
            if core::mem::take(&mut self.pending) {
                self.take_up();
            } else if let Some(byte) = self.queue.pop_front() {
                self.receive(byte);
            } else {
                break;
            }
        }
        self.watch();
    }

    /// Bytes that can surely be taken by the next [`Event::Bytes`].
    #[must_use]
    pub fn room(&self) -> usize {
        QUEUE.saturating_sub(self.queue.len())
    }

    /// Whether storing is under way: [`Event::Tick`] is due at once.
    #[must_use]
    pub const fn is_storing(&self) -> bool {
        self.chore.is_some()
    }

    /// Sends a piece of the firmware's log, at most [`LOG_BYTES`], if there is
    /// room; says whether there was.
    pub fn log(&mut self, bytes: &[u8]) -> bool {
        bytes.len() <= LOG_BYTES
            && self.outbox.event(|pen| {
                pen.u8(report::LOG);
                pen.bytes(bytes);
            })
    }

    /// Whether a wait is open: time is being waited for.
    #[must_use]
    pub const fn waiting(&self) -> bool {
        self.wait.is_some()
    }

    /// Input and rate (conversions per second) the board shall select.
    #[must_use]
    pub const fn adc(&self) -> (Input, u16) {
        (self.settings.input, self.settings.rate_sps)
    }

    /// What the board says of itself.
    #[must_use]
    pub const fn identity(&self) -> &Identity {
        match &self.identity {
            Some(identity) => identity,
            None => &UNKNOWN,
        }
    }

    /// Tare in use, quanta; 0 for none.
    #[must_use]
    pub const fn tare(&self) -> i32 {
        self.reference.tare
    }

    /// Forgets the tare.
    pub const fn clear_tare(&mut self) {
        self.reference.tare = 0;
    }

    /// Records stored so far: changes of table or settings.
    #[must_use]
    pub const fn changes(&self) -> u32 {
        self.slots.sequence()
    }

    /// Settings in force.
    #[must_use]
    pub const fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Table in force.
    #[must_use]
    pub const fn table(&self) -> Option<&Table<KNOTS>> {
        self.table.as_ref()
    }

    /// The state at `now_ms`. With no filtered sample (see the flags) the
    /// smoothed signal reads 0 and there is no mass.
    #[must_use]
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn state(&self, now_ms: u32) -> State {
        let weighed = self.weigh();
        State {
            at_ms: now_ms,
            sequence: self.sequence,
            smooth_q8: self.filter.out().smooth_q8,
            spread_q8: self.rest.spread_q8(),
            zero_counts: self.reference.zero_counts,
            mass: weighed.map(|w| w.mass),
            indication: self.indication(weighed.as_ref()),
            flags: self.flags(weighed.as_ref()),
            capture: self.capture.state(),
            correction: weighed.map_or(0, |w| w.correction),
        }
    }

    /// The storage, back; for tests and for a board that restarts.
    pub fn into_storage(self) -> S {
        self.slots.into_storage()
    }

    pub(crate) fn limits(&self) -> Limits {
        Limits {
            rates_sps: self.identity().rates_sps,
            knots: KNOTS,
        }
    }

    /// Puts the record that the slots came upon in force. Its own zero reference
    /// comes with it, and no tare: neither can be carried over to another table.
    /// Filtered samples are kept unless they are no longer comparable.
    pub(crate) fn adopt(&mut self) {
        self.reference = Reference::stored(self.slots.record().zero_counts);
        self.adopt_settings();
    }

    /// Puts the settings of that record in force.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub(crate) fn adopt_settings(&mut self) {
        let now = &self.slots.record().settings;
        let comparable = self.settings.input == now.input
            && self.settings.rate_sps == now.rate_sps
            && self.settings.smoothing == now.smoothing;
        self.settings = *now;
        self.reference.plays = Plays::exercised();
        self.fell_back = false;
        self.other_layout = false;
        self.adopt_rest();
        if !comparable {
            self.forget_samples();
            self.capture.interrupt();
        }
        self.note_rest();
    }
}
