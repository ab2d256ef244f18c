//! A load cell under a platform, as physics: load and time in, mV/V out.
//!
//! Owns what a cell does between two instants; guarantees that the same seed
//! and the same calls give the same output. It knows no converter and no clock:
//! time is what [`Cell::advance`] is told.

mod curve;
mod hysteresis;
mod spec;

pub use curve::Curve;
pub use spec::{CellSpec, Swing, Temperature};

use crate::dice::{Dice, Purpose};
use hysteresis::Memory;

/// Where on the platform a load rests: (0, 0) is the middle, 1 and −1 are the
/// edges, right and far positive.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Position {
    /// To the right.
    pub right: f64,
    /// Away from the operator.
    pub far: f64,
}

/// Correlation times of the slow noise, s.
const SLOW_S: [f64; 3] = [1.0, 10.0, 100.0];

/// A cell with its memory, its creep and its noise.
#[derive(Clone, Debug)]
pub struct Cell {
    spec: CellSpec,
    course: Dice,
    placement: Dice,
    time_s: f64,
    load_g: f64,
    /// What the cell feels of the load: gravity, off-centre effect and placement
    /// in it.
    felt_g: f64,
    swing: (f64, f64),
    memory: Memory,
    memory_g: f64,
    creep_g: [f64; 2],
    walk_g: f64,
    slow_g: [f64; 3],
    steps: Steps,
}

/// Factors for one step of `dt_s`; kept because steps are mostly alike.
#[derive(Clone, Debug, Default)]
struct Steps {
    dt_s: f64,
    creep: [f64; 2],
    slow_keep: [f64; 3],
    slow_kick_g: [f64; 3],
    walk_kick_g: f64,
    turn: (f64, f64),
}

impl Steps {
    fn new(spec: &CellSpec, dt_s: f64) -> Self {
        let decay = (-dt_s / spec.swing.decay_s).exp();
        let angle = std::f64::consts::TAU * spec.swing.hz * dt_s;
        let share_g = spec.slow_noise_g / 3f64.sqrt();
        let slow_keep = SLOW_S.map(|tau| (-dt_s / tau).exp());
        Self {
            dt_s,
            creep: spec.creep.map(|(_, tau_s)| -(-dt_s / tau_s).exp_m1()),
            slow_keep,
            // Stationary first-order course: kick² = share²·(1 − keep²).
            slow_kick_g: slow_keep.map(|keep| share_g * (1.0 - keep * keep).sqrt()),
            walk_kick_g: spec.walk_g_per_sqrt_h * (dt_s / 3600.0).sqrt(),
            turn: (decay * angle.cos(), decay * angle.sin()),
        }
    }
}

impl Cell {
    /// A cell of this make, empty, exercised and warm.
    #[must_use]
    pub fn new(spec: CellSpec, seed: u64) -> Self {
        let mut course = Dice::new(seed, Purpose::CellCourse);
        let share_g = spec.slow_noise_g / 3f64.sqrt();
        let slow_g = [0; 3].map(|_| share_g * course.normal());
        Self {
            spec,
            course,
            placement: Dice::new(seed, Purpose::Placement),
            time_s: 0.0,
            load_g: 0.0,
            felt_g: 0.0,
            swing: (0.0, 0.0),
            memory: Memory::exercised(),
            memory_g: 0.0,
            creep_g: [0.0; 2],
            walk_g: 0.0,
            slow_g,
            steps: Steps::default(),
        }
    }

    /// How it is made.
    #[must_use]
    pub fn spec(&self) -> &CellSpec {
        &self.spec
    }

    /// The load on the pan, g.
    #[must_use]
    pub fn load_g(&self) -> f64 {
        self.load_g
    }

    /// The load on the pan becomes `load_g`, its middle at `position`. Each
    /// change is a new placement with its own small error, and sets the
    /// platform swinging.
    pub fn set_load(&mut self, load_g: f64, position: Position) {
        let placed = if self.spec.repeatability > 0.0 {
            self.spec.repeatability * self.placement.normal()
        } else {
            0.0
        };
        let (right, far) = self.spec.eccentric;
        let pull_g = load_g * self.spec.gravity;
        let felt_g = pull_g * (1.0 + right * position.right + far * position.far + placed);
        // A hand gives way: part of the step is there at once, the rest swings.
        self.swing.0 -= self.spec.swing.fraction * (felt_g - self.felt_g);
        self.load_g = load_g;
        self.felt_g = felt_g;
        // Memory follows the load that stays; the swing is over in a second.
        let x = felt_g / self.spec.max_g;
        self.memory.follow(x);
        self.memory_g = if self.spec.hysteresis == 0.0 {
            0.0
        } else {
            self.spec.hysteresis * self.spec.max_g * self.memory.departure(x)
        };
    }

    /// Exchanges the settled curve: the same cell on another day.
    pub fn exchange_curve(&mut self, curve: Curve) {
        self.spec.curve = curve;
    }

    /// Something knocks against the table: a swing of `amplitude_g` and no
    /// change of load.
    pub fn knock(&mut self, amplitude_g: f64) {
        self.swing.1 += amplitude_g;
    }

    /// Lets `dt_s` pass; nothing happens for a time that is not positive.
    pub fn advance(&mut self, dt_s: f64) {
        if dt_s.is_nan() || dt_s <= 0.0 {
            return;
        }
        if dt_s != self.steps.dt_s {
            self.steps = Steps::new(&self.spec, dt_s);
        }
        let steps = &self.steps;
        self.time_s += dt_s;
        for (creep_g, ((amplitude, _), gone)) in self
            .creep_g
            .iter_mut()
            .zip(self.spec.creep.iter().zip(steps.creep))
        {
            *creep_g += (amplitude * self.felt_g - *creep_g) * gone;
        }
        if self.spec.slow_noise_g > 0.0 {
            for (slow_g, (keep, kick_g)) in self
                .slow_g
                .iter_mut()
                .zip(steps.slow_keep.iter().zip(steps.slow_kick_g))
            {
                *slow_g = *slow_g * keep + kick_g * self.course.normal();
            }
        }
        if steps.walk_kick_g > 0.0 {
            self.walk_g += steps.walk_kick_g * self.course.normal();
        }
        let (cos, sin) = steps.turn;
        let (a, b) = self.swing;
        self.swing = (a * cos - b * sin, a * sin + b * cos);
    }

    /// Output now, mV/V, without the noise of a conversion.
    #[must_use]
    pub fn output_mv_per_v(&self) -> f64 {
        let spec = &self.spec;
        let per_g = spec.mv_per_v_per_g();
        let warm_c = spec.temperature.at_c(self.time_s) - 20.0;
        let span = 1.0 + spec.span_ppm_per_c * 1e-6 * warm_c;
        let loaded = spec
            .curve
            .mv_per_v(self.felt_g + self.swing.0, spec.max_g, per_g);
        let aside_g = self.memory_g
            + self.creep_g.iter().sum::<f64>()
            + spec.drift_g_per_h * self.time_s / 3600.0
            + self.walk_g
            + self.slow_g.iter().sum::<f64>()
            + spec.zero_g_per_c * warm_c;
        let dead_g = spec.dead_load_g * spec.gravity;
        spec.zero_balance_mv_per_v + (dead_g + aside_g) * per_g + loaded * span
    }

    /// White noise of one conversion at `rate_sps`, mV/V (one standard
    /// deviation).
    #[must_use]
    pub fn noise_mv_per_v(&self, rate_sps: u16) -> f64 {
        self.spec.noise_g * self.spec.mv_per_v_per_g() * (f64::from(rate_sps) / 10.0).sqrt()
    }
}
