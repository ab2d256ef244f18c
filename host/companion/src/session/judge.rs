//! From a table to a verdict.

use scalewright_metrology::curve::Knots;
use scalewright_metrology::statistics;
use scalewright_metrology::tolerance::{Stage, interval_at_least, mpe_e};
use scalewright_protocol::message::{Hello, TableHeader};

use super::choosing::{Choice, counts_at, grid};
use super::event::{Capture, OldTable, Part};
use super::findings::findings;
use super::plan::{Load, Plan, ScaleSpec};
use super::together::is_of_the_fit;
use crate::quantise::{self, HostTable};
use crate::record::outcome::{
    CorrectionTried, DeviceLine, LoadLine, Noise, Outcome, PointLine, Purpose, TableLine,
    Verification, VerificationRow,
};
use crate::record::together::{Suspected, Verdict};

/// A setting to compare the new table with.
#[derive(Clone, Debug, PartialEq)]
pub struct Before {
    /// What it is, as "set with one weight of 1 kg".
    pub title: String,
    /// Its table.
    pub table: HostTable,
    /// Mass quantum, micrograms.
    pub quantum_ug: u32,
    /// Zero reference stored with it, counts.
    pub zero_counts: i32,
}

impl Before {
    /// A table found in a device; `None` when it is none.
    #[must_use]
    pub fn of_table(old: &OldTable) -> Option<Self> {
        let table = HostTable::new(&old.knots).ok()?;
        // Two segments of one slope are a straight line through one weight.
        let straight = old.knots.windows(3).all(|three| {
            let [a, b, c] = three else { return false };
            let slope = |from: &scalewright_protocol::table::Knot,
                         to: &scalewright_protocol::table::Knot| {
                f64::from(to.mass - from.mass) / f64::from(to.counts - from.counts)
            };
            (slope(a, b) / slope(b, c) - 1.0).abs() < 1e-5
        });
        Some(Self {
            title: if straight {
                "set with one weight".into()
            } else {
                "with the table it had".into()
            },
            table,
            quantum_ug: old.quantum_ug,
            zero_counts: old.zero_counts,
        })
    }

    /// Counts per g over the whole table.
    #[must_use]
    pub fn counts_per_g(&self) -> Option<f64> {
        let (first, last) = (self.table.knots().first()?, self.table.knots().last()?);
        let mass = f64::from(last.mass - first.mass) * quantise::quantum_g(self.quantum_ug);
        Some(f64::from(last.counts - first.counts) / mass)
    }

    /// Mass at net counts, g.
    #[must_use]
    pub fn reading_g(&self, net_counts: f64) -> f64 {
        quantise::mass_g(&self.table, net_counts, self.quantum_ug)
    }
}

/// A single span through zero and the capture nearest to `mass_g`.
fn single_span(plan: &Plan, captures: &[Capture], choice: &Choice) -> Option<Before> {
    let (capture, net) = captures
        .iter()
        .zip(&choice.nets)
        .filter(|(capture, _)| matches!(capture.part, Part::Preload | Part::Rising))
        .filter_map(|(capture, net)| Some((capture, (*net)?)))
        .min_by(|a, b| {
            let far = |mass: f64| (mass - plan.single_span_g).abs();
            far(a.0.load.mass_g).total_cmp(&far(b.0.load.mass_g))
        })?;
    let reach = (plan.scale.max_g + 9.0 * plan.scale.e_g) / capture.load.mass_g;
    let knots = Knots::new(vec![(0.0, 0.0), (net * reach, capture.load.mass_g * reach)]).ok()?;
    Some(Before {
        title: format!(
            "set with {} alone",
            crate::record::weights::name(capture.load.mass_g)
        ),
        table: quantise::table(&knots, choice.quantum_ug, 2).ok()?,
        quantum_ug: choice.quantum_ug,
        zero_counts: choice.zero_counts,
    })
}

/// The noise check as values. `sd_counts` is the device's own figure.
#[must_use]
pub fn noise(
    codes: &[f64],
    sd_counts: f64,
    seconds: f64,
    counts_per_g: Option<f64>,
    scale: &ScaleSpec,
    smoothing: u8,
) -> Noise {
    let mean = statistics::mean(codes).unwrap_or(0.0);
    Noise {
        sd_e: counts_per_g.map(|slope| sd_counts / slope / scale.e_g),
        sd_counts,
        supports_d_g: counts_per_g.map(|slope| {
            let samples = f64::from(1u32 << smoothing.min(6));
            interval_at_least(6.6 * sd_counts / slope / samples.sqrt())
        }),
        samples_counts: codes.iter().map(|code| code - mean).collect(),
        seconds,
    }
}

/// How common settings of a scale fare at the same verification loads.
#[derive(Clone, Debug, PartialEq)]
pub struct CommonSettings {
    /// One span, set at the heaviest load.
    pub single_span: Verification,
    /// Two spans through zero, set at half load and at the heaviest load,
    /// switched at half load.
    pub two_spans: Verification,
}

/// Judges the settings people usually make by hand, from the same captures;
/// `None` when they lack a load for it.
#[must_use]
pub fn common_settings(evidence: &Evidence<'_>) -> Option<CommonSettings> {
    let plan = evidence.plan;
    let spans: Vec<(f64, f64)> = evidence
        .captures
        .iter()
        .zip(&evidence.choice.nets)
        .filter(|(capture, _)| matches!(capture.part, Part::Preload | Part::Rising))
        .filter_map(|(capture, net)| Some(((*net)?, capture.load.mass_g)))
        .collect();
    let full = spans.iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
    let half = spans.iter().min_by(|a, b| {
        let far = |mass: f64| (mass - full.1 / 2.0).abs();
        far(a.1).total_cmp(&far(b.1))
    })?;
    let proofs = proofs(
        evidence.captures,
        evidence.choice,
        evidence.proof_zero,
        plan,
    );
    let (full_slope, half_slope) = (full.1 / full.0, half.1 / half.0);
    let (half_net, _) = *half;
    Some(CommonSettings {
        single_span: verification(plan, "single span at full load", &proofs, &|proof| {
            proof.net * full_slope
        }),
        two_spans: verification(plan, "two spans switched at half load", &proofs, &|proof| {
            proof.net
                * if proof.net <= half_net {
                    half_slope
                } else {
                    full_slope
                }
        }),
    })
}

/// All that a session knows at its end.
pub struct Evidence<'a> {
    /// The plan.
    pub plan: &'a Plan,
    /// All captures.
    pub captures: &'a [Capture],
    /// The table and how it was chosen.
    pub choice: &'a Choice,
    /// The table as read back.
    pub stored: &'a TableHeader,
    /// The device.
    pub hello: &'a Hello,
    /// The noise check.
    pub noise: Option<&'a Noise>,
    /// The setting found in the device.
    pub old: Option<&'a Before>,
    /// The device's zero reference of the verification, counts.
    pub proof_zero: Option<i32>,
    /// What the verification said of the correction of hysteresis.
    pub correction: Option<CorrectionTried>,
    /// Whether the scale takes hysteresis off.
    pub corrects: bool,
    /// Readings in which device and laptop agreed to the quantum, and all.
    pub agreement: (usize, usize),
    /// Device time, s.
    pub device_s: f64,
}

/// The outcome; date, seed and wall-clock time are left to the caller.
#[must_use]
pub fn outcome(evidence: &Evidence<'_>) -> Outcome {
    let Evidence {
        plan,
        captures,
        choice,
        stored,
        hello,
        ..
    } = evidence;
    let span;
    let before = match evidence.old {
        Some(old) => Some(old),
        None => {
            span = single_span(plan, captures, choice);
            span.as_ref()
        }
    };
    let new = |net: f64| quantise::mass_g(&choice.table, net, choice.quantum_ug);
    let repeat_g = repeatability_g(captures, choice);
    let proofs = proofs(captures, choice, evidence.proof_zero, plan);
    let after = verification(plan, "with the new table", &proofs, &|proof| {
        new(proof.net)
            - if evidence.corrects {
                proof.correction_g
            } else {
                0.0
            }
    });
    let before_title = before.map_or("before".into(), |before| before.title.clone());
    let before_rows = verification(plan, &before_title, &proofs, &|proof| {
        before.map_or(f64::NAN, |before| before.reading_g(proof.net))
    });
    let e_g = plan.scale.e_g;
    let before_curve = before.map_or_else(Vec::new, |before| {
        grid(plan.scale.max_g)
            .filter_map(|load_g| {
                let counts = counts_at(&choice.table, choice.quantum_ug, load_g)?;
                Some((load_g, (before.reading_g(counts) - load_g) / e_g))
            })
            .collect()
    });
    let unit = quantise::quantum_g(choice.quantum_ug);
    let noise = evidence.noise.cloned().map(|mut noise| {
        // A device without a table gives noise in counts only; by now the
        // sensitivity is known.
        if noise.sd_e.is_none()
            && let (Some(first), Some(last)) =
                (choice.table.knots().first(), choice.table.knots().last())
        {
            let slope =
                f64::from(last.counts - first.counts) / (f64::from(last.mass - first.mass) * unit);
            noise.sd_e = Some(noise.sd_counts / slope / e_g);
        }
        noise
    });
    let mut outcome = Outcome {
        version: env!("CARGO_PKG_VERSION").into(),
        date: String::new(),
        seed: None,
        device: DeviceLine {
            id: format!("{:04X}", hello.device_id),
            board: hello.board.as_str().into(),
            firmware: format!(
                "{}.{}.{}",
                hello.firmware.0, hello.firmware.1, hello.firmware.2
            ),
            wire_version: hello.wire_version,
            max_points: hello.max_knots,
        },
        scale: (&plan.scale).into(),
        noise: noise.unwrap_or(Noise {
            sd_e: None,
            sd_counts: 0.0,
            supports_d_g: None,
            samples_counts: Vec::new(),
            seconds: 0.0,
        }),
        loads: loads(evidence, &new),
        candidates: choice.lines.clone(),
        choice: choice.reason.clone(),
        together: Some(choice.together.clone()),
        correction: evidence.correction,
        table: TableLine {
            points: choice
                .table
                .knots()
                .iter()
                .map(|knot| PointLine {
                    counts: knot.counts,
                    mass_g: (f64::from(knot.mass) * unit * 1e6).round() / 1e6,
                })
                .collect(),
            checksum: format!("{:08x}", stored.checksum),
            quantum_g: unit,
            zero_counts: stored.zero_counts,
            sequence: stored.sequence,
        },
        before: before_rows,
        after,
        before_curve,
        after_band: choice
            .band_g
            .iter()
            .map(|(load_g, u_g)| (*load_g, u_g / e_g))
            .collect(),
        findings: Vec::new(),
        not_tested: [
            "eccentricity (loads away from the middle of the pan)",
            "creep and return to zero over 30 minutes",
            "temperature, warm-up and supply voltage",
            "repeatability by repeated weighings of one load",
            "discrimination, tare and tilt",
        ]
        .map(String::from)
        .to_vec(),
        device_s: evidence.device_s,
        wall_s: 0.0,
    };
    outcome.findings = findings(&outcome, evidence, repeat_g);
    outcome
}

/// Whether taking hysteresis off helps: the errors of the verification with it
/// and without, in the same captures. `None` without a verification.
pub(super) fn correction_tried(
    plan: &Plan,
    captures: &[Capture],
    choice: &Choice,
    proof_zero: Option<i32>,
    width_g: f64,
) -> Option<CorrectionTried> {
    let proofs = proofs(captures, choice, proof_zero, plan);
    let judged = |with: f64| {
        verification(plan, "", &proofs, &|proof| {
            let uncorrected_g = quantise::mass_g(&choice.table, proof.net, choice.quantum_ug);
            uncorrected_g - with * proof.correction_g
        })
    };
    let rms_e = |of: &Verification| {
        let squares: f64 = of.rows.iter().map(|row| row.error_e.powi(2)).sum();
        (squares / of.rows.len() as f64).sqrt()
    };
    let (with, without) = (judged(1.0), judged(0.0));
    (!proofs.is_empty()).then(|| CorrectionTried {
        width_g,
        error_with_e: rms_e(&with),
        error_without_e: rms_e(&without),
        largest_with_e: with.largest_error_e,
        largest_without_e: without.largest_error_e,
        kept: rms_e(&with) < rms_e(&without),
    })
}

/// A verification capture reduced to what judging it needs.
struct Proof {
    load_g: f64,
    net: f64,
    /// What the scale took off, g.
    correction_g: f64,
    u_g: f64,
    from_above: bool,
}

fn proofs(
    captures: &[Capture],
    choice: &Choice,
    proof_zero: Option<i32>,
    plan: &Plan,
) -> Vec<Proof> {
    let last_sitting = captures.last().map_or(0, |capture| capture.sitting);
    let slope = slope(choice);
    captures
        .iter()
        .enumerate()
        .filter(|(_, capture)| capture.part == Part::Verification)
        .filter_map(|(index, capture)| {
            let zero_capture = captures.iter().rev().find(|other| {
                other.part == Part::VerificationZero && other.sitting == capture.sitting
            })?;
            let before = index.checked_sub(1).and_then(|before| captures.get(before));
            let zero = match proof_zero {
                Some(zero) if capture.sitting == last_sitting => f64::from(zero),
                _ => zero_capture.mean_counts,
            };
            let of_mean = |capture: &Capture| {
                capture.sd_counts.powi(2) / f64::from(capture.samples.max(1)) / slope.powi(2)
            };
            let variance = of_mean(capture)
                + of_mean(zero_capture)
                + capture.load.u_g.powi(2)
                + scatter_g(choice, capture.load.mass_g, plan.scale.max_g).powi(2)
                + scatter_g(choice, 0.0, plan.scale.max_g).powi(2);
            Some(Proof {
                load_g: capture.load.mass_g,
                net: capture.mean_counts - zero,
                correction_g: capture.correction_g,
                u_g: variance.sqrt(),
                from_above: before.is_some_and(|before| {
                    before.sitting == capture.sitting && capture.load.is_left_of(&before.load)
                }),
            })
        })
        .collect()
}

/// How well a load comes back, g: the standard deviation of one capture, of
/// which a part grows with the load.
pub(super) fn scatter_g(choice: &Choice, load_g: f64, max_g: f64) -> f64 {
    let (at_zero_g, at_max_g) = choice.together.capture_sd_g;
    let growing = (at_max_g.powi(2) - at_zero_g.powi(2)).max(0.0);
    (at_zero_g.powi(2) + growing * (load_g / max_g).powi(2)).sqrt()
}

/// Counts per g over the whole table.
pub(super) fn slope(choice: &Choice) -> f64 {
    let unit = quantise::quantum_g(choice.quantum_ug);
    match (choice.table.knots().first(), choice.table.knots().last()) {
        (Some(first), Some(last)) => {
            f64::from(last.counts - first.counts) / (f64::from(last.mass - first.mass) * unit)
        }
        _ => f64::NAN,
    }
}

/// Scatter of the captures of the fit about the chosen table, g: hysteresis,
/// repeatability and creep together, as a standard deviation.
fn repeatability_g(captures: &[Capture], choice: &Choice) -> f64 {
    let wrong = |index: usize| {
        choice.together.verdicts.iter().any(|verdict| {
            let Verdict::Off { suspected, .. } = verdict else {
                return false;
            };
            matches!(suspected, Suspected::Capture { index: off, .. } if *off == index)
        })
    };
    let residuals: Vec<f64> = captures
        .iter()
        .zip(&choice.nets)
        .enumerate()
        .filter(|(index, (capture, _))| is_of_the_fit(capture.part) && !wrong(*index))
        .filter(|(_, (capture, _))| !capture.load.weights.is_empty())
        .filter_map(|(_, (capture, net))| {
            let reading = quantise::mass_g(&choice.table, (*net)?, choice.quantum_ug);
            Some(reading - found_g(choice, &capture.load))
        })
        .collect();
    let squares: f64 = residuals.iter().map(|residual| residual * residual).sum();
    (squares / residuals.len().max(1) as f64).sqrt()
}

fn verification(
    plan: &Plan,
    title: &str,
    proofs: &[Proof],
    reading_g: &dyn Fn(&Proof) -> f64,
) -> Verification {
    let e_g = plan.scale.e_g;
    let rows: Vec<VerificationRow> = proofs
        .iter()
        .map(|proof| {
            let error_g = reading_g(proof) - proof.load_g;
            let mpe = mpe_e(plan.class(), Stage::Initial, proof.load_g / e_g);
            VerificationRow {
                load_g: proof.load_g,
                error_g,
                error_e: error_g / e_g,
                mpe_e: mpe,
                expanded_u_e: 2.0 * proof.u_g / e_g,
                pass: (error_g / e_g).abs() <= mpe,
                from_above: proof.from_above,
            }
        })
        .collect();
    let worst = rows
        .iter()
        .max_by(|a, b| a.error_e.abs().total_cmp(&b.error_e.abs()));
    let passed = rows.iter().filter(|row| row.pass).count();
    Verification {
        title: title.into(),
        largest_error_e: worst.map_or(f64::NAN, |row| row.error_e.abs()),
        largest_at_g: worst.map_or(f64::NAN, |row| row.load_g),
        passed,
        of: rows.len(),
        verdict: match rows.len() {
            0 => "not verified",
            all if all == passed => "pass",
            _ => "fail",
        }
        .into(),
        rows,
    }
}

/// Mass of a load by its weights as found, on which the table rests; as stated
/// where one of them was not found, g.
fn found_g(choice: &Choice, load: &Load) -> f64 {
    let found = &choice.together.weights;
    let each = load.weights.iter().map(|id| {
        let weight = found.iter().find(|one| one.id == *id);
        weight.map(|one| one.mass_g.value)
    });
    each.sum::<Option<f64>>().unwrap_or(load.mass_g)
}

fn loads(evidence: &Evidence<'_>, new: &dyn Fn(f64) -> f64) -> Vec<LoadLine> {
    let start_s = evidence
        .captures
        .first()
        .map_or(0.0, |capture| capture.at_s);
    evidence
        .captures
        .iter()
        .enumerate()
        .map(|(index, capture)| {
            let fit_net = evidence.choice.nets.get(index).copied().flatten();
            let net = fit_net.unwrap_or_else(|| {
                capture.mean_counts - evidence.proof_zero.map_or(capture.mean_counts, f64::from)
            });
            let used = matches!(
                capture.part,
                Part::Preload | Part::Rising | Part::Falling | Part::Again
            );
            LoadLine {
                purpose: match capture.part {
                    Part::Again if capture.load.weights.is_empty() => Purpose::Zero,
                    Part::Preload | Part::Rising | Part::Again => Purpose::Rising,
                    Part::Falling => Purpose::Falling,
                    Part::Verification => Purpose::Verification,
                    _ => Purpose::Zero,
                },
                mass_g: capture.load.mass_g,
                weights: capture
                    .load
                    .weights
                    .iter()
                    .map(|id| {
                        let weight = evidence.plan.weights.iter().find(|one| one.id == *id);
                        weight.map_or_else(|| id.clone(), crate::record::weights::label)
                    })
                    .collect(),
                net_counts: net,
                sd_counts: capture.sd_counts,
                samples: capture.samples,
                at_s: capture.at_s - start_s,
                residual_g: used.then(|| new(net) - found_g(evidence.choice, &capture.load)),
            }
        })
        .collect()
}
