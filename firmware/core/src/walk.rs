//! A calibration at the scale itself, with no laptop near.
//!
//! ```text
//! begin → empty pan → which load? → put it on → (looks like …?) ┐
//!            ↑              ↑__________________________________│ undo
//!         resumed           └→ empty pan again → summary → accept → stored
//! ```
//!
//! Owns the order of things, what has been captured and what becomes of it; whoever
//! draws the screens asks [`Walk::stage`] and calls what a key means. A load becomes a
//! number by the same capture as everywhere ([`crate::capture`]), a table by the curve
//! that the laptop has too ([`scalewright_protocol::curve`]), and it is stored by the
//! same way as one that came over the line. Until [`Walk::accept`] nothing in force is
//! touched.
//!
//! **After a power cut** what was captured is still in the notebook, on boards that
//! keep one: [`Walk::resume`] goes on with it. Zero is taken anew then, since a loose
//! wire or a cold morning may lie between.
//!
//! While a walk is under way the line is refused what would disturb it
//! ([`Refusal::Busy`]).

use heapless::Vec;
use scalewright_protocol::curve::{net_counts, of_captures};
use scalewright_protocol::message::{CaptureFault, CaptureOrder, CaptureState, Captured, Refusal};
use scalewright_protocol::settings::{Conduct, Settings};
use scalewright_protocol::table::{Knot, TableFault};
use scalewright_protocol::units::{divide_to_nearest, product, saturate_i32};

use crate::instrument::Instrument;
use crate::notebook::{CONTENT_BYTES, Kind};
use crate::ports::Storage;

/// Most loads of one calibration.
pub const MOST_LOADS: usize = 12;
/// Conversions averaged for a load, and how long it may take to rest, ms.
const SAMPLES: u16 = 16;
const PATIENCE_MS: u32 = 60_000;
/// A load that reads further from what was said than this share of it is asked
/// about: no cell is bent so much, and no weight is so wrong.
const DOUBT_PARTS: i32 = 40;
/// And less than so many d is no reason.
const DOUBT_D: i32 = 5;
/// Something came when the signal moved by this, ADC counts: a part in 16 000 of the
/// code range.
const ARRIVAL_COUNTS: i32 = 1 << 10;

/// A load as it was taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Taken {
    /// What was said of it, quanta.
    pub mass: i32,
    /// What the converter made of it, above the zero before it, ADC counts.
    pub counts: i32,
    /// Standard deviation of its conversions, q8 counts.
    pub sd_q8: u32,
}

/// Why a walk cannot go on by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Trouble {
    /// The load would not rest, or the converter says nothing.
    Capture(CaptureFault),
    /// The converter was at an end of its range.
    Saturated,
    /// The signal falls under load: the two signal wires are exchanged.
    Falling,
    /// The loads taken make no table.
    Table(TableFault),
    /// It could not be stored.
    Refused(Refusal),
}

/// What the person at the scale is to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stage {
    /// No walk is under way.
    Off,
    /// Empty the pan, then say so.
    EmptyPan,
    /// The empty pan is being taken.
    TakingZero,
    /// Say which load comes next, or that these are all.
    Choose,
    /// Put this load on, quanta.
    PutOn(i32),
    /// It is being taken, quanta.
    Taking(i32),
    /// It was said to be one thing and looks like another, quanta: is it?
    LooksLike {
        /// What was said.
        said: i32,
        /// What it reads by the loads before, or by the table in force.
        reads: i32,
    },
    /// Empty the pan once more, then say so.
    EmptyAgain,
    /// The empty pan is being taken for the second time.
    TakingLast,
    /// All is taken: keep the old table or accept the new one.
    Summary,
    /// The new table is in force.
    Done,
    /// Something is in the way; [`Walk::again`] goes on.
    Trouble(Trouble),
}

/// What a calibration came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Summary {
    /// Loads taken.
    pub loads: u8,
    /// The largest load, quanta.
    pub largest: i32,
    /// How far the loads lie from a straight line from zero to the largest, at most,
    /// quanta, with its sign: what a scale set with one load would show too little.
    pub off_line: i32,
    /// At which load, quanta.
    pub off_line_at: i32,
    /// How far zero moved meanwhile, quanta.
    pub zero_moved: i32,
}

/// A calibration at the scale.
#[derive(Debug)]
pub struct Walk {
    stage: Stage,
    /// Where [`Self::again`] goes on.
    back: Stage,
    settings: Settings,
    zero_q8: i32,
    loads: Vec<Taken, MOST_LOADS>,
    /// The load at hand, not yet believed.
    doubtful: Option<Taken>,
    /// Signal of the load captured last, q8 counts; that of the empty pan where the
    /// load that lies there may be the next.
    rested_q8: i32,
    zero_moved_counts: i32,
}

impl Default for Walk {
    fn default() -> Self {
        Self::new()
    }
}

/// How the content of a [`Kind::WalkStep`] begins.
const STEP_LOAD: u8 = 1;
const STEP_UNDO: u8 = 2;

impl Walk {
    /// None is under way.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            stage: Stage::Off,
            back: Stage::Off,
            settings: crate::BLANK,
            zero_q8: 0,
            loads: Vec::new(),
            doubtful: None,
            rested_q8: 0,
            zero_moved_counts: 0,
        }
    }

    /// What is to be done.
    #[must_use]
    pub const fn stage(&self) -> Stage {
        self.stage
    }

    /// The settings the new table comes with.
    #[must_use]
    pub const fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Loads taken, in the order in which they were.
    #[must_use]
    pub fn loads(&self) -> &[Taken] {
        &self.loads
    }

    /// Begins: nothing is captured yet.
    ///
    /// # Errors
    /// [`Refusal::Sealed`]; [`Refusal::Settings`] for settings that make no sense.
    pub fn begin<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
        settings: Settings,
    ) -> Result<(), Refusal> {
        scale.may_calibrate(&settings)?;
        self.start_over(settings);
        scale.hold_line(true);
        let mut content = [0u8; CONTENT_BYTES];
        let words = [
            settings.quantum_ug,
            settings.max as u32,
            settings.e as u32,
            settings.d as u32,
        ];
        write_words(&mut content, 0, &words);
        // Without a notebook it works as well, but does not outlive a power cut.
        let _ = scale.remember(Kind::WalkBegun, &content);
        Ok(())
    }

    /// Whether the notebook holds a calibration that a power cut ended.
    pub fn is_interrupted<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) -> bool {
        let last = scale
            .recall_any(|kind| matches!(kind, Kind::WalkBegun | Kind::WalkStep | Kind::WalkOver));
        last.is_some_and(|(_, entry)| entry.kind != Kind::WalkOver)
    }

    /// Goes on with an interrupted one: its loads are there, and zero is asked for.
    ///
    /// # Errors
    /// [`Refusal::NotStaging`] when there is none; as [`Self::begin`].
    pub fn resume<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) -> Result<(), Refusal> {
        let (from, begun) = scale
            .recall_any(|kind| kind == Kind::WalkBegun)
            .ok_or(Refusal::NotStaging)?;
        let settings = Settings {
            quantum_ug: begun.word(0),
            max: begun.word(4) as i32,
            e: begun.word(8) as i32,
            d: begun.word(12) as i32,
            ..uncorrected(*scale.settings())
        };
        scale.may_calibrate(&settings)?;
        self.start_over(settings);
        scale.hold_line(true);
        for position in from.saturating_add(1)..scale.notes_end() {
            let Some(entry) = scale.note_at(position) else {
                continue;
            };
            match (entry.kind, entry.content.first()) {
                (Kind::WalkStep, Some(&STEP_LOAD)) => {
                    // More than fit were never written.
                    let _ = self.loads.push(Taken {
                        mass: entry.word(1) as i32,
                        counts: entry.word(5) as i32,
                        sd_q8: entry.word(9),
                    });
                }
                (Kind::WalkStep, Some(&STEP_UNDO)) => {
                    self.loads.pop();
                }
                _ => {}
            }
        }
        Ok(())
    }

    /// An interrupted calibration is given up for good.
    pub fn discard<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) {
        let _ = scale.remember(Kind::WalkOver, &[]);
    }

    /// Net counts of what lies on the pan now; nothing without a signal.
    pub fn net_counts<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &self,
        scale: &Instrument<S, KNOTS, QUEUE>,
    ) -> Option<i32> {
        let out = scale.filter.out();
        let heard = scale.fault.is_none() && out.run > 0;
        heard.then(|| net_counts(out.smooth_q8, self.zero_q8))
    }

    /// What lies on the pan now by what is known of the scale, quanta of the new
    /// settings; nothing before anything is known.
    pub fn reading<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &self,
        scale: &Instrument<S, KNOTS, QUEUE>,
    ) -> Option<i32> {
        self.reads(scale, self.net_counts(scale)?)
    }

    fn start_over(&mut self, settings: Settings) {
        *self = Self {
            stage: Stage::EmptyPan,
            settings: uncorrected(settings),
            ..Self::new()
        };
    }

    /// The pan is empty: take it.
    pub fn pan_is_empty<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) {
        self.stage = match self.stage {
            Stage::EmptyPan => Stage::TakingZero,
            Stage::EmptyAgain => Stage::TakingLast,
            other => other,
        };
        if matches!(self.stage, Stage::TakingZero | Stage::TakingLast) {
            scale.order_capture(&ORDER);
        }
    }

    /// A load of this mass, quanta, comes next. Nothing happens for one that is none,
    /// above Max + 9 e, or when there is no room for another.
    pub fn choose(&mut self, mass: i32) {
        let within = mass > 0 && mass <= self.settings.overload_above();
        if self.stage == Stage::Choose && within && !self.loads.is_full() {
            self.stage = Stage::PutOn(mass);
        }
    }

    /// Back to the choice, without the load at hand.
    pub fn another<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) {
        if matches!(
            self.stage,
            Stage::PutOn(_) | Stage::Taking(_) | Stage::LooksLike { .. }
        ) {
            scale.cancel_capture();
            self.doubtful = None;
            // What lies there may be what is chosen next.
            self.rested_q8 = self.zero_q8;
            self.stage = Stage::Choose;
        }
    }

    /// The load is what was said, whatever it looks like.
    pub fn believe<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) {
        if let Some(taken) = self.doubtful.take() {
            self.keep(scale, taken);
        }
    }

    /// Takes the last load back; whether there was one.
    pub fn undo<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) -> bool {
        let may = matches!(
            self.stage,
            Stage::Choose | Stage::EmptyAgain | Stage::Summary | Stage::Trouble(_)
        );
        if !may || self.loads.pop().is_none() {
            return false;
        }
        let _ = scale.remember(Kind::WalkStep, &[STEP_UNDO]);
        self.rested_q8 = self.zero_q8;
        self.stage = Stage::Choose;
        true
    }

    /// These are all: the empty pan is wanted once more. Nothing happens without a
    /// load.
    pub fn finish(&mut self) {
        if self.stage == Stage::Choose && !self.loads.is_empty() {
            self.stage = Stage::EmptyAgain;
        }
    }

    /// After trouble, back to where it was.
    pub fn again(&mut self) {
        if matches!(self.stage, Stage::Trouble(_)) {
            self.stage = self.back;
        }
    }

    /// Keeps the old table: the walk is over.
    pub fn quit<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) {
        if self.stage != Stage::Off {
            scale.cancel_capture();
            scale.hold_line(false);
            let _ = scale.remember(Kind::WalkOver, &[]);
            self.stage = Stage::Off;
        }
    }

    /// Puts the new table in force.
    pub fn accept<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) {
        if self.stage != Stage::Summary {
            return;
        }
        let stored = self
            .table::<KNOTS>()
            .map_err(Refusal::Table)
            .and_then(|knots| {
                scale.store_here(&self.settings, net_counts(self.zero_q8, 0), &knots)
            });
        match stored {
            Ok(()) => {
                scale.hold_line(false);
                let _ = scale.remember(Kind::WalkOver, &[]);
                self.stage = Stage::Done;
            }
            Err(refusal) => self.trouble(Trouble::Refused(refusal)),
        }
    }

    /// The table that the loads make.
    ///
    /// # Errors
    /// [`TableFault`].
    pub fn table<const KNOTS: usize>(&self) -> Result<Vec<Knot, KNOTS>, TableFault> {
        table_of(&self.loads, &self.settings)
    }

    /// What it came to.
    #[must_use]
    pub fn summary(&self) -> Summary {
        let mut summary = Summary {
            loads: u8::try_from(self.loads.len()).unwrap_or(u8::MAX),
            largest: 0,
            off_line: 0,
            off_line_at: 0,
            zero_moved: 0,
        };
        let Some(top) = self.loads.iter().max_by_key(|taken| taken.counts) else {
            return summary;
        };
        summary.largest = top.mass;
        let by_line =
            |counts: i32| divide_to_nearest(product(top.mass, counts), i64::from(top.counts));
        for taken in &self.loads {
            let off = saturate_i32(i64::from(taken.mass) - by_line(taken.counts));
            if off.unsigned_abs() > summary.off_line.unsigned_abs() {
                (summary.off_line, summary.off_line_at) = (off, taken.mass);
            }
        }
        summary.zero_moved = saturate_i32(by_line(self.zero_moved_counts));
        summary
    }

    /// Looks after what is under way; to be called whenever a sample came.
    pub fn watch<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) {
        match self.stage {
            Stage::PutOn(mass) => {
                // A load is looked at when it rests and is not what lay there.
                let state = scale.signal();
                if let Some(smooth_q8) = state
                    && self.is_new(smooth_q8)
                {
                    scale.order_capture(&ORDER);
                    self.stage = Stage::Taking(mass);
                }
            }
            Stage::TakingZero | Stage::TakingLast | Stage::Taking(_) => {
                match scale.capture.state() {
                    CaptureState::Captured(captured) => self.captured(scale, &captured),
                    CaptureState::Failed(fault) => self.trouble(Trouble::Capture(fault)),
                    // Somebody else's cancel, or a change of input: order it anew.
                    CaptureState::Idle => scale.order_capture(&ORDER),
                    CaptureState::Settling | CaptureState::Averaging { .. } => {}
                }
            }
            _ => {}
        }
    }

    /// Whether a resting signal is another load than the one captured last, and not
    /// the empty pan.
    fn is_new(&self, smooth_q8: i32) -> bool {
        let far = |from_q8: i32| net_counts(smooth_q8, from_q8).unsigned_abs();
        let wanted = ARRIVAL_COUNTS.unsigned_abs();
        far(self.zero_q8) >= wanted && far(self.rested_q8) >= wanted
    }

    fn captured<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
        captured: &Captured,
    ) {
        if captured.saturated {
            self.trouble(Trouble::Saturated);
            return;
        }
        self.rested_q8 = captured.mean_q8;
        match self.stage {
            Stage::TakingZero => {
                self.zero_q8 = captured.mean_q8;
                self.stage = Stage::Choose;
            }
            Stage::TakingLast => {
                self.zero_moved_counts = net_counts(captured.mean_q8, self.zero_q8);
                // The one next to the loads' end: the scale goes on from here.
                self.zero_q8 = captured.mean_q8;
                match self.table::<KNOTS>() {
                    Ok(_) => self.stage = Stage::Summary,
                    Err(fault) => {
                        self.trouble(Trouble::Table(fault));
                        self.back = Stage::Choose;
                    }
                }
            }
            Stage::Taking(mass) => {
                let taken = Taken {
                    mass,
                    counts: net_counts(captured.mean_q8, self.zero_q8),
                    sd_q8: captured.sd_q8,
                };
                if taken.counts < -ARRIVAL_COUNTS {
                    self.trouble(Trouble::Falling);
                    return;
                }
                if taken.counts < ARRIVAL_COUNTS {
                    // It went while it was taken: that is the empty pan.
                    self.stage = Stage::PutOn(mass);
                    return;
                }
                match self.reads(scale, taken.counts) {
                    Some(reads) if self.is_far(mass, reads) => {
                        self.doubtful = Some(taken);
                        self.stage = Stage::LooksLike { said: mass, reads };
                    }
                    _ => self.keep(scale, taken),
                }
            }
            _ => {}
        }
    }

    /// What a load reads by the largest one taken, or by the table in force, quanta of
    /// the new settings; nothing without either.
    fn reads<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &self,
        scale: &Instrument<S, KNOTS, QUEUE>,
        counts: i32,
    ) -> Option<i32> {
        if let Some(top) = self.loads.iter().max_by_key(|taken| taken.counts) {
            let mass = divide_to_nearest(product(top.mass, counts), i64::from(top.counts));
            return Some(saturate_i32(mass));
        }
        let mass = scale.table()?.lookup(counts).mass;
        let there = i64::from(mass).checked_mul(i64::from(scale.settings().quantum_ug))?;
        let here = divide_to_nearest(there, i64::from(self.settings.quantum_ug));
        Some(saturate_i32(here))
    }

    fn is_far(&self, said: i32, reads: i32) -> bool {
        let off = said.abs_diff(reads);
        let share = said.unsigned_abs() / DOUBT_PARTS.unsigned_abs();
        off > share.max(
            self.settings
                .d
                .unsigned_abs()
                .saturating_mul(DOUBT_D.unsigned_abs()),
        )
    }

    fn keep<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
        taken: Taken,
    ) {
        let mut content = [0u8; CONTENT_BYTES];
        if let Some(first) = content.first_mut() {
            *first = STEP_LOAD;
        }
        let words = [taken.mass as u32, taken.counts as u32, taken.sd_q8];
        write_words(&mut content, 1, &words);
        let _ = scale.remember(Kind::WalkStep, &content);
        // The choice was refused if there was no room.
        let _ = self.loads.push(taken);
        self.stage = Stage::Choose;
    }

    fn trouble(&mut self, trouble: Trouble) {
        self.back = match self.stage {
            Stage::TakingZero => Stage::EmptyPan,
            Stage::TakingLast => Stage::EmptyAgain,
            Stage::Taking(mass) => Stage::PutOn(mass),
            other => other,
        };
        self.stage = Stage::Trouble(trouble);
    }
}

/// How every load of a walk is taken; rest by the settings in force.
const ORDER: CaptureOrder = CaptureOrder {
    samples: SAMPLES,
    rest_counts: 0,
    patience_ms: PATIENCE_MS,
};

/// The table that these loads make under these settings.
///
/// # Errors
/// [`TableFault`].
pub fn table_of<const KNOTS: usize>(
    loads: &[Taken],
    settings: &Settings,
) -> Result<Vec<Knot, KNOTS>, TableFault> {
    let knots = loads.iter().map(|taken| Knot {
        counts: taken.counts,
        mass: taken.mass,
    });
    of_captures(knots, settings.overload_above())
}

/// Settings of a scale that takes nothing off for hysteresis: a walk cannot see it.
const fn uncorrected(settings: Settings) -> Settings {
    Settings {
        loop_gain: 0,
        ..settings
    }
}

/// Settings of Max and d as chosen at a scale, keeping the rest of `current`: e = d,
/// and a quantum of d/1000, as the laptop chooses it. `intervals` is Max/d.
#[must_use]
pub fn settings_of(current: &Settings, d_ug: u32, intervals: u32) -> Settings {
    let quantum_ug = (d_ug / 1000).max(1);
    let d = i32::try_from(d_ug / quantum_ug).unwrap_or(i32::MAX);
    let max = i64::from(d).saturating_mul(i64::from(intervals));
    Settings {
        quantum_ug,
        max: saturate_i32(max),
        e: d,
        d,
        conduct: current.conduct.with(Conduct::STARTS_AT_ZERO),
        ..uncorrected(*current)
    }
}

/// Numbers of four bytes, lowest first, from `at` on.
fn write_words(content: &mut [u8; CONTENT_BYTES], at: usize, words: &[u32]) {
    let bytes = words.iter().flat_map(|word| word.to_le_bytes());
    for (to, byte) in content.iter_mut().skip(at).zip(bytes) {
        *to = byte;
    }
}
