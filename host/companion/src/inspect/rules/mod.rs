//! From numbers to findings, one rule a function. A limit that is no quantity
//! of the scale itself stands as a constant with its reason.

mod converter;
mod finger;
mod signal;
#[cfg(test)]
mod tests;

use super::figures::Figures;
use super::gathered::Gathered;
use super::press::Pressed;
use super::subject::Subject;
use super::{Examination, Finding, Level, Topic, Verdict};

/// What `gathered` says of `subject`; `pressed` is where the finger ended, if
/// it was asked for.
///
/// Findings come in the order of cause and effect ([`Topic`]): mending the first
/// bad one may make those below it go away. A signal that does not exist is not
/// judged: without samples, or with the ADC at an end of its range, noise, drift
/// and zero are left out.
#[must_use]
pub fn examine(subject: &Subject, gathered: &Gathered, pressed: Option<Pressed>) -> Examination {
    let figures = Figures::of(gathered, subject.settings.smoothing);
    let seen = Seen {
        subject,
        gathered,
        figures: &figures,
    };
    let mut findings: Vec<Finding> = Vec::new();
    findings.extend(converter::delivers(&seen));
    findings.extend(converter::supply(&seen));
    if figures.samples > 0 {
        findings.extend(converter::rate(&seen));
        findings.extend(converter::range(&seen));
        if let Some(touch) = figures.touch.filter(|_| !seen.saturated()) {
            findings.push(signal::touched(&seen, touch));
        } else if !seen.saturated() {
            findings.extend(signal::bridge(&seen));
            findings.extend(signal::cell_and_table(&seen));
            findings.extend(signal::noise(&seen));
            findings.extend(signal::jumps(&seen));
            findings.extend(signal::drift(&seen));
            findings.extend(signal::swing(&seen));
            findings.extend(finger::direction(&seen, pressed));
        }
    }
    findings.extend(converter::line(&seen));
    findings.extend(converter::memory(&seen));
    findings.sort_by_key(|finding| finding.topic);
    let verdict = if figures.samples == 0 {
        Verdict::Nothing
    } else {
        findings
            .iter()
            .find(|finding| finding.level == Level::Bad)
            .map_or(Verdict::Healthy, |finding| Verdict::Mend(finding.topic))
    };
    Examination {
        figures,
        findings,
        verdict,
    }
}

/// What a rule may look at.
struct Seen<'a> {
    subject: &'a Subject,
    gathered: &'a Gathered,
    figures: &'a Figures,
}

impl Seen<'_> {
    /// Whether the signal stands at an end of the range for most of the time.
    fn saturated(&self) -> bool {
        self.figures.saturated_share() > 0.5
    }

    /// A difference of codes in µV/V.
    fn uv_per_v(&self, counts: f64) -> f64 {
        self.subject.mv_per_v(counts) * 1e3
    }
}

fn good(topic: Topic, seen: impl Into<String>) -> Finding {
    Finding {
        topic,
        level: Level::Good,
        seen: seen.into(),
        means: String::new(),
        advice: String::new(),
    }
}

fn heed(
    topic: Topic,
    seen: impl Into<String>,
    means: impl Into<String>,
    advice: impl Into<String>,
) -> Finding {
    Finding {
        topic,
        level: Level::Heed,
        seen: seen.into(),
        means: means.into(),
        advice: advice.into(),
    }
}

fn bad(
    topic: Topic,
    seen: impl Into<String>,
    means: impl Into<String>,
    advice: impl Into<String>,
) -> Finding {
    Finding {
        level: Level::Bad,
        ..heed(topic, seen, means, advice)
    }
}

/// "1 sample", "3 samples".
fn count(number: usize, thing: &str) -> String {
    let plural = if number == 1 { "" } else { "s" };
    format!("{number} {thing}{plural}")
}
