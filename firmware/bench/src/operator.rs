//! A simulated person who puts weights on the pan, in virtual time.
//!
//! Owns who does what when: a reaction time, then one weight after another,
//! each a little off the middle. It says nothing when it is done: a host must
//! notice that from the signal, as with a real person. It errs when chance or
//! a plan says so, one mistake at a time, until told.

use std::collections::VecDeque;

use crate::dice::{Dice, Purpose};
use crate::physics::{Cell, Position};
use crate::weights::Weight;

/// Where on the pan a load shall stand.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Spot {
    /// In the middle, as well as a person manages.
    #[default]
    Middle,
    /// In the middle of the quarter at the front on the left, and so on.
    FrontLeft,
    /// Front right.
    FrontRight,
    /// Far left.
    FarLeft,
    /// Far right.
    FarRight,
}

impl Spot {
    /// Its place, as parts of the way from the middle to the edge.
    const fn position(self) -> Position {
        let (right, far) = match self {
            Self::Middle => (0.0, 0.0),
            Self::FrontLeft => (-0.5, -0.5),
            Self::FrontRight => (0.5, -0.5),
            Self::FarLeft => (-0.5, 0.5),
            Self::FarRight => (0.5, 0.5),
        };
        Position { right, far }
    }
}

/// What shall be on the pan: exactly these weights.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LoadOrder {
    /// Names of weights of the set. A name that is not in the set is passed
    /// over: nobody can put on what is not there.
    pub weight_ids: Vec<String>,
    /// Where. Whatever stands elsewhere is lifted and put down again.
    pub spot: Spot,
}

impl LoadOrder {
    /// These weights.
    pub fn of<I: IntoIterator<Item = S>, S: Into<String>>(ids: I) -> Self {
        Self {
            weight_ids: ids.into_iter().map(Into::into).collect(),
            spot: Spot::Middle,
        }
    }

    /// The same load at a place of its own.
    #[must_use]
    pub fn at(mut self, spot: Spot) -> Self {
        self.spot = spot;
        self
    }

    /// An empty pan.
    #[must_use]
    pub fn nothing() -> Self {
        Self::default()
    }
}

/// What a person does wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mistake {
    /// One weight is taken for another of the set.
    WrongWeight,
    /// One weight is left out.
    Forgotten,
    /// The load touches something: 30 to 300 g too much, or too little when
    /// the load is large enough to be held up so far.
    Touching,
    /// Somebody knocks against the table while the load rests.
    Bump,
}

const ALL_MISTAKES: [Mistake; 4] = [
    Mistake::WrongWeight,
    Mistake::Forgotten,
    Mistake::Touching,
    Mistake::Bump,
];

/// How this person works. Times are drawn evenly between two limits in s
/// (common practice for small weights on a table).
#[derive(Clone, Debug, PartialEq)]
pub struct Habits {
    /// From hearing to acting, s.
    pub reaction_s: (f64, f64),
    /// Between one weight and the next, s.
    pub handling_s: (f64, f64),
    /// How far off the middle a weight comes to stand, fraction of the way to
    /// the edge (one standard deviation).
    pub off_centre: f64,
    /// Probability of a mistake at each order.
    pub mistake: f64,
    /// Mistakes on plan: at which order, counted from 0.
    pub planned: Vec<(usize, Mistake)>,
}

impl Default for Habits {
    fn default() -> Self {
        Self {
            reaction_s: (1.5, 4.0),
            handling_s: (1.2, 2.5),
            off_centre: 0.08,
            mistake: 0.0,
            planned: Vec::new(),
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Act {
    TakeOff(usize),
    PutOn(usize),
    TakeOffPlaced,
    Press(f64),
    Knock(f64),
}

/// The person, the weights and what stands on the pan.
#[derive(Clone, Debug)]
pub struct Operator {
    weights: Vec<Weight>,
    habits: Habits,
    dice: Dice,
    on_pan: Vec<(usize, Position)>,
    /// Where weights are put, and whether what is on the pan stands there.
    spot: Spot,
    lifted: bool,
    pressing_g: f64,
    direct_g: f64,
    wanted: Vec<usize>,
    acts: VecDeque<(u64, Act)>,
    orders: usize,
    mistake: Option<Mistake>,
}

impl Operator {
    /// Somebody with these weights beside an empty pan.
    #[must_use]
    pub fn new(weights: Vec<Weight>, habits: Habits, seed: u64) -> Self {
        Self {
            weights,
            habits,
            dice: Dice::new(seed, Purpose::Operator),
            on_pan: Vec::new(),
            spot: Spot::Middle,
            lifted: false,
            pressing_g: 0.0,
            direct_g: 0.0,
            wanted: Vec::new(),
            acts: VecDeque::new(),
            orders: 0,
            mistake: None,
        }
    }

    /// True mass of what stands on the pan, g. What merely presses on it is
    /// not counted.
    #[must_use]
    pub fn true_load_g(&self) -> f64 {
        let weights: f64 = self
            .on_pan
            .iter()
            .filter_map(|(at, _)| self.weights.get(*at))
            .map(|w| w.true_g)
            .sum();
        weights + self.direct_g
    }

    /// The mistake made at the last order and not yet corrected.
    #[must_use]
    pub fn mistake(&self) -> Option<Mistake> {
        self.mistake
    }

    /// When the next move is due, ns of virtual time.
    #[must_use]
    pub fn due_ns(&self) -> Option<u64> {
        self.acts.front().map(|(at_ns, _)| *at_ns)
    }

    /// Asks for a load. An order still being carried out is dropped for the
    /// new one.
    pub fn ask(&mut self, order: &LoadOrder, now_ns: u64) {
        let mut wanted = Vec::new();
        for id in &order.weight_ids {
            let found = self.weights.iter().position(|w| w.id == *id);
            if let Some(at) = found.filter(|at| !wanted.contains(at)) {
                wanted.push(at);
            }
        }
        self.wanted = wanted.clone();
        self.lifted = self.spot != order.spot;
        self.spot = order.spot;
        let planned = self
            .habits
            .planned
            .iter()
            .find(|(step, _)| *step == self.orders)
            .map(|(_, mistake)| *mistake);
        self.orders += 1;
        let erring = planned.or_else(|| {
            self.dice
                .happens(self.habits.mistake)
                .then(|| ALL_MISTAKES[self.dice.pick(ALL_MISTAKES.len())])
        });
        self.mistake = None;
        match erring {
            Some(Mistake::WrongWeight) => self.swap_one(&mut wanted),
            Some(Mistake::Forgotten) if !wanted.is_empty() => {
                wanted.remove(self.dice.pick(wanted.len()));
                self.mistake = Some(Mistake::Forgotten);
            }
            _ => {}
        }
        let done_ns = self.plan(&wanted, now_ns);
        match erring {
            Some(Mistake::Touching) => {
                let force_g = self.touching_force_g(&wanted);
                self.acts.push_back((done_ns, Act::Press(force_g)));
                self.mistake = Some(Mistake::Touching);
            }
            Some(Mistake::Bump) => {
                let later_ns = done_ns.saturating_add(ns(self.dice.between(1.0, 3.0)));
                let amplitude_g = self.dice.between(50.0, 200.0);
                self.acts.push_back((later_ns, Act::Knock(amplitude_g)));
                self.mistake = Some(Mistake::Bump);
            }
            _ => {}
        }
    }

    /// Told that something is wrong with the load, the person looks, and makes
    /// it what was asked for.
    pub fn correct(&mut self, now_ns: u64) {
        self.mistake = None;
        let wanted = self.wanted.clone();
        self.plan(&wanted, now_ns);
    }

    /// Puts exactly `load_g` in the middle of the pan, at once and instead of
    /// all weights: for tests that need no person.
    pub fn place(&mut self, load_g: f64, cell: &mut Cell) {
        self.acts.clear();
        self.on_pan.clear();
        self.pressing_g = 0.0;
        self.direct_g = load_g;
        cell.set_load(load_g, Position::default());
    }

    /// One weight of the order for one that is not in it, as near in mass as
    /// there is: nobody takes 10 g for 2 kg.
    fn swap_one(&mut self, wanted: &mut [usize]) {
        let Some(place) = (!wanted.is_empty()).then(|| self.dice.pick(wanted.len())) else {
            return;
        };
        let asked_g = self.weights[wanted[place]].nominal_g;
        let ratio = |at: usize| (self.weights[at].nominal_g / asked_g).ln().abs();
        let taken = (0..self.weights.len())
            .filter(|at| !wanted.contains(at))
            .filter(|at| ratio(*at) > 1e-9)
            .min_by(|a, b| ratio(*a).total_cmp(&ratio(*b)));
        if let Some(taken) = taken {
            wanted[place] = taken;
            self.mistake = Some(Mistake::WrongWeight);
        }
    }

    fn touching_force_g(&mut self, wanted: &[usize]) -> f64 {
        let force_g = self.dice.between(30.0, 300.0);
        let load_g: f64 = wanted.iter().map(|at| self.weights[*at].true_g).sum();
        // A load that leans on something can lose no more than part of itself.
        let held_up = self.dice.happens(0.5) && load_g > 2.0 * force_g;
        if held_up { -force_g } else { force_g }
    }

    /// Lays out the moves to `wanted` and returns when the last is done, ns.
    fn plan(&mut self, wanted: &[usize], now_ns: u64) -> u64 {
        self.acts.clear();
        let (low, high) = self.habits.reaction_s;
        let mut at_ns = now_ns.saturating_add(ns(self.dice.between(low, high)));
        let on_pan: Vec<usize> = self.on_pan.iter().map(|(at, _)| *at).collect();
        let mut moves = Vec::new();
        if self.pressing_g != 0.0 {
            moves.push(Act::Press(0.0));
        }
        if self.direct_g != 0.0 {
            moves.push(Act::TakeOffPlaced);
        }
        let stays = |at: &usize| wanted.contains(at) && on_pan.contains(at) && !self.lifted;
        let off = on_pan.iter().filter(|at| !stays(at));
        moves.extend(off.map(|at| Act::TakeOff(*at)));
        let on = wanted.iter().filter(|at| !stays(at));
        moves.extend(on.map(|at| Act::PutOn(*at)));
        let (low, high) = self.habits.handling_s;
        let mut done_ns = at_ns;
        for act in moves {
            self.acts.push_back((at_ns, act));
            done_ns = at_ns;
            at_ns = at_ns.saturating_add(ns(self.dice.between(low, high)));
        }
        done_ns
    }

    /// Does what is due by `now_ns`.
    pub fn act(&mut self, now_ns: u64, cell: &mut Cell) {
        while let Some((_, act)) = self.acts.pop_front_if(|(at_ns, _)| *at_ns <= now_ns) {
            match act {
                Act::TakeOff(at) => self.on_pan.retain(|(standing, _)| *standing != at),
                Act::PutOn(at) => {
                    let spot = self.spot.position();
                    let position = Position {
                        right: (spot.right + self.off_centre()).clamp(-1.0, 1.0),
                        far: (spot.far + self.off_centre()).clamp(-1.0, 1.0),
                    };
                    self.on_pan.push((at, position));
                }
                Act::TakeOffPlaced => self.direct_g = 0.0,
                Act::Press(force_g) => self.pressing_g = force_g,
                Act::Knock(amplitude_g) => {
                    cell.knock(amplitude_g);
                    continue;
                }
            }
            cell.set_load(self.true_load_g() + self.pressing_g, self.middle());
        }
    }

    fn off_centre(&mut self) -> f64 {
        (self.habits.off_centre * self.dice.normal()).clamp(-1.0, 1.0)
    }

    /// Centre of gravity of what stands on the pan.
    fn middle(&self) -> Position {
        let mut sum = (0.0, 0.0, 0.0);
        for (at, position) in &self.on_pan {
            let mass_g = self.weights.get(*at).map_or(0.0, |w| w.true_g);
            sum.0 += mass_g;
            sum.1 += mass_g * position.right;
            sum.2 += mass_g * position.far;
        }
        if sum.0 > 0.0 {
            Position {
                right: sum.1 / sum.0,
                far: sum.2 / sum.0,
            }
        } else {
            Position::default()
        }
    }
}

fn ns(seconds: f64) -> u64 {
    // `as` saturates: a negative or absurd time is 0 or the end of time.
    (seconds * 1e9) as u64
}
