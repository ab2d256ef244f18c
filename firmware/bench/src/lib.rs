//! The bench is a board: the unchanged firmware core against a simulated load
//! cell, converter, flash and person, reached only through bytes.
//!
//! ```text
//! operator → cell → converter → (pins, driver) core → line → host
//!            physics  adc        bridge        board   pty or stream
//! ```
//!
//! Everything random comes from one seed, and virtual time runs only while the
//! device has an open wait ([`board`]), so the same seed and the same requests
//! give the same bytes, on any machine, behind a pseudo-terminal ([`pty`]) or
//! in-process ([`stream`]).
//!
//! ```
//! use scalewright_bench::{BenchSpec, BenchStream, LoadOrder, Pan};
//!
//! let bench = BenchStream::open(BenchSpec::studio(7))?;
//! let pan = bench.desk();
//! // 1 kg of the studio's set; it comes to lie once the device's time runs.
//! pan.ask(LoadOrder::of(["W3"]));
//! assert_eq!(pan.weights()[2].nominal_g, 1000.0);
//! assert_eq!(pan.true_load_g(), 0.0);
//! # Ok::<(), scalewright_bench::BenchFault>(())
//! ```

pub mod adc;
pub mod board;
pub mod desk;
pub mod dice;
pub mod faults;
pub mod flash;
pub mod operator;
pub mod pace;
pub mod physics;
pub mod pins;
#[cfg(unix)]
pub mod pty;
pub mod setup;
pub mod stream;
pub mod weights;

mod bridge;

pub use adc::{Settling, Signal};
pub use board::Board;
pub use bridge::ReadBy;
pub use desk::{Desk, Dots, Pan};
pub use faults::{AdcTrouble, AdcTroubleSpan, LineFaults};
pub use flash::FlashImage;
pub use operator::{Habits, LoadOrder, Mistake, Spot};
pub use pace::Pace;
pub use physics::{CellSpec, Curve};
#[cfg(unix)]
pub use pty::BenchHandle;
pub use setup::BenchFault;
pub use stream::BenchStream;
pub use weights::Weight;

use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::Knot;

/// A table a device comes with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredTable {
    /// Zero reference at calibration, ADC counts.
    pub zero_counts: i32,
    /// The knots.
    pub knots: Vec<Knot>,
}

/// Everything that makes a bench.
#[derive(Clone, Debug, PartialEq)]
pub struct BenchSpec {
    /// The name of the whole course of events.
    pub seed: u64,
    /// Number of the device.
    pub device_id: u32,
    /// The cell.
    pub cell: CellSpec,
    /// The weights at hand.
    pub weights: Vec<Weight>,
    /// What the device is set to, from the factory or with its table.
    pub settings: Settings,
    /// The table it comes with; `None` = not calibrated.
    pub stored: Option<StoredTable>,
    /// Flash to start with, instead of `stored`.
    pub flash: Option<FlashImage>,
    /// The person.
    pub habits: Habits,
    /// How fast time runs.
    pub pace: Pace,
    /// How codes reach the core.
    pub read_by: ReadBy,
    /// What the converter says while it settles.
    pub settling: Settling,
    /// Spikes: probability at each conversion, and size in ADC counts.
    pub spikes: (f64, i32),
    /// Troubles of the ADC's wiring on plan.
    pub adc_troubles: Vec<AdcTroubleSpan>,
    /// The line towards the device.
    pub line_in: LineFaults,
    /// The line towards the host.
    pub line_out: LineFaults,
    /// Whether display and keys are there: see [`Desk::display`].
    pub front: bool,
}

impl BenchSpec {
    /// A bench of this cell, with all else in good order: no table, no
    /// mistakes, no faults, a set of class M1, the ADC read by its pins.
    #[must_use]
    pub fn plain(seed: u64, cell: CellSpec, settings: Settings) -> Self {
        Self {
            seed,
            device_id: device_id(seed),
            cell,
            weights: weights::studio_set(seed),
            settings,
            stored: None,
            flash: None,
            habits: Habits::default(),
            pace: Pace::default(),
            read_by: ReadBy::Pins,
            settling: Settling::default(),
            spikes: (0.0, 0),
            adc_troubles: Vec::new(),
            line_in: LineFaults::default(),
            line_out: LineFaults::default(),
            front: false,
        }
    }

    /// The bench scale of the studio's glaze kitchen, Max 6 kg, e = d = 2 g,
    /// class III, as it came to us: set with one weight of 1 kg.
    #[must_use]
    pub fn studio(seed: u64) -> Self {
        let mut spec = Self::studio_factory(seed);
        let table = setup::set_with_one_load(&spec.cell, &spec.settings, 1000.0);
        spec.stored = Some(table);
        spec
    }

    /// The same scale without a table.
    #[must_use]
    pub fn studio_factory(seed: u64) -> Self {
        let settings = setup::class_iii_settings(6000.0, 2.0, 1000);
        Self::plain(seed, CellSpec::studio(seed), settings)
    }

    /// One of a population of poor scales, Max 5 kg, e = d = 5 g, without a
    /// table and with codes handed over directly.
    #[must_use]
    pub fn poor(seed: u64) -> Self {
        let settings = setup::class_iii_settings(5000.0, 5.0, 1000);
        let mut spec = Self::plain(seed, CellSpec::poor(seed), settings);
        spec.read_by = ReadBy::Codes;
        spec
    }

    /// A board made to this, its flash filled by its own firmware.
    ///
    /// # Errors
    /// [`BenchFault`] when the firmware refuses the table.
    pub fn board(self) -> Result<Board, BenchFault> {
        let image = setup::prepare_flash(&self)?;
        Ok(Board::new(self, image))
    }
}

/// A number that looks like one of a small series and differs by seed.
fn device_id(seed: u64) -> u32 {
    let mixed = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 48;
    0x5C00_0000 | mixed as u32
}
