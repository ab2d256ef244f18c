//! Tolerances of NIST Handbook 44, Scales Code 2.20, table 6, in divisions.
//!
//! Owns the classes that OIML knows too, I to IIII; class III L is left out.
//! Class III at acceptance was seen in a published handbook of the trade; the
//! doubling for maintenance (T.N.3.2) and the other classes are from memory.
//! Above 4000 divisions class III departs from R 76: 2.5 divisions, not 1.5.

use super::{AccuracyClass, at_or_below};

/// Which tolerance of Handbook 44 is applied.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Application {
    /// A new or newly adjusted instrument.
    Acceptance,
    /// An instrument in use: twice the acceptance tolerance (T.N.3.2, from memory).
    Maintenance,
}

/// The rows of table 6 for one class: load in divisions up to which the
/// acceptance tolerance beside it holds, then the tolerance beyond the last.
fn rows(class: AccuracyClass) -> (&'static [(f64, f64)], f64) {
    match class {
        AccuracyClass::I => (&[(50_000.0, 0.5), (200_000.0, 1.0)], 1.5),
        AccuracyClass::II => (&[(5_000.0, 0.5), (20_000.0, 1.0)], 1.5),
        AccuracyClass::III => (&[(500.0, 0.5), (2_000.0, 1.0), (4_000.0, 1.5)], 2.5),
        AccuracyClass::IIII => (&[(50.0, 0.5), (200.0, 1.0), (400.0, 1.5)], 2.5),
    }
}

/// The tolerance (plus or minus) in divisions at a load in divisions; NaN for a
/// load that is not a number.
///
/// Handbook 44, 2.20, table 6, upper bound inclusive. A load below zero counts
/// by its size. Loads beyond the class's range keep the last tolerance.
///
/// ```
/// use scalewright_metrology::tolerance::{AccuracyClass, Application, tolerance_divisions};
/// let at = |load| tolerance_divisions(AccuracyClass::III, Application::Acceptance, load);
/// assert_eq!((at(4000.0), at(4001.0)), (1.5, 2.5));
/// assert!(at(f64::NAN).is_nan());
/// ```
pub fn tolerance_divisions(
    class: AccuracyClass,
    application: Application,
    load_divisions: f64,
) -> f64 {
    if load_divisions.is_nan() {
        return f64::NAN;
    }
    let load = load_divisions.abs();
    let (rows, beyond) = rows(class);
    let acceptance = rows
        .iter()
        .find(|(up_to, _)| at_or_below(load, *up_to))
        .map_or(beyond, |(_, tolerance)| *tolerance);
    match application {
        Application::Acceptance => acceptance,
        Application::Maintenance => 2.0 * acceptance,
    }
}

/// The loads, in divisions, above which the tolerance grows (table 6).
pub fn tolerance_steps_divisions(class: AccuracyClass) -> Vec<f64> {
    rows(class).0.iter().map(|(up_to, _)| *up_to).collect()
}
