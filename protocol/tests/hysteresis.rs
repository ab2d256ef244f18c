//! The correction of hysteresis against the same memory in real numbers, written
//! anew here from its definition, and what a loop must be like.

mod support;

use proptest::collection::vec;
use proptest::prelude::*;
use scalewright_protocol::hysteresis::{Plays, gain, width};
use scalewright_protocol::settings::Settings;

/// Two backlash elements with half plays of Max/16 and 3 Max/16, by position.
struct Real {
    max: f64,
    positions: [f64; 2],
}

impl Real {
    fn halves(&self) -> [f64; 2] {
        [self.max / 16.0, 3.0 * self.max / 16.0]
    }

    fn exercised(max: i32) -> Self {
        let mut new = Self {
            max: f64::from(max),
            positions: [0.0; 2],
        };
        new.positions = new.halves();
        new
    }

    fn follow(&mut self, mass: f64) {
        let halves = self.halves();
        for (position, half) in self.positions.iter_mut().zip(halves) {
            *position = position.max(mass - half).min(mass + half);
        }
    }

    /// Mean departure from the middle of the full loop, in widths.
    fn departure(&self, mass: f64) -> f64 {
        let each = self.positions.iter().zip(self.halves());
        let sum: f64 = each
            .map(|(position, half)| {
                let play = 2.0 * half;
                let middle = if mass <= 0.0 {
                    mass
                } else if mass >= self.max {
                    mass - play
                } else {
                    // Rising and falling branch of the full loop.
                    let rising = (mass - play).max(0.0);
                    let falling = mass.min(self.max - play);
                    f64::midpoint(rising, falling)
                };
                (position - half - middle) / play
            })
            .sum();
        sum / 2.0
    }
}

/// Max and a gain as settings may have them, Max in multiples of `step`.
fn capacity(step: i32) -> impl Strategy<Value = (i32, u16)> {
    let max = (10_000..=Settings::MAX_QUANTA / step * step)
        .prop_map(move |max| (max / step * step).max(10_000));
    let small = (10_000i32..200_000).prop_map(move |max| max / step * step);
    (prop_oneof![max, small], 1u16..)
}

/// The width a gain stands for, from its definition, quanta.
fn real_width(gain: u16, max: i32) -> f64 {
    f64::from(gain) / f64::from(1 << 24) * 1.5 * f64::from(max)
}

/// Loads as shares of Max: mostly what a pan sees, now and then beyond.
fn shares() -> impl Strategy<Value = Vec<f64>> {
    let share = prop_oneof![8 => 0.0..1.0, 1 => -0.5..0.0, 1 => 1.0..1.6, 1 => Just(0.0)];
    vec(share, 1..60)
}

/// The largest difference over a walk, quanta.
fn largest_difference(max: i32, gain: u16, shares: &[f64]) -> f64 {
    let mut plays = Plays::exercised();
    let mut real = Real::exercised(max);
    let mut largest: f64 = 0.0;
    for share in shares {
        let mass = (share * f64::from(max)) as i32;
        let foreseen = plays.correction(mass, max, gain);
        let ours = plays.follow(mass, max, gain);
        assert_eq!(ours, foreseen);
        assert_eq!(ours, plays.correction(mass, max, gain), "followed twice");
        real.follow(f64::from(mass));
        let theirs = real.departure(f64::from(mass)) * real_width(gain, max);
        largest = largest.max((f64::from(ours) - theirs).abs());
    }
    largest
}

proptest! {
    #![proptest_config(support::many_cases())]

    /// Where Max is a multiple of 8 only the correction itself is rounded.
    #[test]
    fn it_is_the_real_memory_rounded((max, gain) in capacity(8), shares in shares()) {
        let difference = largest_difference(max, gain, &shares);
        prop_assert!(difference <= 0.5 + 1e-6, "{difference}");
    }

    /// Any other is off by 4 quanta at most, which moves a play's end by as much
    /// and its width by 3/8 of it: some 24 quanta in Max in all.
    #[test]
    fn a_max_that_is_no_multiple_costs_little((max, gain) in capacity(1), shares in shares()) {
        let difference = largest_difference(max, gain, &shares);
        let rounding = 24.0 * real_width(gain, max) / f64::from(max);
        prop_assert!(difference <= 0.5 + rounding, "{difference}");
    }

    /// No number harms, and nothing is taken off that is wider than the loop.
    #[test]
    fn any_numbers_do_no_harm(steps in vec((any::<i32>(), any::<i32>(), any::<u16>()), 0..40)) {
        let mut plays = Plays::exercised();
        for (mass, max, gain) in steps {
            for mass in [mass, i32::MIN, i32::MAX, mass >> 8] {
                for max in [max, max >> 8, max & 31] {
                    let correction = plays.correction(mass, max, gain);
                    prop_assert!(correction.unsigned_abs() <= width(gain, max) + 1);
                    prop_assert_eq!(plays.follow(mass, max, gain), correction);
                }
            }
        }
    }

    /// A loop between two loads closes after its first round, lies inside the full
    /// one, and forgets the smaller loops that were made on its way.
    #[test]
    fn minor_loops_close(
        (max, gain) in capacity(1),
        before in shares(),
        ends in (0.0..1.0, 0.0..1.0),
        between in vec(0.0..1.0, 0..12),
    ) {
        let quanta = |share: f64| (share * f64::from(max)) as i32;
        let (low, high) = (quanta(f64::min(ends.0, ends.1)), quanta(f64::max(ends.0, ends.1)));
        let mut plays = Plays::exercised();
        for share in before {
            plays.follow(quanta(share), max, gain);
        }
        plays.follow(low, max, gain);
        plays.follow(high, max, gain);
        let at_high = plays;
        let down = plays.follow(low, max, gain);
        let at_low = plays;
        for share in between {
            let inside = low + (share * f64::from(high - low)) as i32;
            plays.follow(inside, max, gain);
        }
        plays.follow(high, max, gain);
        prop_assert_eq!(plays, at_high);
        prop_assert_eq!(plays.follow(low, max, gain), down);
        prop_assert_eq!(plays, at_low);
        let middle = low + (high - low) / 2;
        let up = plays.follow(middle, max, gain);
        plays.follow(high, max, gain);
        let back = plays.follow(middle, max, gain);
        let widest = width(gain, max) as i32 + 1;
        prop_assert!((0..=widest).contains(&(back - up)), "{up}, {back}");
    }
}

/// Up to Max and back in 1000 steps: closed at both ends, as wide as ordered in
/// the middle and nowhere wider, and the two ways at the same distance from the
/// middle curve.
#[test]
fn the_full_loop_has_the_width_ordered_and_is_symmetrical() {
    for (max, width) in [
        (3_000_000, 1000u32),
        (3_000_000, 2),
        (600_000, 200),
        (600_001, 40),
        (Settings::MAX_QUANTA, 700_000),
        (10_000, 50),
    ] {
        let gain = gain(width, max);
        let mut plays = Plays::exercised();
        let at = |step: i32| (i64::from(max) * i64::from(step) / 1000) as i32;
        let up: Vec<i32> = (0..=1000)
            .map(|step| plays.follow(at(step), max, gain))
            .collect();
        let down: Vec<i32> = (0..=1000)
            .rev()
            .map(|step| plays.follow(at(step), max, gain))
            .collect();
        let half = width as i32 / 2;
        let mut widest = 0;
        for (up, down) in up.iter().zip(down.iter().rev()) {
            // But for ties, which go up, and a Max that is no multiple of 8.
            let below = i32::from(max % 8 != 0);
            assert!((-below..=1).contains(&(up + down)), "{max}: {up} {down}");
            assert!(*up <= 0 && *down >= 0);
            widest = widest.max(down - up);
        }
        assert!(
            widest.abs_diff(width as i32) <= steps(width),
            "Max {max}: {widest}"
        );
        assert!(up[500].abs_diff(-half) <= steps(width), "{}", up[500]);
        assert!(down[500].abs_diff(half) <= steps(width), "{}", down[500]);
        assert_eq!((up[0], up[1000], down[1000]), (0, 0, 0));
        assert_eq!(plays, Plays::exercised(), "and it begins anew");
    }
}

#[test]
fn no_gain_corrects_nothing_and_remembers_nothing() {
    let mut plays = Plays::exercised();
    for mass in [0, 3_000_000, 10, i32::MIN] {
        assert_eq!(plays.follow(mass, 3_000_000, gain(0, 3_000_000)), 0);
    }
    assert_eq!(plays, Plays::exercised());
}

/// By hand: Max 8000, so that the plays are 1000 and 3000 wide; the loop 40.
#[test]
fn a_walk_by_hand() {
    let gain = gain(40, 8000);
    // A 300th of 2^24, which is 55 924.05.
    assert_eq!((gain, width(gain, 8000)), (55_924, 40));
    let mut plays = Plays::exercised();
    let mut at = |mass| plays.follow(mass, 8000, gain);
    // Narrow: low 0, middle 250; wide: low 0, middle 250. −250/1000 and −250/3000
    // make −1/6 together, 40 times that is −20/3.
    assert_eq!(at(500), -7);
    // Low 3000, middle 3500; low 1000, middle 2500: −1/2 and −1/2.
    assert_eq!(at(4000), -20);
    // Low 3000, middle 2500; low 1000, middle 1500: 1/2 and −1/6 make 1/6.
    assert_eq!(at(3000), 7);
    // A tenth of a play below zero moves both: low −100, middle −100.
    assert_eq!(at(-100), 0);
    // And is still there at zero: −100/1000 and −100/3000 make −1/15.
    assert_eq!(at(0), -3);
}

#[test]
fn a_gain_tells_a_width_to_its_step_and_no_more_than_fits() {
    for (width_quanta, max) in [
        (1, 3_000_000),
        (1500, 3_000_000),
        (40, 600_000),
        (7, 10_000),
    ] {
        let told = width(gain(width_quanta, max), max);
        assert!(told.abs_diff(width_quanta) <= steps(width_quanta), "{told}");
    }
    assert_eq!(gain(u32::MAX, 10_000), u16::MAX);
    assert_eq!(gain(6000, 1_000_000), u16::MAX);
    assert_eq!(width(u16::MAX, 1_000_000), 5859);
    // No Max that settings may have; no harm.
    assert_eq!((gain(5, 0), width(9, 0)), (0, 0));
}

/// What a step of the gain may move a width by, quanta.
fn steps(width: u32) -> u32 {
    1 + width / 10_000
}
