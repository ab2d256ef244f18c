//! How virtual time keeps step with the wall clock. Only the edges of the
//! bench (the in-process stream and the pseudo-terminal) look at a clock.

use std::time::{Duration, Instant};

use crate::board::Board;

/// How fast time runs.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Pace {
    /// Waiting takes no longer than the arithmetic.
    #[default]
    AsFastAsPossible,
    /// Waiting takes its time divided by `speed`, for watching. Time still
    /// stands still without a wait, so results stay the same.
    Real {
        /// 1 is as slow as life; not above 0 counts as 1.
        speed: f64,
    },
    /// Time runs with the wall clock, wait or no wait: for a bench that people
    /// and programs play with freely. Not repeatable.
    Free,
}

/// Sleeps shorter than this are put off and added up.
const LEAST_SLEEP: Duration = Duration::from_millis(1);

/// Keeps step.
#[derive(Debug)]
pub(crate) struct Pacer {
    pace: Pace,
    began: Option<(Instant, u64)>,
    owed: Duration,
}

impl Pacer {
    pub(crate) fn new(pace: Pace) -> Self {
        Self {
            pace,
            began: None,
            owed: Duration::ZERO,
        }
    }

    /// Lets the board move once; whether it did.
    pub(crate) fn turn(&mut self, board: &mut Board, out: &mut Vec<u8>) -> bool {
        match self.pace {
            Pace::AsFastAsPossible => board.step(out).is_some(),
            Pace::Real { speed } => {
                let Some(passed) = board.step(out) else {
                    return false;
                };
                let speed = if speed > 0.0 { speed } else { 1.0 };
                let due = passed.as_secs_f64() / speed;
                self.owed += Duration::try_from_secs_f64(due).unwrap_or(Duration::ZERO);
                if self.owed >= LEAST_SLEEP {
                    std::thread::sleep(self.owed);
                    self.owed = Duration::ZERO;
                }
                true
            }
            Pace::Free => {
                let (began, from_ns) = *self
                    .began
                    .get_or_insert_with(|| (Instant::now(), board.now_ns()));
                let passed_ns = u64::try_from(began.elapsed().as_nanos()).unwrap_or(u64::MAX);
                let until_ns = from_ns.saturating_add(passed_ns);
                let before_ns = board.now_ns();
                board.run_to(until_ns, out);
                board.now_ns() > before_ns
            }
        }
    }

    /// Moves of the board between two looks at the line.
    pub(crate) fn moves_at_once(&self) -> usize {
        match self.pace {
            Pace::AsFastAsPossible => 32,
            // Each of these may sleep, or runs as far as time allows.
            Pace::Real { .. } | Pace::Free => 1,
        }
    }

    /// Whether time moves by itself, so that nobody may sleep for long.
    pub(crate) fn is_free(&self) -> bool {
        self.pace == Pace::Free
    }
}
