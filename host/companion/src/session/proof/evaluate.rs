//! From what was kept of a verification to its results; the file alone is
//! enough, and the same file gives the same numbers.

use scalewright_metrology::decision::{ErrorEstimate, Rule};
use scalewright_metrology::performance::{Instrument, Judgement};
use scalewright_metrology::tolerance::{AccuracyClass, Intervals, Scheme, check_class};
use scalewright_protocol::settings::Conduct;

use super::budgeting::{Budgeting, Stated};
use super::entry::{self, Held, ProofCapture, ProofEntry};
use super::plan::ProofPlan;
use super::{Test, in_use, results};
use crate::quantise::{self, HostTable};
use crate::record::comparison::BandCorner;
use crate::record::outcome::{DeviceLine, PointLine};
use crate::record::proof::{CaptureLine, HeldTable, Proof, TestOutcome, Verdict};
use crate::record::weights::label;
use crate::session::deciding;

/// What a tolerance is called.
///
/// # Errors
/// What is wrong with it, in plain words.
pub fn scheme(text: &str) -> Result<Scheme, String> {
    text.parse()
        .map_err(|fault: <Scheme as std::str::FromStr>::Err| fault.to_string())
}

/// What tests are judged with.
pub(super) struct Judge<'a> {
    pub(super) plan: &'a ProofPlan,
    pub(super) instrument: Instrument,
    pub(super) rule: Rule,
    pub(super) captures: &'a [ProofCapture],
    /// Gross mass of each capture, g.
    all_gross_g: &'a [f64],
    quantum_g: f64,
    pub(super) budgeting: Budgeting,
}

impl Judge<'_> {
    /// The captures of a test, by their place.
    pub(super) fn of(&self, test: Test) -> Vec<usize> {
        let captures = self.captures.iter().enumerate();
        captures
            .filter(|(_, capture)| capture.test == test)
            .map(|(index, _)| index)
            .collect()
    }

    /// Gross mass of a capture, g.
    pub(super) fn gross_g(&self, index: usize) -> f64 {
        self.all_gross_g.get(index).copied().unwrap_or(f64::NAN)
    }

    /// What the scale showed at a capture, g; no number where it was blank.
    pub(super) fn shown_g(&self, index: usize) -> f64 {
        let shown = self
            .captures
            .get(index)
            .and_then(|capture| capture.indication);
        shown.map_or(f64::NAN, |quanta| f64::from(quanta) * self.quantum_g)
    }

    /// The uncertainty of how a reading changed while nothing was put on or
    /// taken off in between, or zero before and after a load: noise and rounding
    /// alone, since what else differs is what the test looks for.
    pub(super) fn of_change(&self, before: usize, after: usize) -> Stated {
        let both = [before, after].map(|index| self.captures.get(index));
        let Some(g_per_count) = self.g_per_count() else {
            return Stated::UNKNOWN;
        };
        let noise = both.into_iter().flatten().map(|capture| {
            let samples = f64::from(capture.samples.max(2));
            (
                capture.sd_counts * g_per_count / samples.sqrt(),
                samples - 1.0,
            )
        });
        self.budgeting.of_noise(&noise.collect::<Vec<_>>())
    }

    /// Mass of one count, g, by the heaviest load that was captured.
    fn g_per_count(&self) -> Option<f64> {
        let of = |(capture, gross_g): (&ProofCapture, &f64)| {
            let net = capture.mean_counts - f64::from(capture.zero_counts);
            (*gross_g, (gross_g / net).abs())
        };
        let all = self.captures.iter().zip(self.all_gross_g).map(of);
        let heaviest = all.max_by(|a, b| a.0.total_cmp(&b.0))?;
        Some(heaviest.1).filter(|slope| slope.is_finite() && *slope > 0.0)
    }

    pub(super) fn permitted_g(&self, load_g: f64) -> f64 {
        self.instrument.permitted_g(load_g).unwrap_or(f64::NAN)
    }

    /// The verdict on a value whose uncertainty is known, and the probability
    /// that the true value is within the limit.
    pub(super) fn decide(
        &self,
        value_g: f64,
        stated: Stated,
        limit_g: f64,
    ) -> (Verdict, Option<f64>) {
        let found = ErrorEstimate {
            error_g: value_g,
            standard_g: stated.standard_g,
            expanded_g: stated.expanded_g,
        };
        deciding::verdict(found, limit_g, self.rule)
    }
}

pub(super) fn verdict_of(judgement: Judgement) -> Verdict {
    match judgement {
        Judgement::Passes => Verdict::Passes,
        Judgement::PassesSoFar => Verdict::PassesSoFar,
        Judgement::Open => Verdict::Open,
        Judgement::Fails => Verdict::Fails,
    }
}

/// Computes everything from what was kept.
///
/// # Errors
/// Why nothing can be computed, in plain words.
pub fn evaluate(entries: &[ProofEntry]) -> Result<Proof, String> {
    let Some(ProofEntry::ProofBegan {
        plan,
        held,
        date,
        seed,
    }) = entries.first()
    else {
        return Err("this is not the beginning of a verification".into());
    };
    let captures = entry::captures(entries);
    if captures.is_empty() {
        return Err("nothing was captured yet".into());
    }
    let table = HostTable::new(&held.knots).map_err(|_| "its table makes no sense".to_owned())?;
    let quantum_ug = held.settings.quantum_ug;
    let gross_g: Vec<f64> = captures
        .iter()
        .map(|capture| entry::gross_g(capture, &table, quantum_ug))
        .collect();
    let scheme = scheme(&plan.scheme)?;
    let instrument = instrument(plan, &scheme, quantum_ug)?;
    let budgeting = Budgeting::of(plan, held, &captures, &gross_g);
    let judge = Judge {
        plan,
        instrument,
        rule: if plan.guarded {
            Rule::Guarded
        } else {
            Rule::Simple
        },
        captures: &captures,
        all_gross_g: &gross_g,
        quantum_g: quantise::quantum_g(quantum_ug),
        budgeting,
    };
    let given_up = |test: &str| {
        entries.iter().any(
            |entry| matches!(entry, ProofEntry::LeftOut { test: left, .. } if left.name() == test),
        )
    };
    // Of a test that was given up only what speaks against the scale stays.
    let tests: Vec<TestOutcome> = plan
        .tests
        .iter()
        .filter_map(|planned| results::of(&judge, planned))
        .filter(|test| !given_up(&test.test) || test.verdict == Verdict::Fails)
        .collect();
    let mut verdict = tests.iter().map(|test| test.verdict).max();
    let mut left_out: Vec<(String, String)> = (plan.impossible.iter())
        .map(|(test, why)| (test.title().to_owned(), why.clone()))
        .collect();
    left_out.extend(entries.iter().filter_map(|entry| match entry {
        ProofEntry::LeftOut { test, why } => Some((test.title().to_owned(), why.clone())),
        _ => None,
    }));
    let begun = |test: Test| captures.iter().any(|capture| capture.test == test);
    for planned in &plan.tests {
        let title = planned.test.title();
        if !begun(planned.test) && left_out.iter().all(|one| one.0 != title) {
            left_out.push((title.to_owned(), "the verification ended before it".into()));
            verdict = verdict.map(|worst| worst.max(Verdict::PassesSoFar));
        }
    }
    Ok(Proof {
        version: env!("CARGO_PKG_VERSION").into(),
        date: date.clone(),
        resumed: entries
            .iter()
            .filter_map(|entry| match entry {
                ProofEntry::Resumed { date } => Some(date.clone()),
                _ => None,
            })
            .collect(),
        seed: *seed,
        device: device(held),
        scale: (&plan.scale).into(),
        table: held_table(held),
        scheme: scheme.name(),
        scheme_source: scheme.source(),
        rule: deciding::in_words(judge.rule),
        weights: plan.weights.iter().map(label).collect(),
        budgets: judge.budgeting.lines(&judge),
        in_use: in_use::of(&judge, &tests),
        band: band(plan, &scheme),
        surroundings: plan.surroundings,
        tests,
        not_tested: not_tested(plan, &captures, &left_out),
        captures: capture_lines(&captures, &gross_g, judge.quantum_g),
        verdict: verdict.unwrap_or(Verdict::Open),
        left_out,
    })
}

/// The permitted error up to Max.
fn band(plan: &ProofPlan, scheme: &Scheme) -> Vec<BandCorner> {
    let scale = &plan.scale;
    Intervals::new(scale.e_g, scale.d_g).map_or_else(
        |_| Vec::new(),
        |intervals| deciding::band(scheme, &intervals, scale.max_g),
    )
}

fn instrument(plan: &ProofPlan, scheme: &Scheme, quantum_ug: u32) -> Result<Instrument, String> {
    let scale = &plan.scale;
    let said = |fault: &dyn std::fmt::Display| fault.to_string();
    let intervals = Intervals::new(scale.e_g, scale.d_g).map_err(|fault| said(&fault))?;
    let class = scale.class.parse().unwrap_or(AccuracyClass::III);
    let limits = check_class(class, scale.e_g, scale.max_g);
    let min_g = limits.map_or(20.0, |limits| limits.min_capacity_e) * scale.e_g;
    let instrument =
        Instrument::new(scheme.clone(), intervals, scale.max_g, min_g).map_err(|f| said(&f))?;
    // Counts and table give far more than d: no small weights are needed.
    instrument
        .read_in_steps_of(quantise::quantum_g(quantum_ug))
        .map_err(|fault| said(&fault))
}

fn device(held: &Held) -> DeviceLine {
    DeviceLine {
        id: format!("{:04X}", held.device_id),
        board: held.board.clone(),
        firmware: held.firmware.clone(),
        wire_version: scalewright_protocol::WIRE_VERSION,
        max_points: u8::try_from(held.knots.len()).unwrap_or(u8::MAX),
    }
}

fn held_table(held: &Held) -> HeldTable {
    let unit_g = quantise::quantum_g(held.settings.quantum_ug);
    HeldTable {
        points: (held.knots.iter())
            .map(|knot| PointLine {
                counts: knot.counts,
                mass_g: (f64::from(knot.mass) * unit_g * 1e6).round() / 1e6,
            })
            .collect(),
        checksum: format!("{:08x}", held.checksum),
        sequence: held.sequence,
        quantum_g: unit_g,
        hysteresis_taken_off_g: quantise::loop_width_g(&held.settings).unwrap_or(0.0),
        zero_tracking: held.settings.conduct.has(Conduct::TRACKS_ZERO),
    }
}

fn capture_lines(captures: &[ProofCapture], gross_g: &[f64], quantum_g: f64) -> Vec<CaptureLine> {
    let start_s = captures.first().map_or(0.0, |capture| capture.at_s);
    captures
        .iter()
        .zip(gross_g)
        .map(|(capture, gross_g)| CaptureLine {
            test: capture.test.name().into(),
            mass_g: capture.load.mass_g,
            weights: capture.load.weights.clone(),
            spot: capture.spot.words().into(),
            net_counts: capture.mean_counts - f64::from(capture.zero_counts),
            sd_counts: capture.sd_counts,
            samples: capture.samples,
            at_s: capture.at_s - start_s,
            gross_g: *gross_g,
            indication_g: capture.indication.map(|shown| f64::from(shown) * quantum_g),
        })
        .collect()
}

/// What was not tried, among the tests and beside them.
fn not_tested(
    plan: &ProofPlan,
    captures: &[ProofCapture],
    left_out: &[(String, String)],
) -> Vec<String> {
    let tried = |test: Test| captures.iter().any(|capture| capture.test == test);
    let said = |test: Test| left_out.iter().any(|one| one.0 == test.title());
    let missing = Test::ALL
        .into_iter()
        .filter(|test| !tried(*test) && !said(*test));
    let mut out: Vec<String> = missing.map(|test| test.title().to_owned()).collect();
    for test in [Test::Creep, Test::WarmUp] {
        if plan.short && tried(test) {
            out.push(format!("{}: its full time, it was cut short", test.title()));
        }
    }
    out.extend(
        [
            "temperature, humidity and supply voltage",
            "tilt, vibration and electric disturbance",
            "durability",
        ]
        .map(String::from),
    );
    out
}
