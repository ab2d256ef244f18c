//! Noise of the unloaded scale: the trace over time, and beside it on the same
//! upright axis how often each value came.

use super::{Panel, Place, Room, range};
use crate::record::outcome::Outcome;
use crate::report::svg::{Anchor, Sheet, tick_label};
use crate::report::{number, words};

/// Most bars of the histogram.
const MOST_BARS: usize = 31;

/// The picture as inline SVG; `id` must be unique on the page.
pub fn noise(outcome: &Outcome, id: &str, room: Room) -> String {
    let title = "Noise of the unloaded scale";
    let noise = &outcome.noise;
    let sound = noise
        .samples_counts
        .iter()
        .copied()
        .filter(|v| v.is_finite());
    let samples: Vec<f64> = sound.collect();
    let Some((low, high)) = range(samples.iter().copied()) else {
        return super::empty(id, title, "No samples were kept of the noise check.", room);
    };
    let half = 1.1 * low.abs().max(high.abs()).max(0.5);
    let seconds = if noise.seconds.is_finite() && noise.seconds > 0.0 {
        noise.seconds
    } else {
        samples.len() as f64
    };
    let about = format!(
        "Left: {} samples over {}, as deviations from their mean in counts. Right: how \
         often each value came. Standard deviation {}.",
        samples.len(),
        number::duration(noise.seconds),
        words::noise_line(outcome)
    );

    let panel_px = room.pick(190.0, 160.0);
    let mut sheet = Sheet::new(id, title, &about, room.width(), panel_px + 76.0);
    let left = room.pick(64.0, 52.0);
    let right = room.pick(58.0, 40.0);
    let bars_px = room.pick(140.0, 64.0);
    let gap = room.pick(20.0, 10.0);
    let trace = Place {
        left,
        top: 28.0,
        width: room.width() - left - right - bars_px - gap,
        height: panel_px,
    };
    let bars = Place {
        left: trace.right() + gap,
        width: bars_px,
        ..trace
    };
    let panel = Panel::new(trace, (0.0, seconds), (-half, half), room);
    sheet.text("label", Anchor::Start, 0.0, 16.0, "counts");
    panel.grid_y(&mut sheet);
    panel.frame(&mut sheet);
    let (ticks, step) = panel.x.ticks(room.pick(8, 4));
    for tick in ticks {
        panel.foot_tick(&mut sheet, tick, &tick_label(tick, step));
    }
    panel.foot_title(&mut sheet, "time, s");
    sheet.path(
        "trace",
        &panel.points(thinned(&samples, seconds, trace.width as usize)),
    );

    let histogram = histogram(&samples, low, high);
    let most = histogram.iter().map(|bar| bar.2).max().unwrap_or(1).max(1);
    let panel = Panel::new(bars, (0.0, most as f64), (-half, half), room);
    for (from, to, count) in histogram {
        if let (Some(foot), Some(top)) = (panel.y.at(from), panel.y.at(to)) {
            let width = bars.width * count as f64 / most as f64;
            sheet.rect("bar", bars.left, top + 0.5, width, foot - top - 1.0);
        }
    }
    sheet.line("frame", (bars.left, bars.top), (bars.left, bars.foot()));
    sheet.text(
        "label",
        Anchor::Start,
        bars.left,
        bars.foot() + 38.0,
        "how often",
    );
    if let Some(e_per_count) = noise.sd_e.map(|sd| sd / noise.sd_counts) {
        sheet.text("label", Anchor::End, room.width(), 16.0, "e");
        panel.other_unit_y(&mut sheet, e_per_count);
    }
    sheet.finish()
}

/// The samples as points in time; where there are more than twice the pixels,
/// the smallest and largest of each pixel, so that no peak is lost.
fn thinned(samples: &[f64], seconds: f64, pixels: usize) -> Vec<(f64, f64)> {
    let last = samples.len().saturating_sub(1).max(1) as f64;
    let time = |index: usize| index as f64 / last * seconds;
    let chunk = samples.len().div_ceil(pixels.max(1));
    if chunk <= 2 {
        return samples
            .iter()
            .enumerate()
            .map(|(i, v)| (time(i), *v))
            .collect();
    }
    let mut points = Vec::new();
    for (i, part) in samples.chunks(chunk).enumerate() {
        if let Some((low, high)) = range(part.iter().copied()) {
            points.push((time(i * chunk), low));
            points.push((time(i * chunk), high));
        }
    }
    points
}

/// Bars of equal height as (from, to, count). They are whole counts wide, or
/// narrow noise would show stripes that are not there.
fn histogram(samples: &[f64], low: f64, high: f64) -> Vec<(f64, f64, usize)> {
    // As many bars as the square root of the samples: common practice.
    let wanted = (samples.len() as f64).sqrt().clamp(5.0, MOST_BARS as f64);
    let width = ((high - low) / wanted).ceil().max(1.0);
    let first = (low / width).floor() * width;
    let count = (((high - first) / width).floor() as usize).min(2 * MOST_BARS) + 1;
    let mut bars: Vec<(f64, f64, usize)> = (0..count)
        .map(|i| first + i as f64 * width)
        .map(|from| (from, from + width, 0))
        .collect();
    for sample in samples {
        let index = ((sample - first) / width).floor() as usize;
        if let Some(bar) = bars.get_mut(index.min(count - 1)) {
            bar.2 += 1;
        }
    }
    bars
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_sample_is_in_one_bar() {
        let samples: Vec<f64> = (0..1000).map(|i| f64::from(i % 37) - 18.0).collect();
        let bars = histogram(&samples, -18.0, 18.0);
        assert_eq!(bars.iter().map(|bar| bar.2).sum::<usize>(), 1000);
        assert!(bars.iter().all(|bar| bar.1 - bar.0 >= 1.0));
    }

    #[test]
    fn thinning_keeps_the_peak() {
        let mut samples = vec![0.0; 100_000];
        samples[54_321] = 99.0;
        let points = thinned(&samples, 10.0, 500);
        assert!(points.len() <= 1000);
        assert!(points.iter().any(|point| point.1 == 99.0));
    }
}
