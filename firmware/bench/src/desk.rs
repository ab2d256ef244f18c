//! The host's side of the bench that is not the serial line: the person at the
//! pan, and whatever else a hand could do to a real scale.
//!
//! Orders are carried out at the device's time when the board next moves. While
//! no wait is open that time stands still, so an order given between a reply
//! and the next request always falls on the same instant.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use crate::faults::{AdcTrouble, LineFaults};
use crate::flash::{FlashImage, SimFlash};
use crate::operator::{LoadOrder, Mistake};
use crate::physics::Curve;
use crate::weights::Weight;

/// Who loads the pan, whatever way the bench is reached.
pub trait Pan: Send + Sync {
    /// Asks the operator for exactly this load.
    fn ask(&self, load: LoadOrder);
    /// Tells the operator that something is wrong with the load.
    fn correct(&self);
    /// True mass on the pan, g.
    fn true_load_g(&self) -> f64;
    /// The weights at hand, with their true masses.
    fn weights(&self) -> Vec<Weight>;
}

/// What a hand can do.
#[derive(Clone, Debug)]
pub(crate) enum Order {
    Ask(LoadOrder),
    Correct,
    Place(f64),
    Knock(f64),
    Trouble(Option<AdcTrouble>),
    LineIn(LineFaults),
    LineOut(LineFaults),
    Curve(Curve),
    Restart { keys: u8 },
    Press { keys: u8, for_ms: u32 },
}

/// What a display of 128x64 dots shows: eight rows of columns of eight dots, the
/// lowest bit on top.
pub type Dots = [[u8; 128]; 8];

#[derive(Debug)]
struct State {
    orders: VecDeque<Order>,
    weights: Vec<Weight>,
    true_load_g: f64,
    mistake: Option<Mistake>,
    time_s: f64,
    display: Box<Dots>,
}

/// A handle on the bench; clones are the same bench.
#[derive(Clone, Debug)]
pub struct Desk {
    state: Arc<Mutex<State>>,
    flash: SimFlash,
}

impl Desk {
    pub(crate) fn new(weights: Vec<Weight>, flash: SimFlash) -> Self {
        Self {
            state: Arc::new(Mutex::new(State {
                orders: VecDeque::new(),
                weights,
                true_load_g: 0.0,
                mistake: None,
                time_s: 0.0,
                display: Box::new([[0; 128]; 8]),
            })),
            flash,
        }
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn order(&self, order: Order) {
        self.state().orders.push_back(order);
    }

    pub(crate) fn next_order(&self) -> Option<Order> {
        self.state().orders.pop_front()
    }

    pub(crate) fn show(&self, true_load_g: f64, mistake: Option<Mistake>, time_s: f64) {
        let mut state = self.state();
        state.true_load_g = true_load_g;
        state.mistake = mistake;
        state.time_s = time_s;
    }

    /// What the display shows, on a bench that has one.
    #[must_use]
    pub fn display(&self) -> Dots {
        *self.state().display
    }

    pub(crate) fn paint(&self, page: u8, column: u8, columns: &[u8]) {
        let mut state = self.state();
        let row = state.display.get_mut(usize::from(page));
        let places = row.into_iter().flatten().skip(usize::from(column));
        for (place, dots) in places.zip(columns) {
            *place = *dots;
        }
    }

    /// Presses keys, a bit each from the left, for so long, ms.
    pub fn press(&self, keys: u8, for_ms: u32) {
        self.order(Order::Press { keys, for_ms });
    }

    /// Puts exactly `load_g` on the pan at once, instead of all weights.
    pub fn place_g(&self, load_g: f64) {
        self.order(Order::Place(load_g));
    }

    /// Knocks against the table.
    pub fn knock(&self, amplitude_g: f64) {
        self.order(Order::Knock(amplitude_g));
    }

    /// Breaks the ADC's wiring, or mends it with `None`.
    pub fn adc_trouble(&self, trouble: Option<AdcTrouble>) {
        self.order(Order::Trouble(trouble));
    }

    /// Makes the line to the device bad, or good with the default.
    pub fn line_in(&self, faults: LineFaults) {
        self.order(Order::LineIn(faults));
    }

    /// Makes the line to the host bad, or good with the default.
    pub fn line_out(&self, faults: LineFaults) {
        self.order(Order::LineOut(faults));
    }

    /// Exchanges the settled curve of the cell: the same scale on another day.
    pub fn exchange_curve(&self, curve: Curve) {
        self.order(Order::Curve(curve));
    }

    /// Switches the device off and on again; its flash keeps what it holds.
    pub fn restart(&self) {
        self.restart_with(0);
    }

    /// The same with keys held down meanwhile, a bit each from the left.
    pub fn restart_with(&self, keys: u8) {
        self.order(Order::Restart { keys });
    }

    /// Cuts the power after so many more bytes of flash were erased or
    /// written. The device is dead from then on, until [`Self::restart`].
    pub fn cut_power_after(&self, bytes: u64) {
        self.flash.set_fuel(Some(bytes));
    }

    /// Whether the power is gone.
    #[must_use]
    pub fn is_dead(&self) -> bool {
        self.flash.is_dead()
    }

    /// A copy of what the flash holds now.
    #[must_use]
    pub fn flash_image(&self) -> FlashImage {
        self.flash.image()
    }

    /// The operator's mistake that was not yet corrected.
    #[must_use]
    pub fn mistake(&self) -> Option<Mistake> {
        self.state().mistake
    }

    /// Virtual time since the bench began, s, as of its last move.
    #[must_use]
    pub fn time_s(&self) -> f64 {
        self.state().time_s
    }
}

impl Pan for Desk {
    fn ask(&self, load: LoadOrder) {
        self.order(Order::Ask(load));
    }

    fn correct(&self) {
        self.order(Order::Correct);
    }

    fn true_load_g(&self) -> f64 {
        self.state().true_load_g
    }

    fn weights(&self) -> Vec<Weight> {
        self.state().weights.clone()
    }
}
