//! A real load cell on the bench: NIST StRD "Pontius" (Pontius, P., NIST,
//! "Load Cell Calibration"; data file in `tests/reference/strd`, marked
//! VERIFIED there), calibrated with four loads of one run and verified at all
//! twenty loads of the other.
//!
//! Owns the experiment: each way of setting the scale is stored in the device
//! over the protocol, and what is judged is the mass the device itself reports
//! through converter, core and link. Units of load are taken as g, so Max is
//! 3 t; with e = 1 kg a class III scale has its n = 3000.

use std::error::Error;

use crate::captures::as_capture;
use crate::near::Near;
use scalewright::link::LinkFault;
use scalewright::link::client::Client;
use scalewright::quantise::{self, HostTable};
use scalewright::record::weights;
use scalewright::session::cell::CellGrade;
use scalewright::session::choosing::choose;
use scalewright::session::plan::{Known, Plan, PlannedWeight, ScaleSpec};
use scalewright_bench::setup::class_iii_settings;
use scalewright_bench::{BenchSpec, BenchStream, CellSpec, Curve, Desk};
use scalewright_metrology::curve::Knots;
use scalewright_protocol::message::{
    Answer, Ask, CaptureOrder, CaptureState, Captured, KNOTS_PER_MESSAGE, Stage,
};

/// The data file, header and all.
pub const DATA: &str = include_str!("../reference/strd/Pontius.dat");

/// Full scale, g.
pub const FULL_SCALE_G: f64 = 3e6;

/// The loads of a calibration, g.
pub const FOUR_G: [f64; 4] = [750e3, 1500e3, 2250e3, 3000e3];

/// The load a scale is set with when the weights at hand are few, g.
const LOW_SPAN_G: f64 = 600e3;

/// Verification scale interval e, g.
const E_G: f64 = 1000.0;

/// Samples of one capture; the noise-free cell gives the same code each time.
const SAMPLES: u16 = 8;

/// Any of the ways an experiment can end early.
pub type Failure = Box<dyn Error>;

/// Largest errors at the loads of the other run, in parts of full scale.
#[derive(Clone, Debug)]
pub struct Found {
    /// Our table, as the companion chose it.
    pub ours: f64,
    /// Single span set at 600 000 g.
    pub low_span: f64,
    /// Single span set at full load.
    pub full_span: f64,
    /// Straight segments through zero and the four loads.
    pub segments: f64,
    /// Shape-preserving cubic through the same points, in f64 and unstored.
    pub cubic: f64,
    /// Largest difference between the two runs at one load.
    pub between_runs: f64,
    /// Name of the shape the companion chose.
    pub shape: String,
    /// Points of our table.
    pub points: usize,
}

/// Pairs of deflection and load, in the file's order (lines 61 to 100).
#[must_use]
pub fn rows() -> Vec<(f64, f64)> {
    DATA.lines()
        .skip(60)
        .filter_map(|line| {
            let mut words = line.split_whitespace();
            Some((words.next()?.parse().ok()?, words.next()?.parse().ok()?))
        })
        .collect()
}

/// Run 0 or 1 as a cell: load in g and output in mV/V, deflection taken as
/// mV/V; no load gives no output.
fn run(which: usize) -> Vec<(f64, f64)> {
    let run = rows().into_iter().skip(20 * which).take(20);
    std::iter::once((0.0, 0.0))
        .chain(run.map(|(deflection, load_g)| (load_g, deflection)))
        .collect()
}

/// The scale with somebody at its pan and a laptop at its line.
struct Scale {
    client: Client<Near>,
    desk: Desk,
}

impl Scale {
    fn with_cell(points: &[(f64, f64)]) -> Result<Self, Failure> {
        let settings = class_iii_settings(FULL_SCALE_G, E_G, quantise::quantum_ug(E_G));
        let spec = BenchSpec::plain(1, CellSpec::tabulated(points), settings);
        let stream = BenchStream::open(spec)?;
        let desk = stream.desk();
        let client = Client::new(Near(stream), 1);
        Ok(Self { client, desk })
    }

    fn ask(&mut self, ask: &Ask) -> Result<Answer, LinkFault> {
        self.client.ask(ask, &mut |_| {})
    }

    /// Puts a load on, lets the device capture it and returns what it found.
    fn capture(&mut self, load_g: f64) -> Result<Captured, Failure> {
        self.desk.place_g(load_g);
        self.ask(&Ask::Capture(CaptureOrder {
            samples: SAMPLES,
            rest_counts: 0,
            patience_ms: 60_000,
        }))?;
        loop {
            let Answer::State(state) = self.ask(&Ask::Wait { up_to_ms: 10_000 })? else {
                return Err("no state in answer to a wait".into());
            };
            match state.capture {
                CaptureState::Captured(captured) => return Ok(captured),
                CaptureState::Settling | CaptureState::Averaging { .. } => {}
                other => return Err(format!("no capture at {load_g} g: {other:?}").into()),
            }
        }
    }

    /// Stores a table and makes sure that it is the one in force.
    fn store(&mut self, table: &HostTable, zero_counts: i32) -> Result<(), Failure> {
        let Answer::Settings(settings) = self.ask(&Ask::Settings)? else {
            return Err("no settings".into());
        };
        let settings = quantise::settings_for(&spec(), &settings);
        self.ask(&Ask::StageBegin(Stage {
            settings,
            zero_counts,
            knots: u8::try_from(table.knots().len())?,
            checksum: table.checksum(),
        }))?;
        for (part, knots) in table.knots().chunks(KNOTS_PER_MESSAGE).enumerate() {
            self.ask(&Ask::StageKnots {
                from: u8::try_from(part * KNOTS_PER_MESSAGE)?,
                knots: knots.iter().copied().collect(),
            })?;
        }
        self.ask(&Ask::StageCommit)?;
        match self.ask(&Ask::Table)? {
            Answer::Table(header) if header.checksum == table.checksum() => Ok(()),
            other => Err(format!("another table is in force: {other:?}").into()),
        }
    }

    /// Largest error of the mass the device reports over `cell`'s loads, in
    /// parts of full scale.
    fn largest_error(&mut self, cell: &[(f64, f64)]) -> Result<f64, Failure> {
        let mut largest: f64 = 0.0;
        for (load_g, _) in cell.iter().filter(|point| point.0 > 0.0) {
            // Once captured, the load is at rest and the smoothing has seen
            // nothing else for longer than its depth.
            self.capture(*load_g)?;
            let Answer::State(state) = self.ask(&Ask::State)? else {
                return Err("no state".into());
            };
            let mass = state.mass.ok_or("the device reports no mass")?;
            let mass_g = f64::from(mass) * quantise::quantum_g(quantise::quantum_ug(E_G));
            largest = largest.max((mass_g - load_g).abs());
        }
        Ok(largest / FULL_SCALE_G)
    }
}

fn exact(load_g: f64) -> PlannedWeight {
    PlannedWeight {
        known: Known::Stated,
        ..PlannedWeight::new(weights::name(load_g), load_g, 0.0)
    }
}

fn spec() -> ScaleSpec {
    ScaleSpec {
        max_g: FULL_SCALE_G,
        e_g: E_G,
        d_g: E_G,
        class: "III".into(),
    }
}

/// Calibrates on run `on` (0 or 1), exchanges the cell's curve for the other
/// run and judges every way of setting the scale there.
///
/// # Errors
/// Whatever the bench, the link or the fit refuses.
pub fn calibrate(on: usize) -> Result<Found, Failure> {
    let (known, other) = (run(on), run(1 - on));
    let mut scale = Scale::with_cell(&known)?;
    let hello = scale.client.hello()?;
    let room = usize::from(hello.max_knots);

    let mut captures = Vec::new();
    for load_g in std::iter::once(0.0).chain(FOUR_G) {
        captures.push(as_capture(load_g, &scale.capture(load_g)?));
    }
    let low = as_capture(LOW_SPAN_G, &scale.capture(LOW_SPAN_G)?);

    let plan = Plan {
        scale: spec(),
        // Dead weights of a national laboratory: exact beside this cell.
        weights: FOUR_G.map(exact).to_vec(),
        fit: Vec::new(),
        course: Vec::new(),
        small_on_big: Vec::new(),
        cell: CellGrade::default(),
        verify: Vec::new(),
        verify_falling: Vec::new(),
        correct_hysteresis: false,
        through: false,
        both_ways: false,
        samples: SAMPLES,
        single_span_g: LOW_SPAN_G,
    };
    let choice = choose(&plan, &captures, room)?;
    let shape = (choice.lines.iter())
        .find(|line| line.chosen)
        .map_or_else(String::new, |line| line.name.clone());

    let zero = captures.first().ok_or("no captures")?.mean_counts;
    let points: Vec<(f64, f64)> = (captures.iter())
        .map(|capture| (capture.mean_counts - zero, capture.load.mass_g))
        .collect();
    let full = *points.last().ok_or("no captures")?;
    let tabled = |points: Vec<(f64, f64)>| -> Result<HostTable, Failure> {
        Ok(quantise::table(
            &Knots::new(points)?,
            choice.quantum_ug,
            room,
        )?)
    };
    let span = |(counts, mass_g): (f64, f64)| {
        let reach = (FULL_SCALE_G + 9.0 * E_G) / mass_g;
        tabled(vec![(0.0, 0.0), (counts * reach, mass_g * reach)])
    };
    let tables = [
        choice.table.clone(),
        span((low.mean_counts - zero, low.load.mass_g))?,
        span(full)?,
        tabled(points.clone())?,
    ];

    scale.desk.exchange_curve(Curve::Tabulated(other.clone()));
    let mut errors = [0.0; 4];
    for (error, table) in errors.iter_mut().zip(&tables) {
        scale.store(table, choice.zero_counts)?;
        *error = scale.largest_error(&other)?;
    }
    let [ours, low_span, full_span, segments] = errors;

    let mut cubic: f64 = 0.0;
    for (load_g, _) in other.iter().skip(1) {
        let counts = f64::from(scale.capture(*load_g)?.mean_q8) / 256.0 - zero;
        cubic = cubic.max((shape_preserving(&points, counts) - load_g).abs());
    }
    // Deflection to mass along the straight line through full load.
    let per_mv_per_v = FULL_SCALE_G / known.last().map_or(f64::NAN, |point| point.1);
    let between_runs = (known.iter().zip(&other))
        .map(|(a, b)| (a.1 - b.1).abs() * per_mv_per_v)
        .fold(0.0, f64::max);
    Ok(Found {
        ours,
        low_span,
        full_span,
        segments,
        cubic: cubic / FULL_SCALE_G,
        between_runs: between_runs / FULL_SCALE_G,
        shape,
        points: tables[0].knots().len(),
    })
}

/// Value at `x` of the monotone piecewise cubic through rising `points`: inner
/// slopes are the weighted harmonic mean of the two secants, end slopes the
/// three-point formula. A reference, no candidate of ours.
///
/// Source: Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300, as
/// general-purpose libraries do it; from memory, and checked in
/// `tests/pontius_cell.rs` against a value from one.
#[must_use]
pub fn shape_preserving(points: &[(f64, f64)], x: f64) -> f64 {
    let runs: Vec<f64> = points.windows(2).map(|p| p[1].0 - p[0].0).collect();
    let secants: Vec<f64> = (points.windows(2))
        .map(|p| (p[1].1 - p[0].1) / (p[1].0 - p[0].0))
        .collect();
    let segments = secants.len();
    if segments < 2 {
        return f64::NAN;
    }
    let inner = |i: usize| {
        let (before, after) = (2.0 * runs[i] + runs[i - 1], runs[i] + 2.0 * runs[i - 1]);
        if secants[i - 1] * secants[i] <= 0.0 {
            return 0.0;
        }
        (before + after) / (before / secants[i - 1] + after / secants[i])
    };
    // At an end: the parabola through three points, held to the shape.
    let end = |h0: f64, h1: f64, s0: f64, s1: f64| {
        let slope = ((2.0 * h0 + h1) * s0 - h0 * s1) / (h0 + h1);
        if slope * s0 <= 0.0 {
            0.0
        } else if s0 * s1 <= 0.0 && slope.abs() > 3.0 * s0.abs() {
            3.0 * s0
        } else {
            slope
        }
    };
    let slope = |i: usize| {
        if i == 0 {
            end(runs[0], runs[1], secants[0], secants[1])
        } else if i == segments {
            let (last, before) = (segments - 1, segments - 2);
            end(runs[last], runs[before], secants[last], secants[before])
        } else {
            inner(i)
        }
    };
    let right = points.partition_point(|p| p.0 <= x).clamp(1, segments);
    let left = right - 1;
    let (run, t) = (runs[left], (x - points[left].0) / runs[left]);
    let (a, b) = (points[left].1, points[right].1);
    let (rise_a, rise_b) = (slope(left) * run, slope(right) * run);
    let (t2, t3) = (t * t, t * t * t);
    a * (2.0 * t3 - 3.0 * t2 + 1.0)
        + rise_a * (t3 - 2.0 * t2 + t)
        + b * (3.0 * t2 - 2.0 * t3)
        + rise_b * (t3 - t2)
}
