//! What was captured is taken back, or done once more.

use super::steps::{Step, steps};
use super::{Action, Phase, Procedure};
use crate::session::event::{Capture, Event, Part};
use crate::session::plan::Load;
use crate::session::together;

impl Procedure {
    pub(super) fn undo(&mut self) -> Option<Action> {
        // What is stored stays stored; only captures of the part at hand, or
        // of the fit before it was accepted, can be taken back.
        let last = self.captures.last()?;
        if last.sitting != self.sitting
            || (self.stored.is_some() && last.part != Part::Verification)
        {
            return None;
        }
        let capture = self.captures.pop()?;
        self.seen.undo();
        let left = self.captures.len();
        self.substitutes.retain(|known| known.learnt_by < left);
        if let Some(step) = self.current.take() {
            self.steps.push_front(step);
        }
        let (number, of) = self.place(&capture);
        self.steps.push_front(Step {
            part: capture.part,
            load: capture.load.clone(),
            number,
            of,
        });
        self.events.push(Event::Undone { load: capture.load });
        let was_deciding = matches!(self.phase, Phase::Deciding);
        let action = self.next_step(false);
        if let Phase::Watching(watch) = &mut self.phase {
            watch.must_move = true;
        }
        was_deciding.then_some(action)
    }

    /// Which load of which stretch a capture was that has been taken back.
    pub(super) fn place(&self, capture: &Capture) -> (usize, usize) {
        let left = steps(&self.plan, &self.captures, false);
        let same = |step: &&Step| step.part == capture.part && step.load == capture.load;
        left.iter()
            .find(same)
            .map_or((1, 1), |step| (step.number, step.of))
    }

    /// Goes back to capture what is in doubt, and the empty pan after it.
    pub(super) fn repeat(&mut self) -> Option<Action> {
        let again = self.still_again();
        if again.is_empty() {
            return None;
        }
        let loads = again.iter().filter_map(|names| {
            let position = |id: &String| self.plan.weights.iter().position(|one| one.id == *id);
            let bodies: Option<Vec<usize>> = names.iter().map(position).collect();
            Some(together::load_of(&bodies?, &self.plan.weights))
        });
        let loads: Vec<Load> = loads.chain([Load::empty()]).collect();
        let of = loads.len();
        for (index, load) in loads.into_iter().enumerate().rev() {
            self.steps.push_front(Step {
                part: Part::Again,
                load,
                number: index + 1,
                of,
            });
        }
        Some(self.next_step(true))
    }

    /// What should be captured again and has not been yet.
    pub(super) fn still_again(&self) -> Vec<Vec<String>> {
        let again = self.choice.iter().flat_map(|choice| &choice.again);
        again
            .filter(|names| {
                let done = |capture: &Capture| {
                    capture.part == Part::Again && capture.load.weights == **names
                };
                !self.captures.iter().any(done)
            })
            .cloned()
            .collect()
    }
}
