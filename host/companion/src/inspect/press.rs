//! A finger on the pan: which way the reading goes, and whether it comes back.

use scalewright_protocol::message::Sample;
use scalewright_protocol::units::elapsed_ms;

use super::figures::Noise;

/// The smoothed signal has moved when it is this many of its standard
/// deviations from where it was.
const FELT_SD: f64 = 20.0;
/// and at least this far, ADC counts: 0.09 uV/V at gain 128, a tenth of what
/// 100 g give on a cell of 200 kg and 2 mV/V.
const FELT_COUNTS: f64 = 200.0;
/// A deflection shorter than this is a knock; in that time the smoothed signal
/// also comes near its end, ms.
const HELD_MS: u32 = 1000;
/// Let go when what is left is below this share of the largest deflection.
const LEFT_SHARE: f64 = 0.1;
/// and stays there so long, ms.
const LEFT_MS: u32 = 1500;

/// Where a press stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Pressed {
    /// Nothing was felt yet.
    Waiting,
    /// The finger is on the pan: the reading moved so far, ADC counts.
    Held {
        /// Largest deflection so far, ADC counts, with its sign.
        by_counts: f64,
    },
    /// The finger is off again.
    Released {
        /// Largest deflection, ADC counts, with its sign.
        by_counts: f64,
        /// What was left of it, ADC counts, with its sign.
        left_counts: f64,
    },
}

/// Watches the smoothed signal for a press.
#[derive(Clone, Debug, PartialEq)]
pub struct Press {
    rest_counts: f64,
    felt_counts: f64,
    moved_ms: Option<u32>,
    quiet_ms: Option<u32>,
    state: Pressed,
}

impl Press {
    /// A press on a pan that reads `rest_counts` with this noise.
    #[must_use]
    pub fn new(rest_counts: f64, noise: &Noise) -> Self {
        Self {
            rest_counts,
            felt_counts: (FELT_SD * noise.smoothed_sd_counts).max(FELT_COUNTS),
            moved_ms: None,
            quiet_ms: None,
            state: Pressed::Waiting,
        }
    }

    /// Where it stands.
    #[must_use]
    pub const fn state(&self) -> Pressed {
        self.state
    }

    /// Takes the next sample.
    pub fn sample(&mut self, sample: &Sample) -> Pressed {
        let off = f64::from(sample.smooth_q8) / 256.0 - self.rest_counts;
        self.state = match self.state {
            Pressed::Waiting => {
                if off.abs() < self.felt_counts {
                    self.moved_ms = None;
                    return self.state;
                }
                let began_ms = *self.moved_ms.get_or_insert(sample.at_ms);
                if elapsed_ms(sample.at_ms, began_ms) < HELD_MS {
                    return self.state;
                }
                Pressed::Held { by_counts: off }
            }
            Pressed::Held { by_counts } => {
                let left = (LEFT_SHARE * by_counts.abs()).max(self.felt_counts);
                if off.abs() > left {
                    self.quiet_ms = None;
                    let further = off.abs() > by_counts.abs();
                    Pressed::Held {
                        by_counts: if further { off } else { by_counts },
                    }
                } else {
                    let began_ms = *self.quiet_ms.get_or_insert(sample.at_ms);
                    if elapsed_ms(sample.at_ms, began_ms) < LEFT_MS {
                        return self.state;
                    }
                    Pressed::Released {
                        by_counts,
                        left_counts: off,
                    }
                }
            }
            released @ Pressed::Released { .. } => released,
        };
        self.state
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use scalewright_protocol::message::Flags;

    const NOISE: Noise = Noise {
        sd_counts: 60.0,
        peak_to_peak_counts: 300.0,
        smoothed_sd_counts: 20.0,
        growth: 1.0,
    };

    fn watched(counts: impl IntoIterator<Item = i32>) -> Pressed {
        let mut press = Press::new(10_000.0, &NOISE);
        for (k, counts) in (0u32..).zip(counts) {
            press.sample(&Sample {
                sequence: k,
                at_ms: k * 100,
                raw_counts: counts,
                smooth_q8: counts * 256,
                mass: None,
                flags: Flags::default(),
            });
        }
        press.state()
    }

    fn course(parts: &[(i32, usize)]) -> Vec<i32> {
        let part = |(counts, times): &(i32, usize)| vec![*counts; *times];
        parts.iter().flat_map(part).collect()
    }

    #[test]
    fn a_press_has_a_direction_and_an_end() {
        let up = course(&[(10_000, 10), (60_000, 20), (90_000, 3), (10_030, 20)]);
        assert_eq!(
            watched(up),
            Pressed::Released {
                by_counts: 80_000.0,
                left_counts: 30.0
            }
        );
        let down = course(&[(10_000, 10), (-70_000, 12)]);
        assert_eq!(
            watched(down),
            Pressed::Held {
                by_counts: -80_000.0
            }
        );
    }

    #[test]
    fn noise_and_a_knock_are_no_press() {
        assert_eq!(watched(course(&[(10_390, 50)])), Pressed::Waiting);
        let knock = course(&[(10_000, 5), (30_000, 2), (10_000, 5)]);
        assert_eq!(watched(knock), Pressed::Waiting);
    }

    #[test]
    fn easing_the_finger_is_no_letting_go() {
        let eased = course(&[(10_000, 5), (90_000, 12), (40_000, 30)]);
        assert_eq!(
            watched(eased),
            Pressed::Held {
                by_counts: 80_000.0
            }
        );
    }
}
