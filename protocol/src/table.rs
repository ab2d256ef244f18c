//! The calibration table: net counts to mass, in pure integers.
//!
//! A [`Table`] can only be built from knots that make sense, so whoever holds
//! one may apply it without further checks. Laptop and device apply the same
//! code, so a prediction and an indication agree to the last quantum.

use heapless::Vec;
use serde::{Deserialize, Serialize};

use crate::checksum::Running;
use crate::units::{divide_down, product, saturate_i32};

/// Net counts may not lie further from zero than this: a 24-bit code minus a
/// 24-bit zero reference.
pub const NET_COUNTS_LIMIT: i32 = 1 << 24;

/// A knot's mass may not lie further from zero than this many quanta.
pub const MASS_LIMIT: i32 = 1 << 28;

/// How far the steepness of one segment may lie from that of the whole table,
/// as a factor either way. A load cell is straight to a per cent; a segment
/// twice as steep as the rest is a wrong weight, not a cell.
pub const SLOPE_RATIO_LIMIT: i64 = 2;

/// One knot of the table.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Knot {
    /// ADC counts above the zero reference.
    pub counts: i32,
    /// Mass in quanta.
    pub mass: i32,
}

/// Why knots do not make a table. Positions count from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum TableFault {
    /// Fewer than two knots.
    TooFew {
        /// Knots offered.
        knots: u8,
    },
    /// More knots than this scale can hold.
    TooMany {
        /// Knots offered.
        knots: u8,
        /// Knots that fit.
        fit: u8,
    },
    /// A knot's counts do not lie above those of the knot before.
    CountsOrder {
        /// Position of the later knot.
        at: u8,
    },
    /// A knot's mass does not lie above that of the knot before.
    MassOrder {
        /// Position of the later knot.
        at: u8,
    },
    /// A knot lies outside what the converter can deliver.
    CountsRange {
        /// Position of the knot.
        at: u8,
    },
    /// A knot's mass lies beyond [`MASS_LIMIT`].
    MassRange {
        /// Position of the knot.
        at: u8,
    },
    /// The table does not contain the knot of 0 counts and 0 mass.
    NoZero,
    /// A segment is more than twice as steep, or less than half as steep, as
    /// the table as a whole.
    Slope {
        /// Position of the knot that ends the segment.
        at: u8,
    },
}

impl core::fmt::Display for TableFault {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::TooFew { knots } => write!(f, "a table needs two points or more, not {knots}"),
            Self::TooMany { knots, fit } => {
                write!(f, "{knots} points do not fit: this scale holds {fit}")
            }
            Self::CountsOrder { at } => {
                write!(
                    f,
                    "counts do not rise from point {} to {}",
                    at,
                    u16::from(*at) + 1
                )
            }
            Self::MassOrder { at } => {
                write!(
                    f,
                    "mass does not rise from point {} to {}",
                    at,
                    u16::from(*at) + 1
                )
            }
            Self::CountsRange { at } => write!(
                f,
                "point {} lies outside what the converter can deliver",
                u16::from(*at) + 1
            ),
            Self::MassRange { at } => write!(
                f,
                "the mass of point {} is larger than a table can hold",
                u16::from(*at) + 1
            ),
            Self::NoZero => write!(f, "the point of 0 counts and 0 mass is missing"),
            Self::Slope { at } => write!(
                f,
                "the segment from point {} to {} is twice too steep or too flat beside the rest",
                at,
                u16::from(*at) + 1
            ),
        }
    }
}

impl core::error::Error for TableFault {}

/// Where a looked-up value lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// Between the first and the last knot.
    Inside,
    /// Past an end, on the straight continuation of the end segment.
    Continued,
    /// Further past an end than the continuation reaches; the mass is held at
    /// the end of the continuation.
    Beyond,
}

/// What a table says of some counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reading {
    /// Mass in quanta, rounded to nearest, ties away from zero.
    pub mass: i32,
    /// Whether the value is interpolated.
    pub place: Place,
}

/// Two to `N` knots, strictly rising in counts and in mass, with a knot at
/// exactly (0, 0), every segment between half and twice as steep as the whole.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Table<const N: usize> {
    knots: Vec<Knot, N>,
}

impl<const N: usize> Table<N> {
    /// A table of these knots.
    ///
    /// # Errors
    /// The first [`TableFault`] found; see [`check`].
    pub fn new(knots: &[Knot]) -> Result<Self, TableFault> {
        check(knots, N)?;
        match Vec::from_slice(knots) {
            Ok(knots) => Ok(Self { knots }),
            Err(_) => Err(TableFault::TooMany {
                knots: small(knots.len()),
                fit: small(N),
            }),
        }
    }

    /// Puts a table of `count` knots into `place`, knot by knot from `knot`, so
    /// that no second table stands in memory. What stood there is lost unless
    /// the knots check first: see [`check_each`].
    ///
    /// # Errors
    /// The first [`TableFault`] found; `place` is empty then.
    pub fn fill(
        place: &mut Option<Self>,
        count: usize,
        mut knot: impl FnMut(usize) -> Option<Knot>,
    ) -> Result<(), TableFault> {
        let table = place.get_or_insert(Self { knots: Vec::new() });
        table.knots.clear();
        let all = (0..count).all(|at| knot(at).is_some_and(|k| table.knots.push(k).is_ok()));
        let sound = match check(&table.knots, N) {
            Ok(()) if !all => Err(TableFault::TooMany {
                knots: small(count),
                fit: small(table.knots.len()),
            }),
            sound => sound,
        };
        if sound.is_err() {
            *place = None;
        }
        sound
    }

    /// The knots, rising.
    #[must_use]
    pub fn knots(&self) -> &[Knot] {
        &self.knots
    }

    /// CRC-32 over this table as it is transferred; see [`knots_checksum`].
    #[must_use]
    pub fn checksum(&self) -> u32 {
        knots_checksum(&self.knots)
    }

    /// Mass at `net_counts`.
    ///
    /// Between two knots `(c0, m0)` and `(c1, m1)` it is
    /// `m0 + (c − c0)·(m1 − m0)/(c1 − c0)`, rounded to the nearest quantum. Past
    /// an end it goes on along the end segment for a quarter of the table's
    /// width in counts (rounded down to whole counts) and stays there: defined and bounded for every input,
    /// and never falling while counts rise.
    #[must_use]
    pub fn lookup(&self, net_counts: i32) -> Reading {
        self.lookup_between(net_counts, 0)
    }

    /// Mass at `net_q8`/256 counts, for means that carry a fraction.
    #[must_use]
    pub fn lookup_q8(&self, net_q8: i64) -> Reading {
        self.lookup_between(saturate_i32(net_q8 >> 8), net_q8 as u8)
    }

    /// Mass at so many counts, rounded down, and `fraction`/256 of one. The largest
    /// product, 1.25·2^25·256 counts times 2^29 quanta, stays below 2^63 by the
    /// limits on knots. Never inlined, for the flash of small chips.
    #[must_use]
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn lookup_between(&self, net_counts: i32, mut fraction: u8) -> Reading {
        // `new` guarantees two knots; the fallback keeps this free of panics.
        let (Some(first), Some(last)) = (self.knots.first(), self.knots.last()) else {
            return Reading {
                mass: 0,
                place: Place::Beyond,
            };
        };
        // Whole counts below the value, and at or above it: on which side of a knot it
        // lies can be told from them.
        let mut counts = net_counts.min(i32::MAX - 1);
        let up = counts.wrapping_add(i32::from(fraction != 0));
        let reach = last.counts.wrapping_sub(first.counts) / 4;
        let lowest = first.counts.wrapping_sub(reach);
        let highest = last.counts.wrapping_add(reach);
        let mut place = Place::Inside;
        if counts < first.counts || up > last.counts {
            place = Place::Continued;
        }
        if counts < lowest || up > highest {
            place = Place::Beyond;
            counts = if counts < lowest { lowest } else { highest };
            fraction = 0;
        }
        let mut before = first;
        let mut after = last;
        // The first pair whose higher knot lies above, else the last.
        for pair in self.knots.windows(2) {
            if let [left, right] = pair {
                before = left;
                after = right;
                if counts < right.counts {
                    break;
                }
            }
        }
        // By the limits on knots these have 35, 34 and 30 bits, and the product,
        // 1.25·2^25·256 counts times 2^29 quanta at most, 63.
        let along = i64::from(counts.wrapping_sub(before.counts)) << 8 | i64::from(fraction);
        let run = i64::from(after.counts.wrapping_sub(before.counts)) << 8;
        let rise = after.mass.wrapping_sub(before.mass);
        // Rounded so that it is the sum that has its ties away from zero.
        let (step, rest) = divide_down(along.wrapping_mul(i64::from(rise)), run);
        let mut sum = i64::from(before.mass).wrapping_add(step);
        let doubled = rest << 1;
        if doubled > run || (doubled == run && sum >= 0) {
            sum = sum.wrapping_add(1);
        }
        Reading {
            mass: saturate_i32(sum),
            place,
        }
    }
}

/// Checks what a [`Table`] of at most `fit` knots demands.
///
/// # Errors
/// The first fault found: the number of knots is looked at first, then the range
/// of every knot, the order of every pair, the knot at zero, and at last the
/// steepness of every segment.
pub fn check(knots: &[Knot], fit: usize) -> Result<(), TableFault> {
    check_each(knots.len(), fit, &mut |at| knots.get(at).copied())
}

/// [`check`] of `count` knots that lie elsewhere: `knot` says the one at a
/// position, and is asked several times. One that cannot be had ends the list.
///
/// # Errors
/// As [`check`].
pub fn check_each(
    count: usize,
    fit: usize,
    knot: &mut dyn FnMut(usize) -> Option<Knot>,
) -> Result<(), TableFault> {
    if count > fit {
        return Err(TableFault::TooMany {
            knots: small(count),
            fit: small(fit),
        });
    }
    let (Some(first), Some(last)) = (knot(0), knot(count.wrapping_sub(1))) else {
        return Err(TableFault::TooFew { knots: 0 });
    };
    if count < 2 {
        return Err(TableFault::TooFew { knots: 1 });
    }
    // The limits on knots keep all differences inside 32 bits.
    let run_all = last.counts.wrapping_sub(first.counts);
    let rise_all = last.mass.wrapping_sub(first.mass);
    let mut zero = false;
    // Three passes: ranges, order, steepness.
    for pass in 0..3u8 {
        let mut left = first;
        for place in 0..count {
            let at = small(place);
            let here = knot(place).ok_or(TableFault::TooFew { knots: at })?;
            let run = here.counts.wrapping_sub(left.counts);
            let rise = here.mass.wrapping_sub(left.mass);
            if pass == 0 {
                if is_outside(here.counts, NET_COUNTS_LIMIT) {
                    return Err(TableFault::CountsRange { at });
                }
                if is_outside(here.mass, MASS_LIMIT) {
                    return Err(TableFault::MassRange { at });
                }
                zero |= here.counts == 0 && here.mass == 0;
            } else if place == 0 {
            } else if pass == 1 {
                if run <= 0 {
                    return Err(TableFault::CountsOrder { at });
                }
                if rise <= 0 {
                    return Err(TableFault::MassOrder { at });
                }
            } else if is_steep(run, rise_all, rise, run_all)
                || is_steep(rise, run_all, run, rise_all)
            {
                return Err(TableFault::Slope { at });
            }
            left = here;
        }
        if pass == 1 && !zero {
            return Err(TableFault::NoZero);
        }
    }
    Ok(())
}

const fn is_outside(value: i32, limit: i32) -> bool {
    value > limit || value < -limit
}

/// Whether `a · b` is above [`SLOPE_RATIO_LIMIT`] times `c · d`: 2^26 counts,
/// 2^30 quanta and the factor fit.
#[cfg_attr(target_arch = "avr", inline(never))]
const fn is_steep(a: i32, b: i32, c: i32, d: i32) -> bool {
    product(a, b) > product(c, d) * SLOPE_RATIO_LIMIT
}

/// CRC-32 over the knots in order, each as counts then mass, both little-endian
/// two's complement 32-bit. This is the number a reader compares to know that
/// two tables are the same.
#[must_use]
pub fn knots_checksum(knots: &[Knot]) -> u32 {
    let mut crc = Running::new();
    for knot in knots {
        crc.update(&knot.counts.to_le_bytes());
        crc.update(&knot.mass.to_le_bytes());
    }
    crc.finish()
}

fn small(count: usize) -> u8 {
    u8::try_from(count).unwrap_or(u8::MAX)
}
