//! What `inspect` shows: for people within 80 columns, for programs as JSON.

use scalewright_metrology::tolerance::interval_at_least;
use scalewright_protocol::message::{Hello, TableHeader};
use serde_json::{Value, json};

use crate::inspect::{Examination, Finding, Level, Pressed, Subject, Topic, Verdict};
use crate::link::find::identity;
use crate::quantise::spec_of;
use crate::record::weights::name;

use super::live::wrap;
use super::paint::Paint;

/// Columns before the text of a finding.
const INDENT: usize = 17;
/// Columns of a line.
const COLUMNS: usize = 80;

/// An inspection with all that is shown of it.
pub struct Shown<'a> {
    /// The scale.
    pub hello: &'a Hello,
    /// Its port.
    pub port: &'a str,
    /// What was known beforehand.
    pub subject: &'a Subject,
    /// Its table.
    pub table: &'a TableHeader,
    /// What was found.
    pub examination: &'a Examination,
    /// The finger.
    pub pressed: Option<Pressed>,
}

fn firmware(hello: &Hello) -> String {
    let (major, minor, patch) = hello.firmware;
    format!("{major}.{minor}.{patch}")
}

/// Says which scale this is.
pub fn heading(hello: &Hello, port: &str, subject: &Subject) {
    outln!(
        "scale {} on {port} ({}, firmware {})",
        identity(hello),
        hello.board.as_str(),
        firmware(hello)
    );
    if subject.calibrated() {
        let spec = spec_of(&subject.settings);
        outln!(
            "  Max {}, e = {}, d = {}, class {}; holds a table of {} points",
            name(spec.max_g),
            name(spec.e_g),
            name(spec.d_g),
            spec.class,
            subject.knots.len()
        );
    } else {
        outln!("  not calibrated yet");
    }
}

/// Shows findings and verdict.
pub fn show(shown: &Shown<'_>, paint: Paint) {
    outln!("");
    for finding in &shown.examination.findings {
        let mark = match finding.level {
            Level::Good => paint.good(paint.either("ok", " ✓")),
            Level::Heed => paint.heed(" !"),
            Level::Bad => paint.bad(paint.either("no", " ✗")),
        };
        row(
            &format!("  {mark}  {:<11}", finding.topic.word()),
            &finding.seen,
        );
        let words = [("means", &finding.means), ("try", &finding.advice)];
        for (word, text) in words.iter().filter(|(_, text)| !text.is_empty()) {
            row(&format!("        {word:<9}"), text);
        }
    }
    outln!("");
    for line in wrap(&sum(shown), COLUMNS) {
        let line = match shown.examination.verdict {
            Verdict::Healthy => paint.good(&line),
            Verdict::Mend(_) | Verdict::Nothing => paint.bad(&line),
        };
        outln!("{line}");
    }
    for line in next(shown) {
        outln!("  {line}");
    }
}

/// The first line of `text` after `head`, the others below it.
fn row(head: &str, text: &str) {
    for (index, line) in wrap(text, COLUMNS - INDENT).iter().enumerate() {
        if index == 0 {
            outln!("{head}{line}");
        } else {
            outln!("{:INDENT$}{line}", "");
        }
    }
}

/// The verdict as one sentence.
fn sum(shown: &Shown<'_>) -> String {
    let Some(bad) = shown.examination.first_bad() else {
        return if shown.pressed.is_some() {
            "healthy: ready for calibration".into()
        } else {
            "healthy: ready for calibration (which way it moves was not tried)".into()
        };
    };
    match shown.examination.verdict {
        Verdict::Nothing => format!("nothing could be measured: {}", bad.means),
        _ => format!("not healthy. Mend this first: {}", first_words(bad)),
    }
}

fn first_words(finding: &Finding) -> String {
    // The finding above says the rest.
    let means = finding.means.split(';').next().unwrap_or_default();
    format!("{}, {means}", finding.topic.word())
}

/// What to type next.
fn next(shown: &Shown<'_>) -> Vec<String> {
    match shown.examination.verdict {
        Verdict::Healthy if shown.subject.calibrated() => {
            let spec = spec_of(&shown.subject.settings);
            vec![format!(
                "next   scalewright calibrate --max {} --e {} --weights FILE",
                name(spec.max_g).replace(' ', ""),
                name(spec.e_g).replace(' ', "")
            )]
        }
        Verdict::Healthy => vec!["next   scalewright calibrate --help".into()],
        Verdict::Mend(Topic::Direction | Topic::Bridge | Topic::Jumps | Topic::Range) => vec![
            "see    scalewright watch       what a wire does while you move it".into(),
            "then   scalewright inspect     again".into(),
        ],
        _ => vec!["then   scalewright inspect     again".into()],
    }
}

/// The inspection for programs. Numbers that are not there are null.
pub fn as_json(shown: &Shown<'_>) -> Value {
    let (subject, figures) = (shown.subject, &shown.examination.figures);
    let spec = spec_of(&subject.settings);
    let slope = subject.counts_per_g();
    let calibrated = subject.calibrated();
    let nv = |counts: f64| subject.mv_per_v(counts) * 1e6;
    let noise = figures.noise.map(|noise| {
        let sd_g = slope.map(|slope| noise.sd_counts / slope);
        json!({
            "sd_counts": noise.sd_counts,
            "peak_to_peak_counts": noise.peak_to_peak_counts,
            "sd_nv_per_v": nv(noise.sd_counts),
            "smoothed_sd_counts": noise.smoothed_sd_counts,
            "sd_g": sd_g,
            "sd_e": sd_g.filter(|_| calibrated).map(|g| g / subject.e_g()),
            "sd_d": sd_g.filter(|_| calibrated).map(|g| g / subject.d_g()),
            "supports_d_g": slope.map(|slope| {
                interval_at_least(crate::inspect::PEAK_TO_PEAK * noise.smoothed_sd_counts / slope)
            }),
        })
    });
    let drift = figures.drift.map(|drift| {
        json!({
            "counts_per_min": drift.counts_per_min,
            "u_counts_per_min": drift.u_counts_per_min,
            "nv_per_v_per_min": nv(drift.counts_per_min),
            "g_per_min": slope.map(|slope| drift.counts_per_min / slope),
        })
    });
    let press = shown.pressed.map(|pressed| {
        let (by, left) = match pressed {
            Pressed::Waiting => (None, None),
            Pressed::Held { by_counts } => (Some(by_counts), None),
            Pressed::Released {
                by_counts,
                left_counts,
            } => (Some(by_counts), Some(left_counts)),
        };
        json!({ "by_counts": by, "left_counts": left })
    });
    json!({
        "port": shown.port,
        "device": identity(shown.hello),
        "board": shown.hello.board.as_str(),
        "firmware": firmware(shown.hello),
        "scale": calibrated.then(|| json!({
            "max": spec.max_g, "e": spec.e_g, "d": spec.d_g, "class": spec.class, "unit": "g"
        })),
        "table": { "points": shown.table.knots, "checksum": format!("{:08x}", shown.table.checksum) },
        "measured": {
            "seconds": figures.watched_s,
            "samples": figures.samples,
            "lost": figures.lost,
            "pauses": figures.pauses.0,
            "rate_sps": figures.rate_sps,
            "set_sps": subject.settings.rate_sps,
            "at_lower_end": figures.at_ends.0,
            "at_upper_end": figures.at_ends.1,
            "jumps": figures.jumps,
            "mean_counts": figures.mean_counts,
            "output_mv_per_v": figures.mean_counts.map(|code| subject.mv_per_v(code)),
            "full_scale_mv_per_v": subject.full_scale_mv_per_v(),
            "counts_per_g": slope,
            "noise": noise,
            "drift": drift,
            "touch": figures.touch.map(|touch| json!({
                "at_s": touch.at_s, "by_counts": touch.by_counts
            })),
            "swing": figures.swing.map(|swing| json!({
                "hz": swing.hz, "amplitude_counts": swing.amplitude, "share": swing.share
            })),
        },
        "press": press,
        "findings": shown.examination.findings,
        "verdict": match shown.examination.verdict {
            Verdict::Healthy => "healthy",
            Verdict::Mend(_) => "mend",
            Verdict::Nothing => "nothing_measured",
        },
        "mend_first": match shown.examination.verdict {
            Verdict::Mend(topic) => Some(topic),
            Verdict::Healthy | Verdict::Nothing => None,
        },
    })
}
