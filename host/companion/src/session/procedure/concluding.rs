//! From the captures to a table, and with it into the scale.

use scalewright_protocol::message::{Answer, Ask};
use scalewright_protocol::table::knots_checksum;

use super::steps::Step;
use super::{Action, Decision, Phase, Procedure, SessionFault, Substitute};
use crate::quantise;
use crate::record::outcome::Outcome;
use crate::record::together::{Together, WeightFound};
use crate::session::event::{Event, Part};
use crate::session::storing::Storing;
use crate::session::table::reading::KnotsReader;
use crate::session::{choosing, judge};

/// A hysteresis loop narrower than this is not worth correcting, e: a twentieth
/// of e off its middle at most (own choice).
const LOOP_MATTERS_E: f64 = 0.1;

impl Procedure {
    pub(super) fn propose(&mut self) -> Action {
        self.phase = Phase::Deciding;
        match self.choose() {
            Ok(()) => {
                if let Some(choice) = &self.choice {
                    let again = self.still_again();
                    self.events.push(Event::Proposed {
                        candidates: choice.lines.clone(),
                        reason: choice.reason.clone(),
                        together: Box::new(choice.together.clone()),
                        again: again.clone(),
                    });
                    if !again.is_empty() {
                        return Action::Decide(Decision::Doubt);
                    }
                }
                Action::Decide(Decision::Table)
            }
            Err(fault) => {
                self.events.push(Event::Trouble {
                    what: fault.to_string(),
                    try_this: "take the load in question again, or stop here".into(),
                });
                Action::Decide(Decision::NoTable)
            }
        }
    }

    pub(super) fn choose(&mut self) -> Result<(), SessionFault> {
        let max_knots = self
            .hello
            .as_ref()
            .map_or(quantise::MOST_KNOTS, |hello| usize::from(hello.max_knots));
        let choice = choosing::choose(&self.plan, &self.captures, max_knots)
            .map_err(SessionFault::NoTable)?;
        self.choice = Some(choice);
        Ok(())
    }

    /// The proof reckons with what was found of weights that are wrong: its
    /// loads weigh that much, and are recognised by it.
    pub(super) fn prove_with_found_masses(&mut self) {
        let Some(choice) = &self.choice else { return };
        let wrong: Vec<WeightFound> = (choice.together.weights.iter())
            .filter(|weight| weight.wrong)
            .cloned()
            .collect();
        for weight in &wrong {
            self.substitutes.push(Substitute {
                id: weight.id.clone(),
                mass_g: weight.mass_g.value,
                learnt_by: 0,
            });
            let with = |step: &&mut Step| step.load.weights.contains(&weight.id);
            for step in self.steps.iter_mut().filter(with) {
                step.load.mass_g += weight.mass_g.value - weight.stated_g;
                step.load.u_g += weight.mass_g.u;
            }
        }
        if wrong.is_empty() {
            return;
        }
        self.seen.new_sitting();
        for index in 0..self.captures.len() {
            if let Some(capture) = self.captures.get(index).cloned()
                && capture.sitting == self.sitting
            {
                self.remember(&capture.load, capture.mean_counts);
            }
        }
    }

    pub(super) fn accept(&mut self) -> Result<Action, SessionFault> {
        let Some(choice) = &self.choice else {
            return Err(SessionFault::NoTable("nothing was proposed".into()));
        };
        self.events.push(Event::Begins(Part::Store));
        let mut settings = quantise::settings_for(&self.plan.scale, &self.settings);
        if let Some(width_g) = self.loop_to_correct_g(&choice.together) {
            settings.loop_gain = quantise::loop_gain(width_g, &settings);
        }
        self.loop_width_g = quantise::loop_width_g(&settings);
        self.settings = settings;
        if let Some(width_g) = self.loop_width_g {
            self.events.push(Event::Corrects { width_g });
        }
        let (storing, ask) =
            Storing::begin(settings, choice.zero_counts, choice.table.knots().to_vec());
        self.phase = Phase::Storing(storing);
        Ok(Action::Ask(ask))
    }

    /// Width of the hysteresis loop worth correcting, g: one that was seen, and
    /// departs from its middle by what a reader could notice.
    pub(super) fn loop_to_correct_g(&self, found: &Together) -> Option<f64> {
        let width = found.loop_width_g?;
        let seen = width.value >= 2.0 * width.u;
        let matters = width.value >= LOOP_MATTERS_E * self.plan.scale.e_g;
        // Nothing proves it without a verification.
        let proved = !self.plan.verify.is_empty();
        (self.plan.correct_hysteresis && seen && matters && proved).then_some(width.value)
    }

    /// The verification is over: a correction that did not help is left off.
    pub(super) fn end(&mut self) -> Action {
        let tried = self.loop_width_g.zip(self.choice.as_ref());
        self.correction = tried.and_then(|(width_g, choice)| {
            judge::correction_tried(&self.plan, &self.captures, choice, self.proof_zero, width_g)
        });
        if let Some(tried) = self.correction {
            self.events.push(Event::CorrectionTried(tried));
            if !tried.kept {
                self.settings.loop_gain = 0;
                self.phase = Phase::LeavingOff;
                return Action::Ask(Ask::SetSettings(self.settings));
            }
        }
        self.phase = Phase::StreamOff;
        Action::Ask(Ask::Stream { every: 0 })
    }

    pub(super) fn storing(
        &mut self,
        mut storing: Storing,
        answer: &Answer,
    ) -> Result<Action, SessionFault> {
        match answer {
            Answer::Done => {
                let ask = storing.next();
                self.events.push(Event::Storing {
                    done: storing.sent(),
                    of: storing.points(),
                });
                self.phase = Phase::Storing(storing);
                Ok(Action::Ask(ask))
            }
            Answer::Stored { .. } => {
                self.phase = Phase::ReadHeader;
                Ok(Action::Ask(Ask::Table))
            }
            _ => Err(SessionFault::Confused),
        }
    }

    pub(super) fn read_back(&mut self, reader: KnotsReader) -> Result<Action, SessionFault> {
        if let Some(ask) = reader.ask() {
            self.phase = Phase::ReadBack(reader);
            return Ok(Action::Ask(ask));
        }
        let (Some(choice), Some(header)) = (&self.choice, self.stored) else {
            return Err(SessionFault::Confused);
        };
        let written = choice.table.knots();
        if reader.knots() != written || header.checksum != knots_checksum(written) {
            return Err(SessionFault::ReadBack);
        }
        self.events.push(Event::Stored {
            sequence: header.sequence,
            points: written.len(),
            checksum: header.checksum,
        });
        Ok(self.next_step(true))
    }

    /// The outcome, once the table is stored. Date, seed and wall-clock time
    /// are the caller's.
    #[must_use]
    pub fn outcome(&self) -> Option<Outcome> {
        self.evidence().map(|evidence| judge::outcome(&evidence))
    }

    /// How common settings fare at the same loads.
    #[must_use]
    pub fn common_settings(&self) -> Option<judge::CommonSettings> {
        judge::common_settings(&self.evidence()?)
    }

    pub(super) fn evidence(&self) -> Option<judge::Evidence<'_>> {
        Some(judge::Evidence {
            plan: &self.plan,
            captures: &self.captures,
            choice: self.choice.as_ref()?,
            stored: self.stored.as_ref()?,
            hello: self.hello.as_ref()?,
            noise: self.noise.as_ref(),
            old: self.old.as_ref(),
            proof_zero: self.proof_zero,
            correction: self.correction,
            corrects: self.settings.loop_gain > 0,
            agreement: self.agreement,
            device_s: f64::from(
                self.last_ms
                    .wrapping_sub(self.began_ms.unwrap_or(self.last_ms)),
            ) / 1000.0,
        })
    }
}
