//! The one crossing from f64 to the integers of a device's table.

use scalewright_metrology::candidates::Realise;
use scalewright_metrology::curve::Knots;
use scalewright_protocol::hysteresis;
use scalewright_protocol::settings::{Class, Conduct, Input, Settings};
use scalewright_protocol::table::{Knot, Table};

use crate::session::plan::ScaleSpec;

/// Most knots the laptop's own copy of a table can hold: the largest device.
pub const MOST_KNOTS: usize = 32;

/// A table as the laptop holds it.
pub type HostTable = Table<MOST_KNOTS>;

/// The mass quantum for a scale of interval `e_g`, micrograms: e/1000, so that
/// Max of the finest scale (100 000 e) is 10^8 quanta, and at least 1 ug.
#[must_use]
pub fn quantum_ug(e_g: f64) -> u32 {
    (e_g * 1e6 / 1000.0).round().clamp(1.0, f64::from(u32::MAX)) as u32
}

/// Mass of one quantum, g.
#[must_use]
pub fn quantum_g(quantum_ug: u32) -> f64 {
    f64::from(quantum_ug) * 1e-6
}

/// The settings that make a device the scale of `spec`, keeping what `current`
/// says of sampling. Hysteresis is not corrected.
#[must_use]
pub fn settings_for(spec: &ScaleSpec, current: &Settings) -> Settings {
    let quantum_ug = quantum_ug(spec.e_g);
    let quanta = |mass_g: f64| {
        (mass_g / quantum_g(quantum_ug))
            .round()
            .clamp(0.0, f64::from(i32::MAX)) as i32
    };
    Settings {
        quantum_ug,
        max: quanta(spec.max_g),
        e: quanta(spec.e_g),
        d: quanta(spec.d_g),
        class: match spec.class.as_str() {
            "I" => Class::I,
            "II" => Class::II,
            "IIII" => Class::IIII,
            _ => Class::III,
        },
        loop_gain: 0,
        ..*current
    }
}

/// The gain that has a device of these settings correct a hysteresis loop of this
/// width, g; none for what no device corrects, a loop that runs the other way.
#[must_use]
pub fn loop_gain(width_g: f64, settings: &Settings) -> u16 {
    let quanta = (width_g / quantum_g(settings.quantum_ug)).round();
    hysteresis::gain(quanta.clamp(0.0, f64::from(u32::MAX)) as u32, settings.max)
}

/// Greatest width of the hysteresis loop that these settings have a device
/// correct, g; `None` when it corrects nothing.
#[must_use]
pub fn loop_width_g(settings: &Settings) -> Option<f64> {
    let width = hysteresis::width(settings.loop_gain, settings.max);
    (settings.loop_gain > 0).then(|| f64::from(width) * quantum_g(settings.quantum_ug))
}

/// What a device's settings say of its scale.
#[must_use]
pub fn spec_of(settings: &Settings) -> ScaleSpec {
    let unit = quantum_g(settings.quantum_ug);
    let tidy = |quanta: i32| (f64::from(quanta) * unit * 1e9).round() / 1e9;
    ScaleSpec {
        max_g: tidy(settings.max),
        e_g: tidy(settings.e),
        d_g: tidy(settings.d),
        class: match settings.class {
            Class::I => "I",
            Class::II => "II",
            Class::III => "III",
            Class::IIII => "IIII",
        }
        .into(),
    }
}

/// Settings of a device that has never been told anything, for reading its
/// answers only.
#[must_use]
pub const fn neutral_settings() -> Settings {
    Settings {
        quantum_ug: 2_000,
        max: 3_000_000,
        e: 1_000,
        d: 500,
        class: Class::III,
        rate_sps: 10,
        input: Input::A128,
        smoothing: 3,
        rest_tenths_d: 10,
        rest_ms: 1_000,
        loop_gain: 0,
        conduct: Conduct(0),
    }
}

/// Why real knots cannot be the integer table of a device.
#[derive(Clone, Debug, PartialEq)]
pub enum QuantiseFault {
    /// A value is not finite or outside the integers.
    OutOfRange,
    /// The integer knots do not make a table.
    Table(scalewright_protocol::table::TableFault),
}

impl std::fmt::Display for QuantiseFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::OutOfRange => write!(f, "a point lies outside what the device can hold"),
            Self::Table(fault) => fault.fmt(f),
        }
    }
}

impl std::error::Error for QuantiseFault {}

/// Integer knots nearest to `knots`; a knot's mass follows its *rounded*
/// counts along the curve, so that rounding counts costs nothing.
///
/// # Errors
/// [`QuantiseFault`].
pub fn integer_knots(knots: &Knots, quantum_ug: u32) -> Result<Vec<Knot>, QuantiseFault> {
    let unit = quantum_g(quantum_ug);
    let mut out: Vec<Knot> = Vec::with_capacity(knots.points.len());
    for (counts, _) in &knots.points {
        let rounded = counts.round();
        let quanta = (knots.lookup(rounded) / unit).round();
        if !(rounded.abs() < 3e7 && quanta.abs() < 2e9) {
            return Err(QuantiseFault::OutOfRange);
        }
        let knot = Knot {
            counts: rounded as i32,
            mass: quanta as i32,
        };
        // Knots closer than a count are one.
        if out.last().is_none_or(|last| last.counts != knot.counts) {
            out.push(knot);
        }
    }
    Ok(out)
}

/// The table a device with room for `fit` knots would use.
///
/// # Errors
/// [`QuantiseFault`].
pub fn table(knots: &Knots, quantum_ug: u32, fit: usize) -> Result<HostTable, QuantiseFault> {
    let knots = integer_knots(knots, quantum_ug)?;
    scalewright_protocol::table::check(&knots, fit.min(MOST_KNOTS))
        .map_err(QuantiseFault::Table)?;
    HostTable::new(&knots).map_err(QuantiseFault::Table)
}

/// `table` with every mass multiplied by `factor` and rounded to the nearest
/// quantum, a tie away from zero; its counts stay. The point at zero stays by
/// itself, and a mass moves off its exact place by half a quantum at most: e/2000
/// in a table made here ([`quantum_ug`]).
///
/// # Errors
/// [`QuantiseFault`]: a factor that is not finite, or one that no table of the
/// device survives, as when two points a quantum apart would fall together.
pub fn scaled(table: &HostTable, factor: f64) -> Result<HostTable, QuantiseFault> {
    let scale = |knot: &Knot| {
        let mass = (f64::from(knot.mass) * factor).round();
        (mass.abs() < 2e9).then_some(Knot {
            mass: mass as i32,
            ..*knot
        })
    };
    let knots: Option<Vec<Knot>> = table.knots().iter().map(scale).collect();
    HostTable::new(&knots.ok_or(QuantiseFault::OutOfRange)?).map_err(QuantiseFault::Table)
}

/// Net counts in q8 from which on `table` reads `mass_g`, above zero; `None`
/// where it never does. Found by halving, with the device's own lookup.
#[must_use]
pub fn net_q8_at(table: &HostTable, mass_g: f64, quantum_ug: u32) -> Option<i64> {
    let wanted = (mass_g / quantum_g(quantum_ug)).round();
    first_q8(table, |q8| f64::from(table.lookup_q8(q8).mass) >= wanted)
}

/// The first net counts in q8, above zero and as far as `table` can tell, at
/// which `reads` holds: once it does, it must go on to.
pub(crate) fn first_q8(table: &HostTable, reads: impl Fn(i64) -> bool) -> Option<i64> {
    let last = table.knots().last()?;
    // A quarter further than the table goes on past its end.
    let (mut below, mut at) = (0i64, i64::from(last.counts) * 256 * 2);
    if reads(below) || !reads(at) {
        return None;
    }
    while at - below > 1 {
        let middle = below + (at - below) / 2;
        if reads(middle) {
            at = middle;
        } else {
            below = middle;
        }
    }
    Some(at)
}

/// Mass in g that `table` gives at net counts with a fraction.
#[must_use]
pub fn mass_g(table: &HostTable, net_counts: f64, quantum_ug: u32) -> f64 {
    let q8 = (net_counts * 256.0).round().clamp(-1e12, 1e12) as i64;
    f64::from(table.lookup_q8(q8).mass) * quantum_g(quantum_ug)
}

/// Turns knots into the integer table of one device, for judging candidates.
pub struct DeviceTables {
    /// Mass quantum, micrograms.
    pub quantum_ug: u32,
    /// Knots that fit.
    pub max_knots: usize,
}

impl Realise for DeviceTables {
    fn realise(&self, knots: &Knots) -> Result<Box<dyn Fn(f64) -> f64>, String> {
        let quantum_ug = self.quantum_ug;
        let table = table(knots, quantum_ug, self.max_knots).map_err(|fault| fault.to_string())?;
        Ok(Box::new(move |net| mass_g(&table, net, quantum_ug)))
    }
}
