//! From codes to a quiet signal: spikes out, then the mean since the last
//! change. Integers only.
//!
//! **Spikes.** A code no further from the one before than noise and the last
//! movement explain is taken at once. A wilder one is held back: if the next
//! code, or the next but one, comes back, what was held were spikes and is
//! forgotten; three in a row are a real step and are taken whole. So one or two
//! wild codes vanish, sound codes stay as they are, and none comes late.
//!
//! **The mean** runs over the codes since the last change, at most 2^n of them.
//! A change is where the newest k codes and the k before differ on average by
//! more than noise and a part of the limit of rest explain, for any power of two
//! k up to half the run; the run then begins anew with the newest k. (A window
//! that is cut where its parts disagree: A. Bifet, R. Gavaldà, "Learning from
//! time-changing data with adaptive windowing", SDM 2007; from memory.)
//!
//! **Noise** is learnt from how far neighbours in a run lie apart, and
//! remembered: quick to believe less, slow to believe more, so that the swing
//! after a step does not pass for noise.

use scalewright_protocol::units::{CODE_MAX, CODE_MIN};

/// A code is wild if it lies further from the one before than twice the movement
/// before and so much of the noise in q4: eight standard deviations. Neighbours
/// differ by 1.4 of them, so that the limit lies at 5.7 of what is compared.
const WILD_SHIFT: u8 = 1;
/// Nothing nearer than this is wild, ADC counts: a noiseless signal has no
/// scatter.
pub const SPIKE_FLOOR_COUNTS: u32 = 8;
/// Deepest smoothing, as a power of two.
pub const SMOOTHING_MAX: u8 = 6;
/// The longest run, codes.
pub const LONGEST: u8 = 1 << SMOOTHING_MAX;
/// So many wild codes in a row are a step.
const STEP: u8 = 3;
/// Room for the longest run and two codes held back.
const RING: u8 = LONGEST + 2;
/// Two single codes of a run may differ by so many standard deviations of the
/// noise before they part it: 5.7 times the root of two.
const CHANGE_DEVIATIONS: u32 = 8;
/// Codes from whose neighbours noise is first estimated, and estimated lower.
const FIRST_RUN: u8 = 6;
const SOUND_RUN: u8 = 9;
/// The least noise that is believed, q4 counts: the steps of the code alone are
/// 0.29 counts.
const NOISE_MIN_Q4: u16 = 4;
/// The most, q4 counts: three times of it fit 16 bits. Noise of more than 1365
/// counts, a 10 000th of the range, is told as this.
const NOISE_MAX_Q4: u16 = u16::MAX / 3;
/// How much more noise is believed with a step, and an eighth, q4 counts.
const STEP_NOISE_Q4: u16 = 16;
/// Mean distance of neighbours that is as much, q2 counts.
const ROUGH_MAX_Q2: u32 = (NOISE_MAX_Q4 as u32) * 4 / 14;

/// How to filter; does not change while samples flow.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FilterConfig {
    /// The signal follows the mean of at most the last 2^n samples, n from 0 to
    /// [`SMOOTHING_MAX`].
    pub smoothing: u8,
    /// Limit of rest, q8 counts: a quarter of it is no change.
    pub rest_q8: u32,
}

/// What came out with the latest code.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Filtered {
    /// The code as converted, ADC counts.
    pub raw: i32,
    /// Mean of the last codes, at most 2^n and none from before the last change,
    /// q8 counts.
    pub smooth_q8: i32,
    /// Standard deviation of that mean, q4 counts; like that of the noise below.
    pub unsure_q4: u16,
    /// Standard deviation of the noise of one code, q4 counts, at most a third of
    /// what the field holds; 0 while unknown.
    pub noise_q4: u16,
    /// How far the sums of the newer and of the older half of the run are apart,
    /// counts; of an odd number the oldest code is left out.
    pub trend: u32,
    /// Codes since the last change, at most [`LONGEST`]; 0 before the first.
    pub run: u8,
    /// Whether any code in the mean stood at an end of the range.
    pub saturated: bool,
    /// Whether the code is held back: a spike, or the beginning of a step. Mean
    /// and run are then as they were.
    pub spike: bool,
}

/// The state of a filter.
#[derive(Clone, Debug)]
pub struct Filter {
    out: Filtered,
    /// Where the next code goes.
    next: u8,
    /// Codes held back; they lie from `next` on.
    held: u8,
    /// Codes of 24 bits, lowest byte first: a quarter less RAM than as `i32`.
    ring: [[u8; 3]; RING as usize],
}

impl Default for Filter {
    fn default() -> Self {
        Self::new()
    }
}

impl Filter {
    /// A filter that has seen nothing.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            out: Filtered {
                raw: 0,
                smooth_q8: 0,
                unsure_q4: 0,
                noise_q4: 0,
                trend: 0,
                run: 0,
                saturated: false,
                spike: false,
            },
            next: 0,
            held: 0,
            ring: [[0; 3]; RING as usize],
        }
    }

    /// What came out with the latest code; all zero when there was none.
    #[must_use]
    pub const fn out(&self) -> &Filtered {
        &self.out
    }

    /// Forgets all samples and the noise.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub const fn restart(&mut self) {
        self.out = Self::new().out;
        self.held = 0;
    }

    /// Begins a new run with the next code: samples are missing before it.
    pub const fn part(&mut self) {
        self.out.run = 0;
        self.held = 0;
    }

    /// Takes the next code (held inside 24 bits).
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn push(&mut self, config: &FilterConfig, code: i32) -> &Filtered {
        let code = code.clamp(CODE_MIN, CODE_MAX);
        self.out.raw = code;
        self.out.spike = self.hold_back(code);
        if !self.out.spike {
            self.find_change(config.rest_q8);
            let most = 1u8 << config.smoothing.min(SMOOTHING_MAX);
            self.average(most.min(self.out.run));
        }
        &self.out
    }

    /// Puts a code into the ring; whether it is held back there.
    #[cfg_attr(target_arch = "avr", inline(never))]
    fn hold_back(&mut self, code: i32) -> bool {
        let last = before(self.next);
        let newest = self.code(last);
        let moved = distance(newest, self.code(before(last)));
        let limit = (moved << 1)
            .wrapping_add(u32::from(self.known_noise_q4() >> WILD_SHIFT))
            .wrapping_add(SPIKE_FLOOR_COUNTS);
        let wild = self.out.run > 0 && distance(code, newest) > limit;
        self.held = if wild { self.held.wrapping_add(1) } else { 0 };
        let mut at = self.next;
        for _ in 1..self.held {
            at = after(at);
        }
        if let Some(place) = self.ring.get_mut(usize::from(at)) {
            let [low, middle, high, _] = code.to_le_bytes();
            *place = [low, middle, high];
        }
        match self.held {
            0 => self.out.run = self.out.run.wrapping_add(1).min(LONGEST),
            STEP => {
                self.out.run = STEP;
                self.held = 0;
                // A load seldom steps; who steps all the time is noise.
                self.believe_more((self.out.noise_q4 >> 3).wrapping_add(STEP_NOISE_Q4));
            }
            _ => return true,
        }
        self.next = after(at);
        false
    }

    /// Lets the run begin where it last changed.
    #[cfg_attr(target_arch = "avr", inline(never))]
    fn find_change(&mut self, rest_q8: u32) {
        // What the sum of the newest k may differ by from that of the k before,
        // q4: the noise in it grows with the root of k.
        let mut bound_q4 = u32::from(self.known_noise_q4()).wrapping_mul(CHANGE_DEVIATIONS);
        // At most 2^31 after five doublings.
        let mut floor_q4 = rest_q8 >> 6;
        let mut k = 1u8;
        while k <= self.out.run / 2 {
            if distance(self.sum(0, k), self.sum(k, k)) > bound_q4.wrapping_add(floor_q4) >> 4 {
                self.out.run = k;
            }
            k <<= 1;
            floor_q4 <<= 1;
            // Times 1.5, for the root of two.
            bound_q4 = bound_q4.wrapping_add(bound_q4 >> 1);
        }
    }

    /// The mean of the newest `depth`, and what else is told of the run.
    #[cfg_attr(target_arch = "avr", inline(never))]
    fn average(&mut self, depth: u8) {
        let run = self.out.run;
        self.out.smooth_q8 = over_q8(self.sum(0, depth), depth);
        let half = run / 2;
        self.out.trend = distance(self.sum(0, half), self.sum(half, half));
        self.out.saturated = false;
        let mut at = before(self.next);
        let mut last = self.code(at);
        // Between codes of 24 bits there are less than 2^24 counts, and in all less
        // than 2^30.
        let mut rough = 0u32;
        for n in 0..run {
            let code = self.code(at);
            at = before(at);
            rough = rough.wrapping_add(distance(code, last));
            last = code;
            // Whichever end: without its sign either is CODE_MAX.
            if n < depth && code ^ (code >> 31) == CODE_MAX {
                self.out.saturated = true;
            }
        }
        // Of normal noise neighbours lie 2/√π = 1.128 standard deviations apart
        // on average: 16 over that is 14.
        let mean_q2 = (rough << 2).checked_div(u32::from(run.wrapping_sub(1)));
        let rough_q4 = (mean_q2.unwrap_or(0).min(ROUGH_MAX_Q2).wrapping_mul(14) >> 2) as u16;
        let rough_q4 = rough_q4.max(NOISE_MIN_Q4);
        // An end of the range is quiet and says nothing of what comes after.
        if !self.out.saturated || self.out.noise_q4 == 0 {
            self.learn(rough_q4);
        }
        let most_q4 = self.known_noise_q4().max(rough_q4);
        let unsure_q4 = (u32::from(most_q4) << 4).checked_div(sixteen_roots(depth));
        self.out.unsure_q4 = unsure_q4.unwrap_or(0) as u16;
    }

    /// Lets an estimate from the run change what is believed of the noise.
    fn learn(&mut self, rough_q4: u16) {
        let noise_q4 = self.out.noise_q4;
        let run = self.out.run;
        if noise_q4 == 0 {
            if run >= FIRST_RUN {
                self.out.noise_q4 = rough_q4;
            }
        } else if run >= SOUND_RUN && rough_q4 <= noise_q4 {
            self.out.noise_q4 = noise_q4.wrapping_sub(noise_q4.wrapping_sub(rough_q4) >> 2);
        } else {
            self.believe_more((noise_q4 >> 7).wrapping_add(1));
        }
    }

    fn believe_more(&mut self, by_q4: u16) {
        self.out.noise_q4 = self.out.noise_q4.wrapping_add(by_q4).min(NOISE_MAX_Q4);
    }

    /// Sum of the `count` codes before the newest `skipped`, counts: at most 64
    /// codes of 24 bits, so that it stays below 2^30.
    #[cfg_attr(target_arch = "avr", inline(never))]
    fn sum(&self, skipped: u8, count: u8) -> i32 {
        let mut at = self.next;
        let mut sum = 0i32;
        for n in 0..skipped.wrapping_add(count) {
            at = before(at);
            if n >= skipped {
                sum = sum.wrapping_add(self.code(at));
            }
        }
        sum
    }

    const fn known_noise_q4(&self) -> u16 {
        match self.out.noise_q4 {
            0 => NOISE_MAX_Q4,
            noise_q4 => noise_q4,
        }
    }

    #[cfg_attr(target_arch = "avr", inline(never))]
    fn code(&self, at: u8) -> i32 {
        let [low, middle, high] = self.ring.get(usize::from(at)).copied().unwrap_or_default();
        i32::from_le_bytes([0, low, middle, high]) >> 8
    }
}

/// `sum / count`, q8, rounded towards zero; 0 of none. For a sum of so many codes.
#[cfg_attr(target_arch = "avr", inline(never))]
fn over_q8(sum: i32, count: u8) -> i32 {
    let count = i32::from(count);
    let whole = sum.checked_div(count).unwrap_or(0);
    let part = sum.wrapping_sub(whole.wrapping_mul(count));
    (whole << 8).wrapping_add((part << 8).checked_div(count).unwrap_or(0))
}

/// How far apart two values are. Not inlined: it takes much flash on an 8-bit
/// chip.
#[cfg_attr(target_arch = "avr", inline(never))]
pub(crate) const fn distance(a: i32, b: i32) -> u32 {
    a.abs_diff(b)
}

/// The root of a count up to 64, times 16, rounded up.
fn sixteen_roots(count: u8) -> u32 {
    let mut root = 16u8;
    while u16::from(root).wrapping_mul(u16::from(root)) < u16::from(count) << 8 {
        root = root.wrapping_add(1);
    }
    u32::from(root)
}

const fn after(at: u8) -> u8 {
    if at >= RING - 1 { 0 } else { at + 1 }
}

const fn before(at: u8) -> u8 {
    if at == 0 { RING - 1 } else { at - 1 }
}
