//! What a table means, worked out a second time in exact rational numbers.
//!
//! Written from the definition in the documentation of `Table::lookup` and in
//! WIRE.md, not from its code: the mass is a fraction of two `i128`, and rounding
//! is judged, never done.

use scalewright_protocol::table::{Knot, Place};

/// The exact mass at some counts: `above / below` quanta.
#[derive(Clone, Copy, Debug)]
pub struct Exact {
    /// Numerator.
    pub above: i128,
    /// Denominator, positive.
    pub below: i128,
    /// Where the counts lie.
    pub place: Place,
}

impl Exact {
    /// Exact mass at `counts`/`scale` counts.
    pub fn at(knots: &[Knot], counts: i64, scale: i64) -> Self {
        let (first, last) = (knots[0], knots[knots.len() - 1]);
        let whole = |count: i32| i128::from(count) * i128::from(scale);
        let quarter = (i128::from(last.counts) - i128::from(first.counts)) / 4;
        let floor = whole(first.counts) - quarter * i128::from(scale);
        let ceiling = whole(last.counts) + quarter * i128::from(scale);
        let asked = i128::from(counts);
        let held = asked.clamp(floor, ceiling);
        let place = if held != asked {
            Place::Beyond
        } else if held < whole(first.counts) || held > whole(last.counts) {
            Place::Continued
        } else {
            Place::Inside
        };
        // The last segment that begins at or below, else the first of all.
        let inner = &knots[1..knots.len() - 1];
        let start = inner.iter().filter(|k| whole(k.counts) <= held).count();
        let (a, b) = (knots[start], knots[start + 1]);
        let below = whole(b.counts) - whole(a.counts);
        let rise = i128::from(b.mass) - i128::from(a.mass);
        let above = i128::from(a.mass) * below + (held - whole(a.counts)) * rise;
        Self {
            above,
            below,
            place,
        }
    }

    /// Whether `mass` is the nearest whole number, of two the one further from 0.
    pub fn rounds_to(&self, mass: i32) -> bool {
        // |mass − above/below| against 1/2, times 2·below.
        let off = 2 * (i128::from(mass) * self.below - self.above);
        let tie_outward = off.abs() == self.below && (off > 0) == (self.above > 0);
        off.abs() < self.below || tie_outward
    }
}
