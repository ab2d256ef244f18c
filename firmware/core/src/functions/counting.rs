//! Counting equal pieces by weighing.
//!
//! A sample of `n0` pieces gives the mass of one, and every other mass a number
//! of pieces. Owns the sample, the count and what the count is worth; refuses to
//! call a count sure that is not.
//!
//! **What a count is worth.** With the mean mass `M0` of the sample and the mass
//! `M` on the pan the number of pieces is `N = n0 · M / M0`. By propagation of
//! uncertainty for independent inputs (JCGM 100:2008 clause 5.1.2, formula 10)
//!
//! ```text
//! u²(N) = (∂N/∂M)² u²(M) + (∂N/∂M0)² u²(M0)
//!       = (n0/M0)² u²(M) + (n0 M/M0²)² u²(M0)
//!       = [ u²(M) + (M/M0)² u²(M0) ] / p²,      p = M0/n0
//! ```
//!
//! so the sample's part grows with the count. `n0` is counted by hand and exact.
//!
//! Of each mass the interval it certainly lay in is known: the spread `R` of the
//! reading (highest minus lowest, quanta) and the quantum it is rounded to. Both
//! are taken as rectangular (same, clauses 4.3.7 and F.2.2.1): `u² = (R² + 1)/12`.
//! Readings follow each other through a filter and are not independent, so the
//! mean of the sample counts as sure as one of them, no more.
//!
//! What is shown is `U = 2 u(N)` (clause 6.2.1, k = 2). A count is sure while
//! `U ≤ 1/2`: the next whole number is then the right one, as far as the scale
//! can tell. An error of calibration that is the same share of any mass cancels
//! in `M/M0`. Pieces that differ are not in it: nobody knows by how much.

use crate::moments::root_of;
use scalewright_protocol::wide::{quotient, to_nearest};

/// Readings of which the sample's mean is made.
pub const READINGS: u8 = 16;
/// Most pieces of a sample.
pub const MOST_PIECES: u16 = 9999;
/// Sizes of a sample that are offered.
pub const OFFERED: [u16; 4] = [10, 20, 50, 100];
/// Half a piece in parts of 256: the widest U of a sure count.
const HALF_Q8: u32 = 128;
/// Spreads are held here, quanta: such a reading is none at rest.
const WIDEST: u32 = 1 << 20;

/// A sample being weighed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sampling {
    pieces: u16,
    sum: i64,
    taken: u8,
    spread: u32,
}

impl Sampling {
    /// Of so many pieces, 1 to [`MOST_PIECES`]; what is outside is held there.
    #[must_use]
    pub const fn new(pieces: u16) -> Self {
        let pieces = if pieces == 0 { 1 } else { pieces };
        Self {
            pieces: if pieces > MOST_PIECES {
                MOST_PIECES
            } else {
                pieces
            },
            sum: 0,
            taken: 0,
            spread: 0,
        }
    }

    /// Pieces of the sample.
    #[must_use]
    pub const fn pieces(&self) -> u16 {
        self.pieces
    }

    /// Readings taken, of [`READINGS`].
    #[must_use]
    pub const fn taken(&self) -> u8 {
        self.taken
    }

    /// Takes an unrounded net mass, quanta, and the spread of the reading; begins
    /// anew when the load is not at rest. The sample, once there are enough.
    ///
    /// # Errors
    /// [`TooLight`]: less than a quantum a piece, or less than `d` quanta in all: what
    /// an empty pan may read as well.
    #[inline(never)]
    pub fn push(
        &mut self,
        net: Option<i32>,
        spread: u32,
        at_rest: bool,
        d: i32,
    ) -> Option<Result<Sample, TooLight>> {
        let Some(net) = net.filter(|_| at_rest) else {
            *self = Self::new(self.pieces);
            return None;
        };
        self.sum = self.sum.wrapping_add(i64::from(net));
        self.spread = self.spread.max(spread.min(WIDEST));
        self.taken = self.taken.wrapping_add(1);
        if self.taken < READINGS {
            return None;
        }
        let sum = u64::try_from(self.sum).unwrap_or(0);
        let least = u64::from(self.pieces).max(u64::from(d.unsigned_abs()));
        let least = least.wrapping_mul(u64::from(READINGS));
        Some(if sum < least {
            Err(TooLight)
        } else {
            Ok(Sample {
                pieces: self.pieces,
                sum,
                spread: self.spread,
            })
        })
    }
}

/// A sample weighs too little to say what one piece weighs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TooLight;

/// A weighed sample: what one piece weighs, and how surely.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sample {
    pieces: u16,
    /// Of [`READINGS`] readings, quanta.
    sum: u64,
    spread: u32,
}

/// A count.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Count {
    /// The nearest whole number of pieces.
    pub pieces: i64,
    /// Its expanded uncertainty U, k = 2, in parts of 1/256 piece, rounded up.
    pub uncertainty_q8: u32,
}

/// What to do about a count that is not sure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Advice {
    /// Take this many pieces as sample.
    Take(u16),
    /// No sample helps: the pieces are too light for this scale.
    TooLight,
}

impl Count {
    /// Whether U is at most half a piece.
    #[must_use]
    pub const fn is_sure(&self) -> bool {
        self.uncertainty_q8 <= HALF_Q8
    }

    /// U in tenths of a piece, rounded up.
    #[must_use]
    pub const fn uncertainty_tenths(&self) -> u64 {
        (self.uncertainty_q8 as u64).wrapping_mul(10).div_ceil(256)
    }
}

impl Sample {
    /// Pieces of it.
    #[must_use]
    pub const fn pieces(&self) -> u16 {
        self.pieces
    }

    /// Mass of so many pieces, quanta, to the nearest.
    #[must_use]
    #[inline(never)]
    pub fn mass_of(&self, pieces: u32) -> i32 {
        let all = u128::from(self.sum).wrapping_mul(u128::from(pieces));
        let by = u128::from(self.pieces).wrapping_mul(u128::from(READINGS));
        i32::try_from(to_nearest(all, by)).unwrap_or(i32::MAX)
    }

    /// The number of pieces that weigh `net` quanta, read with this spread.
    #[must_use]
    #[inline(never)]
    pub fn count(&self, net: i32, spread: u32) -> Count {
        // 2^31 · 2^4 · 2^14 at most.
        let masses = u64::from(net.unsigned_abs()).wrapping_mul(self.per_sum());
        let pieces = to_nearest(u128::from(masses), u128::from(self.sum)) as i64;
        Count {
            pieces: if net < 0 {
                pieces.wrapping_neg()
            } else {
                pieces
            },
            uncertainty_q8: self.uncertainty_q8(net, spread),
        }
    }

    /// Readings times pieces: a piece's mass is the sum divided by it.
    fn per_sum(&self) -> u64 {
        u64::from(self.pieces).wrapping_mul(u64::from(READINGS))
    }

    /// U = √((A + (M/M0)² B) / 3) / p with A = R² + 1 and B = R0² + 1: twice the
    /// root of the sum over twelve.
    #[inline(never)]
    fn uncertainty_q8(&self, net: i32, spread: u32) -> u32 {
        let net_q12 = u128::from(net.unsigned_abs()).wrapping_mul(u128::from(READINGS) << 8);
        let ratio_q8 = quotient(net_q12, u128::from(self.sum));
        // (2^43)² · 2^41 at most.
        let of_sample = ratio_q8
            .wrapping_mul(ratio_q8)
            .wrapping_mul(squares(self.spread));
        let twelve_q16 = (squares(spread) << 16).saturating_add(of_sample);
        let Ok(third_q16) = u64::try_from(quotient(twelve_q16, 3)) else {
            return u32::MAX;
        };
        let quanta_q8 = u64::from(root(third_q16)).saturating_add(1);
        let masses_q8 = u128::from(quanta_q8).wrapping_mul(u128::from(self.per_sum()));
        let pieces_q8 = quotient(masses_q8, u128::from(self.sum));
        u32::try_from(pieces_q8.saturating_add(1)).unwrap_or(u32::MAX)
    }

    /// What would make this count sure: from `U ≤ 1/2` with `M0 = n p`
    ///
    /// ```text
    /// n ≥ N √( B / (3/4 p² − A) )
    /// ```
    ///
    /// Nothing does when the reading alone is too unsure, or when as many pieces
    /// as are on the pan would have to be counted by hand.
    #[must_use]
    #[inline(never)]
    pub fn advice(&self, net: i32, spread: u32) -> Advice {
        let piece_q8 = quotient(u128::from(self.sum << 8), u128::from(self.per_sum()));
        let room_q16 = (piece_q8.wrapping_mul(piece_q8) >> 2).wrapping_mul(3);
        let room_q16 = room_q16.saturating_sub(squares(spread) << 16);
        if room_q16 == 0 {
            return Advice::TooLight;
        }
        let masses_q8 =
            u128::from(net.unsigned_abs()).wrapping_mul(u128::from(self.per_sum()) << 8);
        let pieces_q8 = quotient(masses_q8, u128::from(self.sum));
        let square = pieces_q8
            .wrapping_mul(pieces_q8)
            .saturating_mul(squares(self.spread));
        let Ok(square) = u64::try_from(quotient(square, room_q16)) else {
            return Advice::TooLight;
        };
        let least = u128::from(root(square)).wrapping_add(1);
        let wanted = handy(u64::try_from(least).unwrap_or(u64::MAX));
        if u128::from(wanted) << 8 > pieces_q8 {
            return Advice::TooLight;
        }
        match u16::try_from(wanted) {
            Ok(pieces) if pieces <= MOST_PIECES => Advice::Take(pieces),
            _ => Advice::TooLight,
        }
    }

    /// The number of pieces on the pan, if it would make a better sample than
    /// this one: a sure count of at least twice as many.
    #[must_use]
    #[inline(never)]
    pub fn renewal(&self, net: i32, spread: u32) -> Option<u16> {
        let count = self.count(net, spread);
        let pieces = u16::try_from(count.pieces).ok()?;
        let enough = pieces >= self.pieces.saturating_mul(2) && pieces <= MOST_PIECES;
        (count.is_sure() && enough).then_some(pieces)
    }
}

/// The root, rounded down; one copy of it.
#[inline(never)]
fn root(square: u64) -> u32 {
    root_of(square)
}

/// R² + 1.
fn squares(spread: u32) -> u128 {
    let spread = u128::from(spread.min(WIDEST));
    spread.wrapping_mul(spread).wrapping_add(1)
}

/// The next number from `least` on that is easily counted: below 20 by fives,
/// then by tens up to 100, then by fifties.
const fn handy(least: u64) -> u64 {
    let by = match least {
        0..=20 => 5,
        21..=100 => 10,
        _ => 50,
    };
    least.div_ceil(by).saturating_mul(by)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn sample(pieces: u16, masses: &[i32], spread: u32) -> Sample {
        let mut sampling = Sampling::new(pieces);
        let mut done = None;
        for mass in masses.iter().cycle().take(usize::from(READINGS)) {
            assert_eq!(done, None);
            done = sampling.push(Some(*mass), spread, true, 1);
        }
        done.expect("enough").expect("heavy enough")
    }

    /// The formula of the module's head, in f64: N and U.
    fn by_formula(sample: &Sample, net: i32, spread: u32) -> (f64, f64) {
        let mean = sample.sum as f64 / f64::from(READINGS);
        let piece = mean / f64::from(sample.pieces);
        let square = |spread: u32| (f64::from(spread).powi(2) + 1.0) / 12.0;
        let variance = (square(spread) + (f64::from(net) / mean).powi(2) * square(sample.spread))
            / piece.powi(2);
        (f64::from(net) / piece, 2.0 * variance.sqrt())
    }

    #[test]
    fn the_mean_is_not_rounded_before_it_is_divided() {
        // Ten pieces of 12.35 quanta each, read as 123 and 124 in turn.
        let sample = sample(10, &[123, 124], 1);
        assert_eq!(sample.mass_of(100), 1235);
        assert_eq!(sample.mass_of(1), 12);
        assert_eq!(sample.count(12_350, 0).pieces, 1000);
        assert_eq!(sample.count(-247, 0).pieces, -20);
    }

    #[test]
    fn a_load_that_moves_begins_the_sample_anew() {
        let mut sampling = Sampling::new(20);
        for _ in 0..15 {
            assert_eq!(sampling.push(Some(4000), 3, true, 1), None);
        }
        assert_eq!(sampling.taken(), 15);
        assert_eq!(sampling.push(Some(9000), 900, false, 1), None);
        assert_eq!(sampling.taken(), 0);
        for _ in 0..15 {
            assert_eq!(sampling.push(Some(4000), 3, true, 1), None);
        }
        let done = sampling.push(Some(4000), 3, true, 1);
        assert_eq!(
            done,
            Some(Ok(Sample {
                pieces: 20,
                sum: 64_000,
                spread: 3
            }))
        );
    }

    #[test]
    fn nothing_and_less_make_no_sample() {
        for mass in [0, -500, 9] {
            let mut sampling = Sampling::new(10);
            let last = (0..READINGS)
                .filter_map(|_| sampling.push(Some(mass), 0, true, 1))
                .last();
            assert_eq!(last, Some(Err(TooLight)), "{mass}");
        }
        // An empty pan that reads a little.
        for (mass, enough) in [(999, false), (1000, true)] {
            let mut sampling = Sampling::new(10);
            let last = (0..READINGS)
                .filter_map(|_| sampling.push(Some(mass), 0, true, 1000))
                .last();
            assert_eq!(last.is_some_and(|found| found.is_ok()), enough, "{mass}");
        }
    }

    #[test]
    fn an_unsure_count_is_told_with_what_to_do() {
        // Ten pieces of 100 quanta, read to 40 quanta: one piece is known to
        // about 1 %, so that some tens are sure and a thousand are not.
        let few = sample(10, &[1000], 40);
        assert!(few.count(1000, 40).is_sure());
        let many = few.count(100_000, 40);
        assert!(!many.is_sure());
        let Advice::Take(pieces) = few.advice(100_000, 40) else {
            panic!("a larger sample helps");
        };
        let larger = sample(pieces, &[100 * i32::from(pieces)], 40);
        assert!(larger.count(100_000, 40).is_sure(), "{pieces} are enough");
        // One size down is not.
        let smaller = sample(pieces - 50, &[100 * i32::from(pieces - 50)], 40);
        assert!(!smaller.count(100_000, 40).is_sure());
        // A reading that swings by more than a piece cannot count them.
        assert_eq!(few.advice(100_000, 400), Advice::TooLight);
    }

    #[test]
    fn a_sure_count_may_become_the_sample() {
        let few = sample(10, &[1000], 10);
        assert_eq!(few.renewal(1900, 10), None, "hardly more");
        assert_eq!(few.renewal(4010, 10), Some(40));
        assert_eq!(few.renewal(1_000_000, 10), None, "not sure");
        assert_eq!(few.renewal(-4000, 10), None);
    }

    #[test]
    fn handy_numbers_are_round() {
        let handy = [1, 5, 6, 20, 21, 99, 100, 101, 9_999].map(handy);
        assert_eq!(handy, [5, 5, 10, 20, 30, 100, 100, 150, 10_000]);
    }

    proptest! {
        /// The integers against the formula in f64: counts are the nearest whole
        /// number, U is never less and at most 1/64 piece or 2 % more.
        #[test]
        fn count_and_uncertainty_are_those_of_the_formula(
            pieces in 1u16..=MOST_PIECES,
            piece in 1u32..20_000,
            (spread0, spread) in (0u32..5000, 0u32..5000),
            net in -(1i32 << 28)..=1 << 28,
        ) {
            let mass = i64::from(pieces) * i64::from(piece);
            prop_assume!(mass < 1 << 28);
            let sample = sample(pieces, &[mass as i32], spread0);
            let count = sample.count(net, spread);
            let (number, wide) = by_formula(&sample, net, spread);
            prop_assert!((count.pieces as f64 - number).abs() <= 0.5 + 1e-6, "{count:?} {number}");
            let said = f64::from(count.uncertainty_q8) / 256.0;
            prop_assert!(said >= (wide * 0.98).min(1e7), "{said} {wide}");
            if count.uncertainty_q8 == u32::MAX {
                // Past 2^24 quanta: nothing to be said.
                prop_assert!(wide * f64::from(piece) > 1e7);
            } else {
                let most = wide * 1.02 + 1.0 / 64.0 + 2.0 / f64::from(piece);
                prop_assert!(said <= most, "{said} {wide}");
            }
            // Sure or not: never sure beyond half a piece.
            if wide > 0.52 {
                prop_assert!(!count.is_sure());
            }
            if said < 0.48 {
                prop_assert!(count.is_sure());
            }
        }

        /// What is advised is enough, by the formula.
        #[test]
        fn advice_helps(
            pieces in 1u16..200, piece in 2u32..5000,
            (spread0, spread) in (0u32..3000, 0u32..3000), n in 10u32..9000,
        ) {
            let sample = sample(pieces, &[i32::from(pieces) * piece as i32], spread0);
            let net = (n * piece) as i32;
            if let Advice::Take(better) = sample.advice(net, spread) {
                prop_assert!(u32::from(better) <= n);
                let one = sample.sum as f64 / f64::from(READINGS) / f64::from(pieces);
                let square = |spread: u32| (f64::from(spread).powi(2) + 1.0) / 12.0;
                let mean = one * f64::from(better);
                let variance = (square(spread) + (f64::from(net) / mean).powi(2) * square(spread0))
                    / one.powi(2);
                prop_assert!(2.0 * variance.sqrt() <= 0.51, "{better}: {}", 2.0 * variance.sqrt());
            }
        }

        #[test]
        fn any_numbers_will_do(
            pieces: u16, masses in prop::collection::vec(any::<i32>(), 16),
            spreads in prop::collection::vec(any::<u32>(), 16), net: i32, spread: u32,
        ) {
            let mut sampling = Sampling::new(pieces);
            for (mass, spread) in masses.iter().zip(spreads) {
                if let Some(Ok(sample)) = sampling.push(Some(*mass), spread, true, 1) {
                    let _ = sample.count(net, spread).uncertainty_tenths();
                    let _ = sample.advice(net, spread);
                    let _ = sample.renewal(net, spread);
                    let _ = sample.mass_of(u32::MAX);
                }
            }
            let _ = spread;
        }
    }
}
