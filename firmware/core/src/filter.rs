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
//! **Sums, not codes, are kept**: of all codes up to each of the last ones. What any
//! stretch of the run adds up to is then one difference, and a sample costs the same
//! however long the run is; only where a run begins is it looked through.
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
/// Room for the sums of the longest run, for the one before it and for two codes held
/// back. A power of two is found its way round sooner: where there is RAM for it, a
/// sample takes a fourteenth less time.
const RING: u8 = if usize::BITS < 32 {
    LONGEST + 3
} else {
    2 * LONGEST
};
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
    /// Where the next sum goes.
    next: u8,
    /// Codes held back; their sums lie from `next` on.
    held: u8,
    /// Codes of the run since the last one at an end of the range; held at [`LONGEST`].
    sound: u8,
    /// How far neighbours in the run lie apart, all together, counts: between codes of
    /// 24 bits there are less than 2^24, so that it stays below 2^30.
    rough: u32,
    /// The newest code that was taken, counts, and how far it lay from the one taken
    /// before.
    newest: i32,
    moved: u32,
    /// Sum of all codes up to each of the last, counts, wrapping: differences over a
    /// run stay below 2^30.
    sums: [i32; RING as usize],
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
            sound: 0,
            rough: 0,
            newest: 0,
            moved: 0,
            sums: [0; RING as usize],
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
        let limit = (self.moved << 1)
            .wrapping_add(u32::from(self.known_noise_q4() >> WILD_SHIFT))
            .wrapping_add(SPIKE_FLOOR_COUNTS);
        let wild = self.out.run > 0 && distance(code, self.newest) > limit;
        self.held = if wild { self.held.wrapping_add(1) } else { 0 };
        let mut at = self.next;
        for _ in 1..self.held {
            at = after(at);
        }
        let sum = self.sum_at(before(at)).wrapping_add(code);
        if let Some(place) = self.sums.get_mut(usize::from(at)) {
            *place = sum;
        }
        match self.held {
            0 => self.take(),
            STEP => {
                self.held = 0;
                // A load seldom steps; who steps all the time is noise.
                self.believe_more((self.out.noise_q4 >> 3).wrapping_add(STEP_NOISE_Q4));
                self.begin(STEP);
            }
            _ => return true,
        }
        false
    }

    /// The run begins anew with the next so many codes of the ring.
    #[cfg_attr(target_arch = "avr", inline(never))]
    fn begin(&mut self, run: u8) {
        self.out.run = 0;
        for _ in 0..run {
            self.take();
        }
    }

    /// The next code of the ring belongs to the run.
    #[cfg_attr(target_arch = "avr", inline(never))]
    fn take(&mut self) {
        self.next = after(self.next);
        let run = self.out.run;
        let code = self.sum(0, 1);
        self.moved = distance(code, self.newest);
        self.newest = code;
        let mut rough = match run {
            0 => 0,
            _ => self.rough.wrapping_add(self.moved),
        };
        if run == LONGEST {
            rough = rough.wrapping_sub(self.apart(LONGEST - 1, 1));
        } else {
            self.out.run = run.wrapping_add(1);
        }
        self.rough = rough;
        // Whichever end: without its sign either is CODE_MAX.
        self.sound = if code ^ (code >> 31) == CODE_MAX {
            0
        } else {
            self.sound.wrapping_add(1).min(LONGEST)
        };
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
        // The sums up to the newest, and to the last of the k before the newest k.
        let newest = self.sum_to(0);
        let mut middle = self.sum_to(1);
        while k <= self.out.run / 2 {
            let oldest = self.sum_to(k << 1);
            let apart = distance(newest.wrapping_sub(middle), middle.wrapping_sub(oldest));
            middle = oldest;
            if apart > bound_q4.wrapping_add(floor_q4) >> 4 {
                // Taken once more, from the first of them on.
                self.next = self.place(k.wrapping_sub(1));
                // What came before that one is what it moved from.
                self.newest = self.sum(0, 1);
                self.begin(k);
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
        self.out.trend = self.apart(0, run / 2);
        self.out.saturated = self.sound < depth;
        // Of normal noise neighbours lie 2/√π = 1.128 standard deviations apart
        // on average: 16 over that is 14.
        let mean_q2 = (self.rough << 2).checked_div(u32::from(run.wrapping_sub(1)));
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

    /// How far the sums of the `k` codes before the newest `skipped`, and of the `k`
    /// before those, are apart.
    #[cfg_attr(target_arch = "avr", inline(never))]
    #[cfg_attr(not(target_arch = "avr"), inline(always))]
    fn apart(&self, skipped: u8, k: u8) -> u32 {
        let middle = self.sum_to(skipped.wrapping_add(k));
        let newer = self.sum_to(skipped).wrapping_sub(middle);
        let before = skipped.wrapping_add(k << 1);
        distance(newer, middle.wrapping_sub(self.sum_to(before)))
    }

    /// Sum of the `count` codes before the newest `skipped`, counts: at most 64
    /// codes of 24 bits, so that it stays below 2^30.
    #[cfg_attr(target_arch = "avr", inline(never))]
    #[cfg_attr(not(target_arch = "avr"), inline(always))]
    fn sum(&self, skipped: u8, count: u8) -> i32 {
        self.sum_to(skipped)
            .wrapping_sub(self.sum_to(skipped.wrapping_add(count)))
    }

    const fn known_noise_q4(&self) -> u16 {
        match self.out.noise_q4 {
            0 => NOISE_MAX_Q4,
            noise_q4 => noise_q4,
        }
    }

    /// Sum of all codes up to that one, wrapping.
    fn sum_to(&self, ago: u8) -> i32 {
        self.sum_at(self.place(ago))
    }

    #[cfg_attr(target_arch = "avr", inline(never))]
    fn sum_at(&self, at: u8) -> i32 {
        self.sums.get(usize::from(at)).copied().unwrap_or_default()
    }

    /// Where the sum up to that code stands.
    #[cfg_attr(target_arch = "avr", inline(never))]
    fn place(&self, ago: u8) -> u8 {
        let back = ago.wrapping_add(1);
        if RING.is_power_of_two() {
            return self.next.wrapping_sub(back) & (RING - 1);
        }
        let round = if back > self.next { RING } else { 0 };
        self.next.wrapping_add(round).wrapping_sub(back)
    }
}

/// `sum / count`, q8, rounded towards zero; 0 of none. For a sum of so many codes.
#[cfg_attr(target_arch = "avr", inline(never))]
fn over_q8(sum: i32, count: u8) -> i32 {
    let magnitude = sum.unsigned_abs();
    let whole = magnitude.checked_div(u32::from(count)).unwrap_or(0);
    // Less than `count`, which is at most 64: the rest of it fits 16 bits.
    let part = magnitude.wrapping_sub(whole.wrapping_mul(u32::from(count))) as u16;
    let fraction = (part << 8).checked_div(u16::from(count)).unwrap_or(0);
    let q8 = (whole << 8).wrapping_add(u32::from(fraction)) as i32;
    if sum < 0 { q8.wrapping_neg() } else { q8 }
}

/// How far apart two values are. Not inlined: it takes much flash on an 8-bit
/// chip.
#[cfg_attr(target_arch = "avr", inline(never))]
pub(crate) const fn distance(a: i32, b: i32) -> u32 {
    a.abs_diff(b)
}

/// The root of a count up to 64, times 16, rounded up.
fn sixteen_roots(count: u8) -> u32 {
    // The largest number below it, bit by bit.
    let mut below = 0u8;
    let mut bit = 128u8;
    while bit > 0 {
        let tried = below | bit;
        if u16::from(tried).wrapping_mul(u16::from(tried)) < u16::from(count) << 8 {
            below = tried;
        }
        bit >>= 1;
    }
    u32::from(below).wrapping_add(1)
}

const fn after(at: u8) -> u8 {
    if at >= RING - 1 { 0 } else { at + 1 }
}

const fn before(at: u8) -> u8 {
    if at == 0 { RING - 1 } else { at - 1 }
}
