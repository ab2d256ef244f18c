//! The table in the scale.

use crate::report;

use super::super::Outcome;
use super::super::paint::Paint;
use super::super::problem::exit;
use super::super::saved;
use super::To;
use super::here::Here;

/// Shows it.
pub fn run(to: &To) -> Outcome {
    let here = Here::read(to)?;
    let record = here.described();
    if to.json {
        saved::print_json(&record)?;
        return Ok(exit::PASSED);
    }
    if record.points.is_empty() {
        outln!("no table: the scale is not calibrated");
        outln!("  try   scalewright calibrate --help");
        return Ok(exit::PASSED);
    }
    let style = Paint::of_stdout().style();
    outpart!("{}", report::tables::shown(&record, style));
    if record.on_trial {
        outln!("\nnext   scalewright table trial, accept or drop");
    }
    Ok(exit::PASSED)
}
