//! All captures of a session as one least-squares problem.
//!
//! Owns the statement of that problem and the way from captures to a
//! [`Joint`] solution: the curve, the bodies (weights and substitution loads),
//! the drift of zero, hysteresis and creep, each with its uncertainty. What the
//! model assumes, with formulas and sources, stands in `host/metrology/MODEL.md`.
//! Guarantees: what the captures leave open is named, never guessed. Refuses
//! by [`JointRefusal`].

pub(crate) mod apart;
pub(crate) mod basis;
mod design;
mod determined;
mod forecast;
mod gram;
mod history;
mod layout;
mod likelihood;
mod limits;
pub(crate) mod loads;
mod posterior;
mod reduction;
mod refusal;
mod rows;
#[cfg(test)]
mod sample;
mod search;
mod spread;
mod suspicion;
mod tridiagonal;

pub use forecast::{Forecast, Grade, Planned};
pub use history::{CREEP_S, Memory};
pub use likelihood::Scatter;
pub use posterior::{Estimate, Joint};
pub use refusal::JointRefusal;
pub use suspicion::{Judged, Suspect, Suspicion, judge};

/// A body lighter than this many e can't be wrong by 2 e and still be taken for
/// what it is called.
pub const RIVAL_E: f64 = 4.0;

/// What is known beforehand of a body's mass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Worth {
    /// Within this half width of the stated mass, g, and nothing more: what a
    /// class says (rectangular, JCGM 100:2008, 4.3.7).
    Within(f64),
    /// The stated mass has this standard uncertainty, g (normal).
    Stated(f64),
    /// Nothing: the stated mass is a rough guess (a substitution load).
    Unknown,
}

impl Worth {
    /// Standard uncertainty in g; `None` where nothing is known.
    #[must_use]
    pub fn u_g(self) -> Option<f64> {
        match self {
            Self::Within(half_g) => Some(half_g / 3f64.sqrt()),
            Self::Stated(u_g) => Some(u_g),
            Self::Unknown => None,
        }
    }
}

/// A weight or a substitution load.
#[derive(Debug, Clone, PartialEq)]
pub struct Body {
    /// What it is called.
    pub name: String,
    /// Its mass as stated, g.
    pub mass_g: f64,
    /// What that is worth.
    pub worth: Worth,
    /// Which filling of which vessel it is: of one vessel's fillings each
    /// follows the one before for good, and two are never on the pan together.
    pub filling: Option<Filling>,
}

/// One filling of a vessel such as a jug.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Filling {
    /// The vessel, by number.
    pub vessel: usize,
    /// Which filling, from 0.
    pub turn: usize,
}

/// One capture: what lay on the pan and what the converter said.
#[derive(Debug, Clone, PartialEq)]
pub struct Weighing {
    /// Positions in the list of bodies; none is the empty pan.
    pub bodies: Vec<usize>,
    /// Mean code, not net of zero, counts.
    pub counts: f64,
    /// Standard uncertainty of that mean by the converter's noise, counts.
    pub sd_counts: f64,
    /// Middle of the averaging, s.
    pub at_s: f64,
    /// How long the load had rested by then, s, if known.
    pub rested_s: Option<f64>,
    /// Power-on it belongs to: zero is carried on within one only.
    pub sitting: u32,
}

/// All that a joint solution is made from.
#[derive(Debug, Clone, PartialEq)]
pub struct Problem {
    /// The weights and substitution loads.
    pub bodies: Vec<Body>,
    /// The captures, in order of time.
    pub weighings: Vec<Weighing>,
    /// Maximum capacity, g.
    pub max_g: f64,
    /// Verification interval, g.
    pub e_g: f64,
}

impl Problem {
    /// Positions of the other bodies that may be wrong by as much as this one:
    /// those of known mass that weigh enough.
    pub(crate) fn rivals(&self, body: usize) -> impl Iterator<Item = usize> + '_ {
        let heavy = move |one: &Body| one.mass_g >= RIVAL_E * self.e_g;
        let known = |one: &Body| one.worth != Worth::Unknown;
        let bodies = self.bodies.iter().enumerate();
        bodies
            .filter(move |(other, one)| *other != body && known(one) && heavy(one))
            .map(|(other, _)| other)
    }

    /// Mass of a weighing's bodies as stated, g.
    #[must_use]
    pub fn stated_g(&self, weighing: &Weighing) -> f64 {
        let bodies = weighing.bodies.iter();
        bodies
            .filter_map(|body| self.bodies.get(*body))
            .map(|body| body.mass_g)
            .sum()
    }
}
