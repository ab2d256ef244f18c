//! Calibrations at the scale's own keys, on the bench's cells, and what the laptop
//! makes of the very captures they took.

use crate::captures::as_capture;
use scalewright::record::weights;
use scalewright::session::cell::CellGrade;
use scalewright::session::choosing::choose;
use scalewright::session::event::Capture;
use scalewright::session::plan::{Plan, PlannedWeight, ScaleSpec};
use scalewright_bench::adc::Signal;
use scalewright_bench::faults::Spikes;
use scalewright_bench::flash::{FlashImage, SimFlash};
use scalewright_bench::physics::{Cell, CellSpec, Position};
use scalewright_core::FACTORY;
use scalewright_core::bridge::Conversion;
use scalewright_core::instrument::{Event, Identity, Instrument};
use scalewright_core::walk::{Stage, Walk, settings_of};
use scalewright_protocol::message::CaptureState;
use scalewright_protocol::settings::Input;
use scalewright_protocol::table::{Knot, Table};

/// Knots of the scale.
const KNOTS: usize = 32;
/// The glaze kitchen's bench scale: Max 6 kg, e = d = 2 g.
const MAX_G: f64 = 6000.0;
const E_G: f64 = 2.0;

/// What came of one.
#[derive(Debug)]
pub struct Walked {
    /// The table the scale made and put in force.
    pub by_scale: Vec<Knot>,
    /// The one the laptop makes of the same captures when it is told to go through
    /// the loads.
    pub by_laptop: Vec<Knot>,
    /// The one it would rather make of them, all solved together.
    pub all_together: Vec<Knot>,
    /// Largest error of the scale's table over the range, g, by the cell as it is.
    pub worst_g: f64,
    /// And of the laptop's own choice.
    pub worst_together_g: f64,
}

/// A scale and the hand at its pan.
struct Kitchen {
    scale: Instrument<SimFlash, KNOTS>,
    walk: Walk,
    signal: Signal,
    now_ms: u32,
    /// What the scale captured, with the load that lay there, g.
    captures: Vec<Capture>,
}

impl Kitchen {
    fn new(spec: CellSpec, seed: u64) -> Self {
        let identity = Identity {
            device_id: 7,
            board: "bench",
            firmware: scalewright_core::VERSION,
            rates_sps: &[10, 80],
        };
        let flash = SimFlash::new(FlashImage::erased());
        Self {
            scale: Instrument::new(identity, flash, FACTORY, 0),
            walk: Walk::new(),
            signal: Signal::new(Cell::new(spec, seed), Spikes::new(0.0, 0, seed), seed),
            now_ms: 0,
            captures: Vec::new(),
        }
    }

    /// Puts a load on and lets time pass until the walk stands at another stage.
    fn wait(&mut self, load_g: f64, patience_s: u32) -> Stage {
        self.signal.cell.set_load(load_g, Position::default());
        let before = self.walk.stage();
        let mut seen = CaptureState::Idle;
        for _ in 0..patience_s * 10 {
            self.now_ms += 100;
            self.signal.run_to(u64::from(self.now_ms) * 1_000_000);
            let code = self.signal.convert(Input::A128, 10);
            let sample = Event::Sample(Ok(Conversion::settled(code)));
            self.scale.handle(self.now_ms, sample);
            seen = self.scale.state(self.now_ms).capture;
            self.walk.watch(&mut self.scale);
            let now = self.walk.stage();
            let taking = matches!(now, Stage::Taking(_) | Stage::PutOn(_));
            if now != before && !taking {
                break;
            }
        }
        // Elsewhere the capture is still the one before.
        let done = matches!(self.walk.stage(), Stage::Choose | Stage::Summary);
        if done && let CaptureState::Captured(captured) = seen {
            self.captures.push(as_capture(load_g, &captured));
        }
        self.walk.stage()
    }
}

/// A calibration at the keys of a scale of this cell, with these loads, g, in this
/// order.
///
/// # Errors
/// Where it stood instead.
pub fn walk(spec: &CellSpec, seed: u64, loads_g: &[f64]) -> Result<Walked, String> {
    let mut kitchen = Kitchen::new(spec.clone(), seed);
    let settings = settings_of(&FACTORY, (E_G * 1e6) as u32, (MAX_G / E_G) as u32);
    let quantum_g = f64::from(settings.quantum_ug) * 1e-6;
    let begun = kitchen.walk.begin(&mut kitchen.scale, settings);
    begun.map_err(|refusal| format!("{refusal:?}"))?;
    // Time to rest before the key is pressed.
    for _ in 0..30 {
        kitchen.wait(0.0, 1);
    }
    kitchen.walk.pan_is_empty(&mut kitchen.scale);
    at(kitchen.wait(0.0, 60), Stage::Choose)?;
    for load_g in loads_g {
        kitchen.walk.choose((load_g / quantum_g).round() as i32);
        at(kitchen.wait(*load_g, 60), Stage::Choose)?;
    }
    let before_last = kitchen.captures.clone();
    kitchen.walk.finish();
    kitchen.wait(0.0, 5);
    kitchen.walk.pan_is_empty(&mut kitchen.scale);
    at(kitchen.wait(0.0, 60), Stage::Summary)?;
    kitchen.walk.accept(&mut kitchen.scale);
    at(kitchen.walk.stage(), Stage::Done)?;

    let table = kitchen.scale.table().ok_or("no table")?;
    let plan = plan(loads_g)?;
    let through = Plan {
        through: true,
        ..plan.clone()
    };
    // The last zero is for the drift of zero, which the laptop would reckon with.
    let by_laptop = choose(&through, &before_last, KNOTS)?.table;
    let together = choose(&plan, &kitchen.captures, KNOTS)?.table;
    Ok(Walked {
        by_scale: table.knots().to_vec(),
        by_laptop: by_laptop.knots().to_vec(),
        all_together: together.knots().to_vec(),
        worst_g: worst_g(spec, table, quantum_g),
        worst_together_g: worst_g(spec, &together, quantum_g),
    })
}

fn at(stage: Stage, wanted: Stage) -> Result<(), String> {
    if stage == wanted {
        Ok(())
    } else {
        Err(format!("at {stage:?} instead of {wanted:?}"))
    }
}

fn plan(loads_g: &[f64]) -> Result<Plan, String> {
    let scale = ScaleSpec {
        max_g: MAX_G,
        e_g: E_G,
        d_g: E_G,
        class: "III".into(),
    };
    let weights = loads_g
        .iter()
        .map(|load_g| PlannedWeight::new(weights::name(*load_g), *load_g, 0.0))
        .collect();
    Plan::on_cell(scale, weights, CellGrade::default()).map_err(|fault| fault.to_string())
}

/// Largest error over the range, g, by what the cell puts out when it has settled on
/// the rising branch.
fn worst_g(spec: &CellSpec, table: &Table<KNOTS>, quantum_g: f64) -> f64 {
    let code = |load_g: f64| scalewright_bench::adc::code_of(spec.settled_mv_per_v(load_g), 128.0);
    let zero = code(0.0);
    (1..=120)
        .map(|step| {
            let load_g = MAX_G * f64::from(step) / 120.0;
            let mass = table.lookup(code(load_g) - zero).mass;
            (f64::from(mass) * quantum_g - load_g).abs()
        })
        .fold(0.0, f64::max)
}
