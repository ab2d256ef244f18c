//! What was gathered, as numbers: rate, noise, drift, in counts and seconds.

use scalewright_metrology::statistics::{mean, sample_sd};
use scalewright_protocol::message::{Flags, Sample};
use scalewright_protocol::units::{CODE_MAX, CODE_MIN, elapsed_ms};

use super::gathered::Gathered;
use super::periodic::{self, Periodic};
use super::touch::{self, Touch};

/// Fewest samples from which noise is told.
pub const FEWEST_SAMPLES: usize = 8;

/// Peak-to-peak of noise as a multiple of its standard deviation: what makers
/// of weigh-scale converters take for "noise-free" resolution (6.6; 99.9 % of a
/// normal distribution lie inside).
pub const PEAK_TO_PEAK: f64 = 6.6;

/// A step this many times the usual one is a pause of the converter.
const PAUSE: f64 = 3.5;

/// Scatter of the codes at rest, the straight drift taken out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Noise {
    /// Standard deviation of one code, ADC counts.
    pub sd_counts: f64,
    /// Highest minus lowest code, ADC counts.
    pub peak_to_peak_counts: f64,
    /// Standard deviation of the smoothed signal, ADC counts: the larger of what
    /// was seen and what follows from `sd_counts` for white noise.
    pub smoothed_sd_counts: f64,
    /// Standard deviation in the last third over that in the first.
    pub growth: f64,
}

/// Straight change while nobody touched the pan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drift {
    /// Rate, ADC counts per minute.
    pub counts_per_min: f64,
    /// Its standard uncertainty by the scatter, ADC counts per minute.
    pub u_counts_per_min: f64,
}

/// All numbers of an inspection.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Figures {
    /// Samples that arrived.
    pub samples: usize,
    /// Samples lost on the line.
    pub lost: u32,
    /// Device time watched, s.
    pub watched_s: f64,
    /// Conversions per second.
    pub rate_sps: Option<f64>,
    /// Pauses of the converter between samples, and the longest, ms.
    pub pauses: (usize, u32),
    /// Samples at an end of the ADC's range: low, high.
    pub at_ends: (usize, usize),
    /// Samples the scale called single wild codes.
    pub jumps: usize,
    /// Mean code, ADC counts, wild codes left out.
    pub mean_counts: Option<f64>,
    /// Scatter.
    pub noise: Option<Noise>,
    /// Straight change.
    pub drift: Option<Drift>,
    /// A regular swing.
    pub swing: Option<Periodic>,
    /// Where the signal left its place: noise, drift and swing then say nothing
    /// of the scale.
    pub touch: Option<Touch>,
}

impl Figures {
    /// The numbers of `gathered`; smoothing is the depth in the settings (mean
    /// of the last 2^n).
    #[must_use]
    pub fn of(gathered: &Gathered, smoothing: u8) -> Self {
        let per_step: Vec<f64> = gathered
            .steps()
            .map(|(ms, ahead)| f64::from(ms) / f64::from(ahead))
            .collect();
        let usual_ms = median(&per_step);
        let pause_ms = usual_ms.map_or(f64::INFINITY, |ms| ms * PAUSE);
        let (mut pauses, mut longest_ms, mut run_ms, mut run_steps) = (0, 0, 0.0, 0.0);
        for (ms, ahead) in gathered.steps() {
            if f64::from(ms) / f64::from(ahead) > pause_ms {
                pauses += 1;
                longest_ms = longest_ms.max(ms);
            } else {
                run_ms += f64::from(ms);
                run_steps += f64::from(ahead);
            }
        }
        let rate_sps = (run_ms > 0.0).then(|| run_steps / run_ms * 1000.0);
        let sound: Vec<&Sample> = gathered
            .samples
            .iter()
            .filter(|sample| !sample.flags.has(Flags::SPIKE))
            .collect();
        let codes: Vec<f64> = sound.iter().map(|s| f64::from(s.raw_counts)).collect();
        let ends = |end: i32| {
            let there = |sample: &&Sample| sample.raw_counts == end;
            gathered.samples.iter().filter(there).count()
        };
        let line = (sound.len() >= FEWEST_SAMPLES)
            .then(|| Line::through(&sound, &codes))
            .flatten();
        let run = gathered.longest_run(pause_ms);
        Self {
            samples: gathered.samples.len(),
            lost: gathered.losses.lost,
            watched_s: f64::from(gathered.watched_ms) / 1000.0,
            rate_sps,
            pauses: (pauses, longest_ms),
            at_ends: (ends(CODE_MIN), ends(CODE_MAX)),
            jumps: gathered.samples.len() - sound.len(),
            mean_counts: mean(&codes),
            noise: line
                .as_ref()
                .and_then(|line| noise(line, gathered, smoothing)),
            drift: line.as_ref().map(|line| Drift {
                counts_per_min: line.per_s * 60.0,
                u_counts_per_min: line.u_per_s * 60.0,
            }),
            swing: rate_sps.and_then(|rate| swing(run, rate)),
            touch: touch::find(&times_s(&sound), &codes),
        }
    }

    /// Share of the samples that stand at an end of the range.
    #[must_use]
    pub fn saturated_share(&self) -> f64 {
        (self.at_ends.0 + self.at_ends.1) as f64 / self.samples.max(1) as f64
    }
}

/// Since the first, s.
fn times_s(samples: &[&Sample]) -> Vec<f64> {
    let began_ms = samples.first().map_or(0, |sample| sample.at_ms);
    samples
        .iter()
        .map(|sample| f64::from(elapsed_ms(sample.at_ms, began_ms)) / 1000.0)
        .collect()
}

/// The straight line through codes against time, by least squares.
struct Line {
    per_s: f64,
    u_per_s: f64,
    residuals: Vec<f64>,
}

impl Line {
    /// None when all samples fall on one instant.
    fn through(samples: &[&Sample], codes: &[f64]) -> Option<Self> {
        let times = times_s(samples);
        let (t0, y0) = (mean(&times)?, mean(codes)?);
        let sxx: f64 = times.iter().map(|t| (t - t0).powi(2)).sum();
        let sxy: f64 = times
            .iter()
            .zip(codes)
            .map(|(t, y)| (t - t0) * (y - y0))
            .sum();
        if sxx <= 0.0 {
            return None;
        }
        let per_s = sxy / sxx;
        let residuals: Vec<f64> = times
            .iter()
            .zip(codes)
            .map(|(t, y)| y - y0 - per_s * (t - t0))
            .collect();
        let freedom = residuals.len().saturating_sub(2).max(1) as f64;
        let variance = residuals.iter().map(|r| r * r).sum::<f64>() / freedom;
        Some(Self {
            per_s,
            u_per_s: (variance / sxx).sqrt(),
            residuals,
        })
    }
}

fn noise(line: &Line, gathered: &Gathered, smoothing: u8) -> Option<Noise> {
    let sd_counts = sample_sd(&line.residuals)?;
    let low = line.residuals.iter().copied().fold(f64::INFINITY, f64::min);
    let high = line
        .residuals
        .iter()
        .copied()
        .fold(f64::NEG_INFINITY, f64::max);
    let third = line.residuals.len() / 3;
    let part = |from: usize| sample_sd(line.residuals.get(from..from + third)?);
    let (first, last) = (part(0), part(line.residuals.len() - third));
    let all: Vec<&Sample> = gathered.samples.iter().collect();
    let smooth: Vec<f64> = all.iter().map(|s| f64::from(s.smooth_q8) / 256.0).collect();
    let seen = Line::through(&all, &smooth).and_then(|line| sample_sd(&line.residuals));
    let white = sd_counts / f64::from(1u32 << smoothing.min(6)).sqrt();
    Some(Noise {
        sd_counts,
        peak_to_peak_counts: high - low,
        smoothed_sd_counts: seen.unwrap_or(white).max(white),
        growth: match (first, last) {
            (Some(first), Some(last)) if first > 0.0 => last / first,
            _ => 1.0,
        },
    })
}

/// A swing in an unbroken run; wild codes are replaced by the one before.
fn swing(run: &[Sample], rate_sps: f64) -> Option<Periodic> {
    let samples: Vec<&Sample> = run.iter().collect();
    let mut codes: Vec<f64> = Vec::with_capacity(run.len());
    for sample in run {
        let code = f64::from(sample.raw_counts);
        let wild = sample.flags.has(Flags::SPIKE);
        codes.push(codes.last().copied().filter(|_| wild).unwrap_or(code));
    }
    let line = Line::through(&samples, &codes)?;
    periodic::find(&line.residuals, rate_sps)
}

/// The middle value; the upper of the two middle ones for even counts.
pub(super) fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn gathered(codes: &[i32], step_ms: u32) -> Gathered {
        let mut all = Gathered::new();
        for (k, code) in (0u32..).zip(codes) {
            all.sample(&Sample {
                sequence: k,
                at_ms: k * step_ms,
                raw_counts: *code,
                smooth_q8: *code * 256,
                mass: None,
                flags: Flags::default(),
            });
        }
        all
    }

    /// A ramp of 3 counts a sample at 10 per second is 1800 counts a minute and
    /// no noise at all; ±4 in turn about it is a standard deviation of 4.0.
    #[test]
    fn drift_is_not_noise() {
        let ramp: Vec<i32> = (0..100).map(|k| 1000 + 3 * k).collect();
        let still = Figures::of(&gathered(&ramp, 100), 0);
        let drift = still.drift.expect("a drift");
        assert!((drift.counts_per_min - 1800.0).abs() < 1e-6, "{drift:?}");
        let noise = still.noise.expect("noise");
        assert!(noise.sd_counts < 1e-6, "{noise:?}");
        assert!((still.rate_sps.expect("a rate") - 10.0).abs() < 1e-9);

        let rough: Vec<i32> = (0..100)
            .map(|k| 1000 + 3 * k + if k % 2 == 0 { 4 } else { -4 })
            .collect();
        let noise = Figures::of(&gathered(&rough, 100), 4).noise.expect("noise");
        // 4 · sqrt(100/99) = 4.02, less what the line takes up.
        assert!((noise.sd_counts - 4.02).abs() < 0.02, "{noise:?}");
        assert!((noise.growth - 1.0).abs() < 0.05, "{noise:?}");
    }

    #[test]
    fn a_pause_is_no_slower_rate() {
        let mut all = gathered(&[7; 50], 12);
        let last = *all.samples.last().expect("fifty");
        for k in 1..=50 {
            all.sample(&Sample {
                sequence: last.sequence + k,
                at_ms: last.at_ms + 900 + k * 12,
                ..last
            });
        }
        let figures = Figures::of(&all, 0);
        assert_eq!(figures.pauses, (1, 912));
        assert!((figures.rate_sps.expect("a rate") - 1000.0 / 12.0).abs() < 1e-9);
        assert_eq!(figures.lost, 0);
    }

    #[test]
    fn nothing_gives_nothing() {
        let none = Figures::of(&Gathered::new(), 3);
        assert_eq!(none, Figures::default());
        let one = Figures::of(&gathered(&[5], 100), 3);
        assert_eq!((one.rate_sps, one.noise), (None, None));
    }
}
