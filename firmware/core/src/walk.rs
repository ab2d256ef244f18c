//! A calibration at the scale itself, with no laptop near.
//!
//! ```text
//! begin → empty pan → (not empty?) → which load? → put it on → (looks like …?) ┐
//!            ↑                           ↑_______________________________________│ undo
//!         resumed                        └→ empty pan again → (not empty?) → summary
//!                                                                 accept → stored
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

mod kept;
mod outcome;
mod taking;

use heapless::Vec;
use scalewright_protocol::curve::net_counts;
use scalewright_protocol::message::{CaptureFault, Refusal};
use scalewright_protocol::settings::{Conduct, Settings};
use scalewright_protocol::table::TableFault;
use scalewright_protocol::units::saturate_i32;

pub use self::outcome::{Summary, table_of};

use self::kept::STEP_UNDO;
use self::taking::ORDER;
use crate::instrument::Instrument;
use crate::notebook::Kind;
use crate::ports::Storage;

/// Most loads of one calibration.
pub const MOST_LOADS: usize = 12;

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
    /// The pan was said to be empty and reads this, quanta: is it?
    NotEmpty(i32),
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
/// A calibration at the scale.
#[derive(Debug)]
pub struct Walk {
    stage: Stage,
    /// Where [`Self::again`] goes on.
    back: Stage,
    settings: Settings,
    /// Signal of the empty pan, q8 counts: as taken, and until then as the scale had it.
    zero_q8: i32,
    loads: Vec<Taken, MOST_LOADS>,
    /// The load at hand, not yet believed.
    doubtful: Option<Taken>,
    /// Signal of what was captured last, q8 counts; that of the empty pan where the
    /// load that lies there may be the next.
    rested_q8: i32,
    zero_moved_counts: i32,
}

impl Default for Walk {
    fn default() -> Self {
        Self::new()
    }
}

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

    fn start_over(&mut self, settings: Settings, zero_q8: i32) {
        *self = Self {
            stage: Stage::EmptyPan,
            settings: uncorrected(settings),
            zero_q8,
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

    /// What was taken for the empty pan is it, whatever it reads.
    pub fn believe_empty<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) {
        if !matches!(self.stage, Stage::NotEmpty(_)) {
            return;
        }
        if self.back == Stage::EmptyAgain {
            self.keep_last::<KNOTS>();
        } else {
            self.keep_zero(scale);
        }
    }

    /// After a signal that fell below the empty pan: everything anew, since what was
    /// taken for it was not.
    pub fn anew<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) {
        if self.stage == Stage::Trouble(Trouble::Falling) {
            let settings = self.settings;
            // It may have been sealed meanwhile; then this says so when it is stored.
            let _ = self.begin(scale, settings);
        }
    }

    /// The empty pan is wanted once more before the next load.
    pub fn zero_again(&mut self) {
        if self.stage == Stage::Choose {
            self.stage = Stage::EmptyPan;
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

    /// After trouble, or for a pan that was not empty, back to where it was.
    pub fn again(&mut self) {
        if matches!(self.stage, Stage::Trouble(_) | Stage::NotEmpty(_)) {
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

    fn trouble(&mut self, trouble: Trouble) {
        self.turn_aside(Stage::Trouble(trouble));
    }

    /// To a stage from which [`Self::again`] leads back.
    fn turn_aside(&mut self, to: Stage) {
        self.back = match self.stage {
            Stage::TakingZero => Stage::EmptyPan,
            Stage::TakingLast => Stage::EmptyAgain,
            Stage::Taking(mass) => Stage::PutOn(mass),
            other => other,
        };
        self.stage = to;
    }
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
