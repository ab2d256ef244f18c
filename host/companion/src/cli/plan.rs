//! `scalewright plan`: what a calibration will ask for and be worth, before
//! anything is put on the pan.

use clap::Args;

use crate::record::mass::parse_g;
use crate::record::weights::label;
use crate::report;
use crate::session::cell::CellGrade;
use crate::session::foresee::foresee;
use crate::session::plan::{Plan, ScaleSpec};

use super::Outcome;
use super::calibrate::{mass_of, weights_named, worth_unsaid};
use super::live::wrap;
use super::paint::Paint;
use super::problem::{Problem, exit};
use super::saved;

/// Smoothing depth that a scale is shipped with.
const SMOOTHING: u8 = 3;

/// Options of `plan`.
#[derive(Args)]
#[command(after_help = "\
Examples:
  scalewright plan --max 6kg --e 2g --weights weights.toml
  scalewright plan --max 6kg --e 2g --weights '2kg,1kg,500g' --weight-class M1
  scalewright plan --max 5kg --e 5g --weights weights.toml --cell D1 --noise 0.4g

What you get: the loads in the order in which `calibrate` will ask for them, how
long that takes, the error to expect over the whole range, which part of it
these weights can't support, and what one more weight, or a jug of water, would
do. A jug is named in the weights file:

  [[substitution]]
  id = \"jug\"
  about = [\"2 kg\", \"4 kg\"]      # filled to about these in turn

No scale is needed. `calibrate` with the same options asks for the same loads.")]
pub struct Arguments {
    /// Maximum capacity Max, as "6kg"
    #[arg(long)]
    max: String,
    /// Verification scale interval e, as "2g"
    #[arg(long)]
    e: String,
    /// Accuracy class after OIML R 76: I, II, III or IIII
    #[arg(long, default_value = "III")]
    class: String,
    /// A weights file, or a list as "2kg,1kg,500g"
    #[arg(long)]
    weights: String,
    /// Class of the weights in a list, after OIML R 111
    #[arg(long)]
    weight_class: Option<String>,
    /// Grade of the load cell after OIML R 60, as "C3" or "D1" [default: C3]
    #[arg(long)]
    cell: Option<CellGrade>,
    /// Noise of one sample, as `inspect` tells it [default: 0.1 e]
    #[arg(long)]
    noise: Option<String>,
    /// Print one JSON object
    #[arg(long)]
    json: bool,
}

/// Runs `plan`.
pub fn run(arguments: &Arguments) -> Outcome {
    let e_g = mass_of("e", &arguments.e)?;
    let scale = ScaleSpec {
        max_g: mass_of("max", &arguments.max)?,
        e_g,
        d_g: e_g,
        class: arguments.class.clone(),
    };
    let noise_g = match &arguments.noise {
        Some(text) => parse_g(text).map_err(|cause| {
            Problem::new(
                exit::USAGE,
                format!("--noise: {cause}"),
                "write it as in --noise 0.2g",
            )
        })?,
        None => 0.1 * e_g,
    };
    let weights = weights_named(&arguments.weights, arguments.weight_class.as_deref())?;
    let cell = arguments.cell.unwrap_or_default();
    let plan = Plan::on_cell(scale, weights, cell)?;
    let found = foresee(&plan, noise_g, SMOOTHING)?;
    if arguments.json {
        saved::print_json(&found)?;
        return Ok(exit::PASSED);
    }
    let paint = Paint::of_stdout();
    let weights: Vec<String> = plan.weights.iter().map(label).collect();
    for line in wrap(&format!("Weights at hand: {}", weights.join(", ")), 78) {
        outln!("{line}");
    }
    if let Some(warning) = worth_unsaid(&arguments.weights, arguments.weight_class.as_deref()) {
        outln!("{warning}");
    }
    outln!();
    outpart!("{}", report::foreseen(&found, paint.style()));
    let class = match &arguments.weight_class {
        Some(class) => format!(" --weight-class {class}"),
        None => String::new(),
    };
    outln!(
        "\nnext   scalewright calibrate --max {} --e {} \\",
        arguments.max,
        arguments.e
    );
    outln!(
        "           --weights '{}'{}",
        arguments.weights,
        if class.is_empty() { "" } else { " \\" }
    );
    if !class.is_empty() {
        outln!("          {class}");
    }
    Ok(exit::PASSED)
}
