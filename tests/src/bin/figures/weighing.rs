//! Figure 1 of topic weighing (2 and 3: [`zero`]; 4 and 5: [`chips`]): how soon the stable mark comes after a load, how
//! often it is wrong, and what is shown meanwhile.
//!
//! The cell and converter of the bench feed the whole instrument, code by code.
//! **A mark is wrong** when the indication later, before the next load, moves by
//! more than d from what it was when the mark came.
//!
//! **The oracle** knows when the load changed and what the cell does without
//! noise. The limit of rest is shared by noise and movement alike: it needs n
//! codes, the fewest whose mean has three standard deviations within 0.3 d (at
//! most the 2^n of the settings), and says rest with the first conversion from
//! which on, until the next load, the mean of the last n codes without noise
//! stays within 0.3 d of the cell without swing; not before the converter's four
//! conversions and n − 1 more. The *literal* oracle knows no swing: just these.
//! Times run from the load to the conversion; our own is that of the first mark
//! with an indication within d of the last of that load. A load that gets none
//! counts with the whole time it rests.

#[path = "weighing_chips.rs"]
mod chips;
#[path = "weighing_course.rs"]
mod course;
#[path = "weighing_scale.rs"]
mod scale;
#[path = "weighing_zero.rs"]
mod zero;

use scalewright_tests::sessions::each;

use crate::row::{Bound, Sheet};
use course::{Make, Pour, Told, pour, steps};

/// Loads of each make, and cells they are divided among.
const LOADS: u64 = 4000;
const CELLS: u64 = 40;
/// Cells that are poured on.
const POURED: u64 = 30;
/// Loads whose time is told.
const TIMED: usize = 1000;

/// Noise of a code at 10/s and d, g: σ/d from 0.01 to 0.15, at 80/s to 0.42.
const MAKES: [(f64, f64); 7] = [
    (0.05, 0.5),
    (0.05, 1.0),
    (0.15, 1.0),
    (0.05, 2.0),
    (0.15, 2.0),
    (0.05, 5.0),
    (0.15, 5.0),
];

/// Upper end of the 95 % confidence interval (one-sided) for a mean count of
/// which `count` were seen: half the chi-squared quantile of 2·count + 2 degrees
/// of freedom, by the Poisson sum itself.
fn upper_95(count: usize) -> f64 {
    let at_most = |mean: f64| {
        let mut term = (-mean).exp();
        let mut sum = term;
        for k in 1..=count {
            term *= mean / k as f64;
            sum += term;
        }
        sum
    };
    let (mut low, mut high) = (count as f64, 3.0 * count as f64 + 10.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if at_most(middle) > 0.05 {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}

/// All figures of the topic; `images` says why there are none, if so.
pub fn print(sheet: &mut Sheet, images: &Result<(), String>) {
    indication(sheet);
    zero::print(sheet);
    chips::print(sheet, images);
}

/// All of figure 1.
fn indication(sheet: &mut Sheet) {
    Sheet::part("1a 1000 random loads of each make: cell with swing, noise, slow noise and creep");
    let (mut marks, mut wrong, mut loads) = (0, 0, 0);
    let (mut ours, mut plain) = (0, 0);
    for rate_sps in [10, 80] {
        let mut worst = 0.0f64;
        for (noise_g, d_g) in MAKES {
            let make = Make {
                rate_sps,
                noise_g,
                d_g,
            };
            let told = each(CELLS, |seed| steps(&make, seed, LOADS / CELLS));
            let told = match told.into_iter().collect::<Result<Vec<Told>, String>>() {
                Ok(told) => Told::all(&told),
                Err(why) => return sheet.failed("random loads", &why),
            };
            worst = worst.max(loads_of(sheet, &make, &told));
            marks += told.marks;
            wrong += told.wrong;
            loads += told.took_s.len();
            ours += told.changes;
            plain += told.plain_changes;
        }
        let name = format!("slowest of these at {rate_sps}/s, of the oracle's");
        sheet.row(
            &name,
            worst,
            "times",
            Bound::AtMost(1.6),
            Bound::AtMost(1.3),
        );
    }
    Sheet::part("1b marks that were wrong, of all these loads");
    sheet.beside("loads", loads as f64, "");
    sheet.row(
        "marks",
        marks as f64,
        "",
        Bound::AtLeast(30_000.0),
        Bound::Beside,
    );
    sheet.beside("wrong", wrong as f64, "");
    let share = |count: f64| count / marks as f64;
    let most = Bound::AtMost(1e-4);
    sheet.row(
        "wrong, of all marks",
        share(wrong as f64),
        "",
        most,
        Bound::Beside,
    );
    sheet.row(
        "  no more than, with 95 %",
        share(upper_95(wrong)),
        "",
        most,
        Bound::Beside,
    );
    let fewer = ours as f64 / plain as f64;
    sheet.row(
        "changes at rest, of plain rounding's",
        fewer,
        "",
        Bound::AtMost(0.5),
        Bound::Beside,
    );
    pours(sheet);
}

/// One make; its time as a multiple of the oracle's.
fn loads_of(sheet: &mut Sheet, make: &Make, told: &Told) -> f64 {
    let mean = |times: &[f64]| {
        let some = times.get(..TIMED).unwrap_or(times);
        some.iter().sum::<f64>() / some.len() as f64
    };
    let (took_s, oracle_s) = (mean(&told.took_s), mean(&told.oracle_s));
    let name = format!(
        "{}/s, d {} g, noise {:.2} d: load to mark",
        make.rate_sps,
        make.d_g,
        make.noise_d()
    );
    let times = took_s / oracle_s;
    sheet.row(
        &name,
        times,
        "times",
        Bound::AtMost(1.6),
        Bound::AtMost(1.3),
    );
    let text = format!(
        "      {took_s:.2} s, 95 % within {:.2} s; oracle {oracle_s:.2} s, literal {:.2} s; \
         no mark {}, lost again {}; fixed mean and window {:.2} s, {:.2} times, no mark {}, wrong {}",
        told.within_s(0.95),
        mean(&told.literal_s),
        told.unmarked,
        told.lost,
        mean(&told.plain_s),
        mean(&told.plain_s) / oracle_s,
        told.plain_unmarked,
        told.plain_wrong,
    );
    println!("{text}");
    times
}

/// Slow loads.
fn pours(sheet: &mut Sheet) {
    Sheet::part(
        "1c pouring for 12 s, 100 portions a second: marked time, and how far the mean is behind",
    );
    for (rate_sps, noise_g) in [(10, 0.05), (10, 0.15), (80, 0.05), (80, 0.15)] {
        let make = Make {
            rate_sps,
            noise_g,
            d_g: 1.0,
        };
        for speed in [0.1, 0.3, 0.6, 1.0, 2.0, 5.0, 20.0, 50.0] {
            let all = each(POURED, |seed| pour(&make, seed, speed));
            let all = match all.into_iter().collect::<Result<Vec<Pour>, String>>() {
                Ok(all) => Pour::all(&all),
                Err(why) => return sheet.failed("pouring", &why),
            };
            let name = format!(
                "{rate_sps}/s, noise {:.2} d, {speed} d/s: marked",
                make.noise_d()
            );
            // What a mark allows: the limit in half a window to get it, twice that
            // to keep it: 0.3 d in 0.5 s, so 1.2 d/s.
            let floor = if speed > 1.2 {
                Bound::AtMost(2.0)
            } else {
                Bound::Beside
            };
            sheet.row(&name, 100.0 * all.marked, "%", floor, Bound::Beside);
            // Half the longest mean, 0.35 s, the middle of the converter's filter,
            // 0.15 s, and what codes held back cost.
            let floor = Bound::AtMost(0.6 * speed);
            sheet.row("  behind, mean", all.behind_d, "d", floor, Bound::Beside);
            sheet.beside("  mark after the end", all.mark_after_s, "s");
        }
    }
}
