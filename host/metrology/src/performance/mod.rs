//! The tests of a scale, and what their readings tell: after OIML R 76-1:2006,
//! Annex A.
//!
//! Owns one evaluation a file, the [`Instrument`] they speak of, and the words
//! for what a test could not show. Readings are plain: g and s; limits come from
//! the [`Scheme`](crate::tolerance::Scheme) the instrument is judged by.
//! Guarantees that rounding never makes a verdict: a reading shown in steps that
//! are too coarse leaves it [`Judgement::Open`], and a shortened test
//! [passes so far](Judgement::PassesSoFar). Refuses readings that are no numbers.
//!
//! A clause is from memory where its file says so.

mod creep;
mod discrimination;
mod eccentricity;
mod finding;
mod instrument;
mod repeatability;
mod shortfall;
mod small_on_big;
mod tare;
mod unusable;
mod weighing;
mod zero_drift;
mod zero_return;
mod zero_setting;

pub use creep::{Creep, CreepRule, creep};
pub use discrimination::{DISCRIMINATION_D, Discrimination, Nudge, NudgeAnswer, discrimination};
pub use eccentricity::{Eccentricity, Place, PlaceError, PlaceReading, eccentricity};
pub use finding::{Finding, Judgement};
pub use instrument::{Instrument, Reading, TimedReading};
pub use repeatability::{Purpose, Repeatability, repeatability, weighings_needed};
pub use shortfall::Shortfall;
pub use small_on_big::{SmallOnBig, SmallOnBigReadings, small_on_big};
pub use tare::{Tare, tare};
pub use unusable::Unusable;
pub use weighing::{Extent, LoadError, LoadReading, Weighing, weighing};
pub use zero_drift::{ZeroDrift, zero_drift};
pub use zero_return::{LoadedSpell, ZeroReturn, zero_return};
pub use zero_setting::{ZERO_ACCURACY_E, ZeroSetting, zero_setting};
