//! What a scale sends while it is watched: samples, states, and what is missing
//! between them.

use scalewright_protocol::message::{Flags, Sample, State};
use scalewright_protocol::units::elapsed_ms;

/// Sequence numbers that went missing, right across a restart of the scale.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Losses {
    last: Option<u32>,
    /// Samples missed on the line.
    pub lost: u32,
}

impl Losses {
    /// Takes the number of a sample of a stream that sends each `step`-th;
    /// how many were lost just before it.
    ///
    /// A number that is not above the last one is a new beginning: the scale
    /// restarted, which loses nothing that was ever sent.
    pub fn push(&mut self, sequence: u32, step: u32) -> u32 {
        let ahead = self.last.map(|last| sequence.wrapping_sub(last));
        self.last = Some(sequence);
        match ahead {
            Some(ahead) if ahead > 0 && ahead < 1 << 31 => {
                let lost = (ahead / step.max(1)).saturating_sub(1);
                self.lost = self.lost.saturating_add(lost);
                lost
            }
            _ => 0,
        }
    }

    /// Forgets the last number, not the count: what comes next is a new stream.
    pub fn begin_anew(&mut self) {
        self.last = None;
    }
}

/// Samples and states as they came.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Gathered {
    /// The samples, oldest first.
    pub samples: Vec<Sample>,
    /// Samples missed on the line.
    pub losses: Losses,
    /// States told in all.
    pub states: usize,
    /// States that called the ADC silent.
    pub silent_states: usize,
    /// States that called the ADC stuck.
    pub stuck_states: usize,
    /// Times the scale began anew.
    pub restarts: usize,
    /// Device time watched, ms.
    pub watched_ms: u32,
    /// Whether the newest record in the scale is damaged.
    pub fell_back: bool,
    /// Broken frames on the line, told by the link.
    pub broken_frames: usize,
    /// Requests that had to be repeated, told by the link.
    pub repeats: usize,
    last_state_ms: Option<u32>,
}

impl Gathered {
    /// Nothing yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes a sample of a stream that sends all of them.
    pub fn sample(&mut self, sample: &Sample) {
        self.losses.push(sample.sequence, 1);
        self.samples.push(*sample);
    }

    /// Takes a state. True when the scale restarted since the state before: its
    /// stream has to be asked for again.
    pub fn state(&mut self, state: &State) -> bool {
        self.states += 1;
        self.silent_states += usize::from(state.flags.has(Flags::ADC_SILENT));
        self.stuck_states += usize::from(state.flags.has(Flags::ADC_STUCK));
        self.fell_back |= state.flags.has(Flags::FELL_BACK);
        let passed_ms = self
            .last_state_ms
            .map(|before| elapsed_ms(state.at_ms, before));
        self.last_state_ms = Some(state.at_ms);
        match passed_ms {
            Some(ms) if ms < 1 << 31 => {
                self.watched_ms = self.watched_ms.saturating_add(ms);
                false
            }
            Some(_) => {
                self.restarts += 1;
                self.losses.begin_anew();
                true
            }
            None => false,
        }
    }

    /// Steps from one sample to the next as (ms, samples ahead), without those
    /// across a restart.
    pub(super) fn steps(&self) -> impl Iterator<Item = (u32, u32)> + '_ {
        self.samples
            .iter()
            .zip(self.samples.iter().skip(1))
            .map(|(one, next)| {
                (
                    elapsed_ms(next.at_ms, one.at_ms),
                    next.sequence.wrapping_sub(one.sequence),
                )
            })
            .filter(|(ms, ahead)| *ms < 1 << 31 && (1..1 << 31).contains(ahead))
    }

    /// The longest run of samples without loss, pause or restart, a pause being
    /// longer than `pause_ms`.
    pub(super) fn longest_run(&self, pause_ms: f64) -> &[Sample] {
        let (mut best, mut from) = (0..0, 0);
        for at in 1..=self.samples.len() {
            let goes_on = self
                .samples
                .get(at - 1)
                .zip(self.samples.get(at))
                .is_some_and(|(one, next)| {
                    next.sequence.wrapping_sub(one.sequence) == 1
                        && f64::from(elapsed_ms(next.at_ms, one.at_ms)) <= pause_ms
                });
            if !goes_on {
                if at - from > best.len() {
                    best = from..at;
                }
                from = at;
            }
        }
        self.samples.get(best).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gap_is_a_loss_and_a_restart_is_none() {
        let mut losses = Losses::default();
        let lost: Vec<u32> = [5, 6, 9, 9, 2, 3, 5]
            .into_iter()
            .map(|sequence| losses.push(sequence, 1))
            .collect();
        assert_eq!(lost, [0, 0, 2, 0, 0, 0, 1]);
        assert_eq!(losses.lost, 3);
    }

    #[test]
    fn a_step_of_a_thinned_stream_is_no_loss() {
        let mut losses = Losses::default();
        for sequence in [u32::MAX - 5, u32::MAX, 5, 17] {
            losses.push(sequence, 6);
        }
        assert_eq!(losses.lost, 1);
    }
}
