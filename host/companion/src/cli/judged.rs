//! What `--judge` means: a tolerance in words, or a table in a file.

use std::path::Path;

use crate::record::tolerance::{self, Tolerance, ToleranceFault};
use crate::session::proof::plan::ProofPlan;

use super::problem::{Problem, exit};

/// The option, as it is written.
const OPTION: &str = "--judge";

/// What to judge by; a text that ends in ".toml" names a file.
pub fn tolerance(text: &str) -> Result<Tolerance, Problem> {
    let path = Path::new(text.trim());
    let read = match path.extension().is_some_and(|ending| ending == "toml") {
        true => tolerance::read(path),
        false => Tolerance::noted(text, OPTION),
    };
    Ok(read?)
}

/// Refuses a table that ends below Max or below a load of the plan: certified
/// weights may make a little more than Max.
pub fn reaches(tolerance: &Tolerance, plan: &ProofPlan) -> Result<(), Problem> {
    tolerance.reaches(plan.scale.max_g, "Max")?;
    tolerance.reaches(plan.heaviest_g(), "the heaviest load")?;
    Ok(())
}

impl From<ToleranceFault> for Problem {
    fn from(fault: ToleranceFault) -> Self {
        let code = match fault.place.as_str() {
            OPTION => exit::USAGE,
            _ => exit::DATA,
        };
        Self::new(code, fault.to_string(), fault.try_this)
    }
}
