//! Rules about the signal: where it stands, and how still.

use super::{Finding, Seen, Topic, bad, good, heed};
use crate::inspect::figures::{FEWEST_SAMPLES, Noise, PEAK_TO_PEAK};
use crate::inspect::touch::Touch;
use crate::report::number::{fixed, mass, signed, significant};
use scalewright_metrology::tolerance::interval_at_least;

/// An output this close to nothing is no cell under a platform, mV/V: a
/// thousandth of a rated output of 2 mV/V.
const NOTHING_MV_PER_V: f64 = 0.002;
/// Below this an empty pan is not expected, mV/V: cells are balanced to a few
/// per cent of their rated output (common practice), and a platform pushes up.
const NEGATIVE_MV_PER_V: f64 = -0.1;
/// Share of the range that an empty pan may take: more leaves none for the load.
const EMPTY_SHARE: f64 = 0.5;
/// Zero-setting range either way, share of Max: 4 % in all (OIML R 76-1:2006,
/// 4.5.1), laid evenly about the zero of calibration, as the scale does.
const ZERO_SHARE: f64 = 0.02;
/// Noise of the smoothed signal, peak to peak, that a healthy bridge stays
/// below, µV/V: a two-thousandth of a cell's 2 mV/V (common practice).
const NOISY_UV_PER_V: f64 = 1.0;
/// A cell that shows fewer intervals than this is noisy: class III begins at 500,
/// bench scales have a few thousand (OIML R 76-1:2006, table 3).
const LEAST_INTERVALS: f64 = 1000.0;
/// Growth of the standard deviation from the first third to the last that 30
/// samples each do not show by chance: F = 9 (common practice).
const GROWTH: f64 = 3.0;
/// Share of single wild codes worth a word, and worth mending.
const JUMPS: (f64, f64) = (0.02, 0.1);
/// A drift is seen when it is so many times its standard uncertainty: far, since
/// slow noise makes that uncertainty too small.
const DRIFT_U: f64 = 6.0;
/// A drift worth a word without a scale interval to compare with, µV/V per min.
const DRIFT_UV_PER_V: f64 = 0.3;
/// Steepness of table and cell may differ by this much before it is a mistake.
const STEEPNESS: f64 = 0.1;

/// Where the signal stands with the pan at rest.
pub fn bridge(seen: &Seen<'_>) -> Option<Finding> {
    let (subject, figures) = (seen.subject, seen.figures);
    let code = figures.mean_counts?;
    let output = subject.mv_per_v(code);
    let full = subject.full_scale_mv_per_v();
    let what = format!(
        "{} mV/V, {} % of the range",
        signed(output, 4),
        fixed(output.abs() / full * 100.0, 1)
    );
    let frozen = figures
        .noise
        .is_some_and(|noise| noise.peak_to_peak_counts < 1.0);
    if frozen && figures.samples >= 2 * FEWEST_SAMPLES {
        return Some(bad(
            Topic::Bridge,
            format!("the code stands at {code:.0} and never moves by one"),
            "no real signal is that still: the board repeats an old conversion, or the ADC has lost its reference",
            "switch everything off and on; check the excitation wires and the ADC's reference",
        ));
    }
    if let Some(off_g) = subject.table_mass_g(code) {
        let share = off_g / subject.max_g();
        let shown = signed(share * 100.0, 2);
        let off = mass(off_g, subject.e_g() / 10.0);
        return Some(if share.abs() > ZERO_SHARE {
            bad(
                Topic::Bridge,
                format!("{what}: {off} ({shown} % of Max) from the zero of its calibration"),
                "something lies on the pan; if not, the cell was bent by an overload, or parts were exchanged",
                "empty the pan and inspect again; if it stays, the cell needs a look before a calibration",
            )
        } else {
            good(
                Topic::Bridge,
                format!("{what}; {off} from the zero of its calibration"),
            )
        });
    }
    if output.abs() < NOTHING_MV_PER_V {
        return Some(heed(
            Topic::Bridge,
            format!("{what}: as good as nothing"),
            "the signal wires may touch each other, or the bridge has no excitation; a bare cell can look like this too",
            "press the pan: if nothing moves, measure the excitation at the cell's end of the cable",
        ));
    }
    if output.abs() > EMPTY_SHARE * full {
        return Some(bad(
            Topic::Bridge,
            format!("{what} with nothing on the pan"),
            "the cell carries far too much, was bent by an overload, or one of its wires is in the wrong place",
            "take everything off; unscrew the cell and see whether it comes back to near 0 mV/V",
        ));
    }
    if output < NEGATIVE_MV_PER_V {
        return Some(heed(
            Topic::Bridge,
            format!("{what}: below zero with nothing on the pan"),
            "the signal wires may be exchanged, or the cell is mounted upside down",
            "press the pan: the reading has to rise",
        ));
    }
    let room = subject.cell.map_or_else(String::new, |cell| {
        let per_g = cell.mv_per_v / cell.capacity_g;
        format!(
            "; the range ends {} above that",
            mass((full - output) / per_g, cell.capacity_g / 1000.0)
        )
    });
    Some(good(Topic::Bridge, format!("{what}{room}")))
}

/// Whether what is printed on the cell fits the table.
pub fn cell_and_table(seen: &Seen<'_>) -> Option<Finding> {
    let table = seen.subject.table_counts_per_g()?;
    let cell = seen.subject.cell_counts_per_g()?;
    let ratio = table / cell;
    ((ratio - 1.0).abs() > STEEPNESS).then(|| {
        heed(
            Topic::Bridge,
            format!(
                "the table is {} times as steep as this cell should be",
                significant(ratio, 3)
            ),
            "the figures of the cell are not those given, or the table belongs to another cell",
            "read the plate of the cell again; several cells in parallel: give the sum of their capacities",
        )
    })
}

/// A pan that was not left alone: how quiet the signal is cannot be told.
pub fn touched(seen: &Seen<'_>, touch: Touch) -> Finding {
    let by = difference(seen, touch.by_counts);
    bad(
        Topic::Noise,
        format!(
            "the reading left its place by {by}, {} s after the beginning",
            fixed(touch.at_s, 1)
        ),
        "the pan was touched or loaded while it should be left alone; if nobody was near, a wire lets go at times",
        "hands off, no draught, and inspect again; if it comes again, move one wire after another in `scalewright watch`",
    )
}

/// How still the codes are, and what scale interval that supports.
pub fn noise(seen: &Seen<'_>) -> Option<Finding> {
    let noise = seen.figures.noise?;
    let (nv, peak) = (
        seen.uv_per_v(noise.sd_counts) * 1e3,
        fixed(noise.peak_to_peak_counts, 0),
    );
    let mut what = format!(
        "{} counts = {} nV/V (sd of one conversion), {peak} peak to peak",
        significant(noise.sd_counts, 2),
        significant(nv, 2)
    );
    let verdict = match seen.subject.counts_per_g() {
        Some(slope) => {
            let sd_g = noise.sd_counts / slope;
            let least_g = interval_at_least(PEAK_TO_PEAK * noise.smoothed_sd_counts / slope);
            let in_steps = if seen.subject.calibrated() {
                format!(
                    "{} e, {} d",
                    significant(sd_g / seen.subject.e_g(), 2),
                    significant(sd_g / seen.subject.d_g(), 2)
                )
            } else {
                format!("{} g", significant(sd_g, 2))
            };
            what = format!(
                "{what}; that is {in_steps}. Smoothed, it supports d = {} (d >= {PEAK_TO_PEAK} sd)",
                mass(least_g, least_g)
            );
            if seen.subject.calibrated() && least_g > seen.subject.d_g() * (1.0 + 1e-9) {
                Some(format!(
                    "too much for the d = {} that is set: the last digit will flicker",
                    mass(seen.subject.d_g(), seen.subject.d_g())
                ))
            } else {
                seen.subject
                    .cell
                    .filter(|cell| cell.capacity_g / least_g < LEAST_INTERVALS)
                    .map(|_| "far more than a sound cell and ADC make".to_string())
            }
        }
        None => {
            let peak_uv = seen.uv_per_v(PEAK_TO_PEAK * noise.smoothed_sd_counts);
            what = format!(
                "{what}; smoothed, peak to peak {} uV/V",
                significant(peak_uv, 2)
            );
            (peak_uv > NOISY_UV_PER_V).then(|| "far more than a sound cell and ADC make".into())
        }
    };
    Some(match (verdict, grows(&noise, seen.figures.samples)) {
        (Some(means), _) => bad(Topic::Noise, what, means, NOISE_ADVICE),
        (None, true) => heed(
            Topic::Noise,
            format!(
                "{what}. It grew {}-fold meanwhile",
                significant(noise.growth, 2)
            ),
            "something got worse while it was watched: a supply, a contact, or somebody at the table",
            "inspect again with nobody near; if it grows again, check the supply of the ADC",
        ),
        (None, false) => good(Topic::Noise, what),
    })
}

const NOISE_ADVICE: &str = "shield and twist the bridge wires, keep them short and away from supplies and motors; give the ADC a clean supply; stop draughts and shaking, then inspect again";

fn grows(noise: &Noise, samples: usize) -> bool {
    samples >= 90 && noise.growth > GROWTH
}

/// Single codes far away from their neighbours.
pub fn jumps(seen: &Seen<'_>) -> Option<Finding> {
    let (jumps, samples) = (seen.figures.jumps, seen.figures.samples);
    let share = jumps as f64 / samples.max(1) as f64;
    if jumps < 3 || share < JUMPS.0 {
        return None;
    }
    let what = format!(
        "{jumps} of {samples} codes jump far away and back ({} %)",
        fixed(share * 100.0, 1)
    );
    let means = "a contact crackles, or something switches nearby; the scale takes single wild codes out by itself";
    let advice = "move each wire to find the one that crackles; route the bridge wires away from supplies and relays";
    Some(if share > JUMPS.1 {
        bad(Topic::Jumps, what, means, advice)
    } else {
        heed(Topic::Jumps, what, means, advice)
    })
}

/// Slow straight change.
pub fn drift(seen: &Seen<'_>) -> Option<Finding> {
    let drift = seen.figures.drift?;
    let per_min = drift.counts_per_min;
    let uv = seen.uv_per_v(per_min);
    let shown = difference(seen, per_min);
    let slope = seen.subject.counts_per_g();
    let limit = slope.filter(|_| seen.subject.calibrated());
    let limit = limit.map(|slope| seen.subject.d_g() * slope);
    let seen_at_all = per_min.abs() > DRIFT_U * drift.u_counts_per_min;
    let much = limit.map_or(uv.abs() > DRIFT_UV_PER_V, |counts| per_min.abs() > counts);
    Some(if seen_at_all && much {
        heed(
            Topic::Drift,
            format!("{shown} per minute while nothing was touched"),
            "the cell is warming up or creeps back from a load, or something leans on the pan",
            "leave it switched on and empty for half an hour, out of sun and draught",
        )
    } else if seen_at_all {
        good(Topic::Drift, format!("{shown} per minute"))
    } else {
        good(Topic::Drift, "none that stands out from the noise")
    })
}

/// A difference of codes with its sign, in g where a gram is known.
fn difference(seen: &Seen<'_>, counts: f64) -> String {
    match seen.subject.counts_per_g() {
        Some(slope) => format!("{} g", signed_significant(counts / slope)),
        None => format!("{} uV/V", signed_significant(seen.uv_per_v(counts))),
    }
}

fn signed_significant(value: f64) -> String {
    let sign = if value < 0.0 { "-" } else { "+" };
    format!("{sign}{}", significant(value.abs(), 2))
}

/// A regular swing.
pub fn swing(seen: &Seen<'_>) -> Option<Finding> {
    let swing = seen.figures.swing?;
    let rate = seen.figures.rate_sps?;
    let what = format!(
        "a regular swing of {} Hz as sampled, {} counts either way, {} % of the noise",
        significant(swing.hz, 2),
        significant(swing.amplitude, 2),
        fixed(swing.share * 100.0, 0)
    );
    let mains = [50.0, 60.0]
        .into_iter()
        .find(|mains| (folded(*mains, rate) - swing.hz).abs() <= mains * MAINS_BAND)
        // At slow rates hum of any frequency may look like this one.
        .filter(|_| rate > 40.0);
    let (means, advice) = match mains {
        Some(mains) => (
            format!("hum of a {mains:.0} Hz mains looks like this at {rate:.0} samples a second"),
            "lay the bridge wires away from mains cables, earth the shield at one end, try the laptop on its battery",
        ),
        None => (
            "a fan, a motor, a shaking table, or hum of the mains folded down by the sampling"
                .into(),
            "switch off what turns or buzzes nearby, one thing at a time, and inspect again",
        ),
    };
    Some(heed(Topic::Disturbance, what, means, advice))
}

/// The mains keep to a hundredth of their frequency, and the ADC's clock is
/// measured to about that.
const MAINS_BAND: f64 = 0.015;

/// Where a frequency appears when sampled at `rate` per second, Hz.
fn folded(hz: f64, rate: f64) -> f64 {
    let rest = hz.rem_euclid(rate);
    rest.min(rate - rest)
}
