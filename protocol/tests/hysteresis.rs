//! The correction of hysteresis against the same memory in real numbers, written
//! anew here from its definition, and what a loop must be like.

mod support;

use proptest::collection::vec;
use proptest::prelude::*;
use scalewright_protocol::hysteresis::Plays;
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

/// Max and a width as settings may have them, Max in multiples of `step`.
fn capacity(step: i32) -> impl Strategy<Value = (i32, u16)> {
    let max = (10_000..=Settings::MAX_QUANTA / step * step)
        .prop_map(move |max| (max / step * step).max(10_000));
    let small = (10_000i32..200_000).prop_map(move |max| max / step * step);
    prop_oneof![max, small].prop_flat_map(|max| {
        let widest = (max / 100).min(i32::from(u16::MAX)) as u16;
        (Just(max), 1..=widest)
    })
}

/// Loads as shares of Max: mostly what a pan sees, now and then beyond.
fn shares() -> impl Strategy<Value = Vec<f64>> {
    let share = prop_oneof![8 => 0.0..1.0, 1 => -0.5..0.0, 1 => 1.0..1.6, 1 => Just(0.0)];
    vec(share, 1..60)
}

/// The largest difference over a walk, quanta.
fn largest_difference(max: i32, width: u16, shares: &[f64]) -> f64 {
    let mut plays = Plays::exercised();
    let mut real = Real::exercised(max);
    let mut largest: f64 = 0.0;
    for share in shares {
        let mass = (share * f64::from(max)) as i32;
        let foreseen = plays.correction(mass, max, width);
        let ours = plays.follow(mass, max, width);
        assert_eq!(ours, foreseen);
        assert_eq!(ours, plays.correction(mass, max, width), "followed twice");
        real.follow(f64::from(mass));
        let theirs = real.departure(f64::from(mass)) * f64::from(width);
        largest = largest.max((f64::from(ours) - theirs).abs());
    }
    largest
}

proptest! {
    #![proptest_config(support::many_cases())]

    /// Where Max is a multiple of 8 only the correction itself is rounded.
    #[test]
    fn it_is_the_real_memory_rounded((max, width) in capacity(8), shares in shares()) {
        let difference = largest_difference(max, width, &shares);
        prop_assert!(difference <= 0.5 + 1e-6, "{difference}");
    }

    /// Any other is off by 4 quanta at most, which moves a play's end by as much
    /// and its width by 3/8 of it: some 24 quanta in Max in all.
    #[test]
    fn a_max_that_is_no_multiple_costs_little((max, width) in capacity(1), shares in shares()) {
        let difference = largest_difference(max, width, &shares);
        let rounding = 24.0 * f64::from(width) / f64::from(max);
        prop_assert!(difference <= 0.5 + rounding, "{difference}");
    }

    /// No number harms, and nothing is taken off that is wider than the loop.
    #[test]
    fn any_numbers_do_no_harm(steps in vec((any::<i32>(), any::<i32>(), any::<u16>()), 0..40)) {
        let mut plays = Plays::exercised();
        for (mass, max, width) in steps {
            for mass in [mass, i32::MIN, i32::MAX, mass >> 8] {
                for max in [max, max >> 8, max & 31] {
                    let correction = plays.correction(mass, max, width);
                    prop_assert!(correction.unsigned_abs() <= u32::from(width));
                    prop_assert_eq!(plays.follow(mass, max, width), correction);
                }
            }
        }
    }

    /// A loop between two loads closes after its first round, lies inside the full
    /// one, and forgets the smaller loops that were made on its way.
    #[test]
    fn minor_loops_close(
        (max, width) in capacity(1),
        before in shares(),
        ends in (0.0..1.0, 0.0..1.0),
        between in vec(0.0..1.0, 0..12),
    ) {
        let quanta = |share: f64| (share * f64::from(max)) as i32;
        let (low, high) = (quanta(f64::min(ends.0, ends.1)), quanta(f64::max(ends.0, ends.1)));
        let mut plays = Plays::exercised();
        for share in before {
            plays.follow(quanta(share), max, width);
        }
        plays.follow(low, max, width);
        plays.follow(high, max, width);
        let at_high = plays;
        let down = plays.follow(low, max, width);
        let at_low = plays;
        for share in between {
            let inside = low + (share * f64::from(high - low)) as i32;
            plays.follow(inside, max, width);
        }
        plays.follow(high, max, width);
        prop_assert_eq!(plays, at_high);
        prop_assert_eq!(plays.follow(low, max, width), down);
        prop_assert_eq!(plays, at_low);
        let middle = low + (high - low) / 2;
        let up = plays.follow(middle, max, width);
        plays.follow(high, max, width);
        let back = plays.follow(middle, max, width);
        prop_assert!((0..=i32::from(width) + 1).contains(&(back - up)), "{up}, {back}");
    }
}

/// Up to Max and back in 1000 steps: closed at both ends, as wide as ordered in
/// the middle and nowhere wider, and the two ways at the same distance from the
/// middle curve.
#[test]
fn the_full_loop_has_the_width_ordered_and_is_symmetrical() {
    for (max, width) in [
        (3_000_000, 1000u16),
        (3_000_000, 2),
        (600_000, 200),
        (600_001, 40),
        (Settings::MAX_QUANTA, 65_534),
        (10_000, 100),
    ] {
        let mut plays = Plays::exercised();
        let at = |step: i32| (i64::from(max) * i64::from(step) / 1000) as i32;
        let up: Vec<i32> = (0..=1000)
            .map(|step| plays.follow(at(step), max, width))
            .collect();
        let down: Vec<i32> = (0..=1000)
            .rev()
            .map(|step| plays.follow(at(step), max, width))
            .collect();
        let half = i32::from(width) / 2;
        let mut widest = 0;
        for (up, down) in up.iter().zip(down.iter().rev()) {
            // Exact but for what a Max that is no multiple of 8 is rounded by.
            assert!((up + down).abs() <= i32::from(max % 8 != 0), "{up} {down}");
            assert!(*up <= 0 && *down >= 0);
            widest = widest.max(down - up);
        }
        assert_eq!(widest, i32::from(width), "Max {max}");
        assert_eq!((up[500], down[500]), (-half, half));
        assert_eq!((up[0], up[1000], down[1000]), (0, 0, 0));
        assert_eq!(plays, Plays::exercised(), "and it begins anew");
    }
}

#[test]
fn no_width_corrects_nothing_and_remembers_nothing() {
    let mut plays = Plays::exercised();
    for mass in [0, 3_000_000, 10, i32::MIN] {
        assert_eq!(plays.follow(mass, 3_000_000, 0), 0);
    }
    assert_eq!(plays, Plays::exercised());
}

/// By hand: Max 800, so that the plays are 100 and 300 wide; the loop 8.
#[test]
fn a_walk_by_hand() {
    let mut plays = Plays::exercised();
    let mut at = |mass| plays.follow(mass, 800, 8);
    // Narrow: low 0, middle 25; wide: low 0, middle 25. −25/100 and −25/300 make
    // −1/6 together, 8 times that is −4/3.
    assert_eq!(at(50), -1);
    // Low 300, middle 350; low 100, middle 250: −1/2 and −1/2.
    assert_eq!(at(400), -4);
    // Low 300, middle 250; low 100, middle 150: 1/2 and −1/6 make 1/6.
    assert_eq!(at(300), 1);
    // A tenth of a play below zero moves both: low −10, middle −10.
    assert_eq!(at(-10), 0);
    // And is still there at zero: −10/100 and −10/300 make −1/15.
    assert_eq!(at(0), -1);
}
