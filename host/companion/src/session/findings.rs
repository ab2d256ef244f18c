//! What a session found, in plain words.

use super::event::Part;
use super::judge::{Evidence, slope};
use crate::record::outcome::Outcome;

/// Findings, most important first.
pub fn findings(outcome: &Outcome, evidence: &Evidence<'_>, repeat_g: f64) -> Vec<String> {
    let mut findings = Vec::new();
    let (before, after) = (&outcome.before, &outcome.after);
    let class = &outcome.scale.class;
    let e_g = outcome.scale.e;
    if after.of > 0 {
        // To a hundredth of e: masses as found have any number of digits.
        let name = |mass_g: f64| {
            crate::record::weights::name((mass_g / e_g * 100.0).round() / 100.0 * e_g)
        };
        let was = if before.passed == before.of {
            format!(
                "{} this scale passed class {class} at all {} loads (largest error {:.2} e)",
                capital(&before.title),
                before.of,
                before.largest_error_e
            )
        } else {
            format!(
                "{} this scale fails class {class} at {} of {} loads (largest error {:.1} e at {})",
                capital(&before.title),
                before.of - before.passed,
                before.of,
                before.largest_error_e,
                name(before.largest_at_g)
            )
        };
        let is = if after.passed == after.of {
            format!("with the new table it passes all {}", after.of)
        } else {
            format!(
                "with the new table it still fails {} of {}",
                after.of - after.passed,
                after.of
            )
        };
        findings.push(format!(
            "{was}; {is}, the largest error is {:.2} e at {}.",
            after.largest_error_e,
            name(after.largest_at_g)
        ));
        // A pass that the uncertainty could turn round is said to be one.
        let unsure = after
            .rows
            .iter()
            .filter(|row| row.pass && row.error_e.abs() + row.expanded_u_e > row.mpe_e)
            .count();
        if unsure > 0 {
            // Half of the variance: whichever is the larger part.
            let u_g = after.rows.iter().map(|row| row.expanded_u_e * e_g / 2.0);
            let u_g = u_g.fold(0.0, f64::max);
            let next = if repeat_g.powi(2) > 0.5 * u_g.powi(2) {
                "most of that uncertainty is how the scale itself comes back (hysteresis, creep, scatter), which no weights mend"
            } else {
                "better weights would settle it"
            };
            findings.push(format!(
                "At {unsure} of the passed loads the error and its uncertainty together reach beyond the permissible error: {next}."
            ));
        }
    }
    if let Some(sd_e) = outcome.noise.sd_e {
        findings.push(match outcome.noise.supports_d_g {
            Some(d_g) => format!(
                "Noise of one sample is {sd_e:.2} e; smoothed, the cell supports d = {} g.",
                d_g
            ),
            None => format!("Noise of one sample is {sd_e:.2} e."),
        });
    }
    let kept = outcome.correction.is_some_and(|tried| tried.kept);
    let remains = match kept {
        true => "hysteresis, which the scale takes off, and creep and repeatability of the cell",
        false => "hysteresis, creep and repeatability of the cell, which no table removes",
    };
    findings.push(format!(
        "Going up and coming down the loads differ from the table by {:.2} e as a standard deviation: {remains}.",
        repeat_g / e_g
    ));
    if let Some((moved_e, minutes)) = zero_drift(evidence) {
        let still = if moved_e.abs() > 0.5 {
            ": let the scale warm up longer before the next calibration"
        } else {
            ""
        };
        findings.push(format!(
            "Zero moved by {moved_e:+.2} e in {minutes:.0} min, and was taken out of the fit{still}."
        ));
    }
    let (agreed, all) = evidence.agreement;
    if all > 0 && agreed == all {
        findings.push(format!(
            "The device and this program computed the same mass to the last digit in all {all} comparisons."
        ));
    } else if all > 0 {
        findings.push(format!(
            "The device and this program disagreed in {} of {all} comparisons: do not trust the scale, and report this.",
            all - agreed
        ));
    }
    let proved_g = outcome
        .after
        .rows
        .iter()
        .map(|row| row.load_g)
        .fold(0.0, f64::max);
    if proved_g < 0.9 * outcome.scale.max {
        findings.push(format!(
            "The proof reaches only {}, with weights of known mass: above that nothing here proves the table.",
            crate::record::weights::name(proved_g)
        ));
    }
    findings
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| {
        first.to_uppercase().collect::<String>() + chars.as_str()
    })
}

/// How far zero moved from the first zero of the fit to the last of the same
/// sitting, in e, and the minutes between.
fn zero_drift(evidence: &Evidence<'_>) -> Option<(f64, f64)> {
    let last = evidence
        .captures
        .iter()
        .rev()
        .find(|capture| capture.part == Part::ZeroReturn)?;
    let first = evidence
        .captures
        .iter()
        .find(|capture| capture.part == Part::Zero && capture.sitting == last.sitting)?;
    let counts_per_e = slope(evidence.choice) * evidence.plan.scale.e_g;
    let moved_e = (last.mean_counts - first.mean_counts) / counts_per_e;
    moved_e
        .is_finite()
        .then_some((moved_e, (last.at_s - first.at_s) / 60.0))
}
