//! The front of a scale: indicator and calibration together, as a board uses them.

use super::calibrating::Calibrating;
use super::painter::Tile;
use super::strip::Strip;
use super::{Guest, Indicator};
use crate::instrument::Instrument;
use crate::ports::Storage;

/// Display and keys of a scale.
#[derive(Debug)]
pub struct Front {
    indicator: Indicator,
    calibrating: Calibrating,
}

impl Front {
    /// Of a scale that was just started: what was chosen before is in use, and a
    /// calibration that a power cut ended is asked about.
    pub fn new<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        now_ms: u32,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) -> Self {
        let mut front = Self {
            indicator: Indicator::new(now_ms),
            calibrating: Calibrating::new(),
        };
        front.indicator.recall(scale);
        front.calibrating.open_interrupted(now_ms, scale);
        if front.calibrating.is_open() {
            front.indicator.admit();
        }
        front
    }

    /// The indicator.
    #[must_use]
    pub const fn indicator(&self) -> &Indicator {
        &self.indicator
    }

    /// The calibration.
    #[must_use]
    pub const fn calibrating(&self) -> &Calibrating {
        &self.calibrating
    }

    /// Forgets what is shown: the display was plugged in anew.
    pub const fn repaint(&mut self) {
        self.indicator.repaint();
    }

    /// One turn of the board's loop, after each sample at the latest; see
    /// [`Indicator::turn`].
    pub fn turn<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        now_ms: u32,
        down: u8,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) {
        let was_open = self.calibrating.is_open();
        if let Some(press) = self.indicator.turn(now_ms, down, scale) {
            self.calibrating.press(now_ms, press, scale);
        }
        if self.indicator.calibration_asked() && !scale.is_sealed() {
            self.calibrating.open(now_ms, scale);
            self.indicator.admit();
        }
        self.calibrating.watch(now_ms, scale);
        if was_open && !self.calibrating.is_open() {
            self.indicator.dismiss();
        }
    }

    /// A whole page as it is to be; see [`Indicator::page`].
    #[must_use]
    pub fn page<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &self,
        now_ms: u32,
        scale: &Instrument<S, KNOTS, QUEUE>,
        page: u8,
    ) -> Strip {
        if !self.calibrating.is_open() {
            return self.indicator.page(now_ms, scale, None, page);
        }
        if let Some(number) = self.calibrating.number() {
            return self.indicator.page(now_ms, scale, Some(&number), page);
        }
        let said = self.calibrating.said(scale);
        let guest = Guest::Leaf(said.leaf());
        self.indicator.page(now_ms, scale, Some(&guest), page)
    }

    /// The next piece of the display to send; see [`Indicator::paint`].
    pub fn paint<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        now_ms: u32,
        scale: &Instrument<S, KNOTS, QUEUE>,
    ) -> Option<Tile> {
        if !self.calibrating.is_open() {
            return self.indicator.paint(now_ms, scale, None);
        }
        if let Some(number) = self.calibrating.number() {
            return self.indicator.paint(now_ms, scale, Some(&number));
        }
        let said = self.calibrating.said(scale);
        self.indicator
            .paint(now_ms, scale, Some(&Guest::Leaf(said.leaf())))
    }
}
