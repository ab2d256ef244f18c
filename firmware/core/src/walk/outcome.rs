//! What a walk came to: the table that its loads make, and how straight they lie.

use heapless::Vec;
use scalewright_protocol::curve::of_captures;
use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::{Knot, TableFault};
use scalewright_protocol::units::{divide_to_nearest, product, saturate_i32};

use super::{Taken, Walk};

/// What a calibration came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Summary {
    /// Loads taken.
    pub loads: u8,
    /// The largest load, quanta.
    pub largest: i32,
    /// How far the loads lie from a straight line from zero to the largest, at most,
    /// quanta, with its sign: what a scale set with one load would show too little.
    pub off_line: i32,
    /// At which load, quanta.
    pub off_line_at: i32,
    /// Whether that is more than any cell is bent: a load was not what was said.
    pub too_bent: bool,
    /// How far zero moved meanwhile, quanta.
    pub zero_moved: i32,
}

impl Walk {
    /// The table that the loads make.
    ///
    /// # Errors
    /// [`TableFault`].
    pub fn table<const KNOTS: usize>(&self) -> Result<Vec<Knot, KNOTS>, TableFault> {
        table_of(&self.loads, &self.settings)
    }

    /// What it came to.
    #[must_use]
    pub fn summary(&self) -> Summary {
        let mut summary = Summary {
            loads: u8::try_from(self.loads.len()).unwrap_or(u8::MAX),
            largest: 0,
            off_line: 0,
            off_line_at: 0,
            too_bent: false,
            zero_moved: 0,
        };
        let Some(top) = self.loads.iter().max_by_key(|taken| taken.counts) else {
            return summary;
        };
        summary.largest = top.mass;
        let by_line =
            |counts: i32| divide_to_nearest(product(top.mass, counts), i64::from(top.counts));
        for taken in &self.loads {
            let off = saturate_i32(i64::from(taken.mass) - by_line(taken.counts));
            if off.unsigned_abs() > summary.off_line.unsigned_abs() {
                (summary.off_line, summary.off_line_at) = (off, taken.mass);
            }
        }
        summary.too_bent = self.is_too_bent(summary.off_line, summary.largest);
        summary.zero_moved = saturate_i32(by_line(self.zero_moved_counts));
        summary
    }
}

/// The table that these loads make under these settings.
///
/// # Errors
/// [`TableFault`].
pub fn table_of<const KNOTS: usize>(
    loads: &[Taken],
    settings: &Settings,
) -> Result<Vec<Knot, KNOTS>, TableFault> {
    let knots = loads.iter().map(|taken| Knot {
        counts: taken.counts,
        mass: taken.mass,
    });
    of_captures(knots, settings.overload_above())
}
