//! `scalewright weights`: what a set of weights is good for, before it is used.

use std::path::PathBuf;

use clap::{Args, Subcommand};
use serde::Serialize;

use crate::record::weights::{self, Listed};
use crate::report;
use crate::review::{Review, review};
use crate::session::plan::{Plan, PlanFault, ScaleSpec};

use super::Outcome;
use super::calibrate::mass_of;
use super::paint::Paint;
use super::problem::{Problem, exit};
use super::saved;

/// Commands about weights.
#[derive(Args)]
#[command(after_help = "\
Example of a weights file (weights.toml):
  [[weight]]
  id = \"W1\"
  nominal = \"2 kg\"              # g, kg, mg, t, lb or oz
  class = \"M1\"                  # OIML R 111: E2, F1, F2, M1, M2 or M3

  [[weight]]
  id = \"jar\"                    # a name of your own
  nominal = \"497.3 g\"           # as weighed on a better scale
  uncertainty = \"0.2 g\"         # expanded, k = 2

  [[weight]]
  id = \"W2\"
  nominal = \"1 kg\"
  certificate = \"1000.012 g\"    # conventional mass as its certificate states,
  uncertainty = \"0.4 mg\"        # with its uncertainty; a class may stand too
  drift = \"1 mg\"                # how far it may have moved since then
  density = \"7950 kg/m3\"        # or 7.95 g/cm3: adds what the air may do
  note = \"lab, 2026\"

  [[substitution]]              # a load whose mass the calibration finds
  id = \"jug\"
  about = \"4 kg\"               # or, as it is filled up: [\"2 kg\", \"4 kg\"]
  note = \"water, with a lid\"

Of a weight with neither class nor uncertainty 0.1 % is assumed.

See `scalewright weights check --help`.")]
pub struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// List what a weights file says and what it is good for
    Check(CheckArguments),
}

/// Options of `weights check`.
#[derive(Args)]
#[command(after_help = "\
Examples:
  scalewright weights check weights.toml
  scalewright weights check weights.toml --max 6kg --e 2g
  scalewright weights check weights.toml --max 6kg --e 2g --json

With --max and --e it also says how far the weights reach, whether the loads
that a calibration would ask for are known to a third of the permissible error
(OIML R 76-1:2006, 3.7.1), and what is missing. No scale is needed. How a
weights file is written: `scalewright weights --help`.

Exit codes: 0 the weights can be used; 2 the scale makes no sense; 4 the file is
wrong, or makes no calibration for this scale.")]
struct CheckArguments {
    /// The weights file
    file: PathBuf,
    /// Maximum capacity Max of the scale, as "6kg"
    #[arg(long, requires = "e")]
    max: Option<String>,
    /// Its verification scale interval e, as "2g"
    #[arg(long, requires = "max")]
    e: Option<String>,
    /// Its accuracy class after OIML R 76: I, II, III or IIII [default: III]
    #[arg(long, requires = "max")]
    class: Option<String>,
    /// Print one JSON object
    #[arg(long)]
    json: bool,
}

/// What `--json` prints.
#[derive(Serialize)]
struct Printed<'a> {
    file: String,
    #[serde(flatten)]
    review: &'a Review,
}

/// Runs `weights`.
pub fn run(arguments: &Arguments) -> Outcome {
    match &arguments.command {
        Command::Check(arguments) => check(arguments),
    }
}

fn scale(arguments: &CheckArguments) -> Result<Option<ScaleSpec>, Problem> {
    let (Some(max), Some(e)) = (&arguments.max, &arguments.e) else {
        return Ok(None);
    };
    let e_g = mass_of("e", e)?;
    Ok(Some(ScaleSpec {
        max_g: mass_of("max", max)?,
        e_g,
        d_g: e_g,
        class: arguments.class.clone().unwrap_or_else(|| "III".into()),
    }))
}

fn check(arguments: &CheckArguments) -> Outcome {
    let scale = scale(arguments)?;
    let listed = weights::list(&arguments.file)?;
    let mut review = review(&listed);
    let mut fault = None;
    if let Some(scale) = scale {
        match Plan::new(scale, listed.iter().map(Listed::planned).collect()) {
            Ok(plan) => review = review.against(&plan),
            Err(cause @ PlanFault::Scale { .. }) => return Err(cause.into()),
            Err(cause) => fault = Some(Problem::from(cause)),
        }
    }
    if arguments.json {
        return match fault {
            Some(problem) => Err(problem),
            None => print_json(arguments, &review),
        };
    }
    let paint = Paint::of_stdout();
    outpart!("{}", report::weights(&review, paint.style()));
    if let Some(problem) = fault {
        outln!();
        return Err(problem);
    }
    outln!("\n{}", next(arguments));
    Ok(exit::PASSED)
}

fn print_json(arguments: &CheckArguments, review: &Review) -> Outcome {
    let printed = Printed {
        file: arguments.file.display().to_string(),
        review,
    };
    saved::print_json(&printed)?;
    Ok(exit::PASSED)
}

/// What to type next.
fn next(arguments: &CheckArguments) -> String {
    let file = arguments.file.display();
    let command = match (&arguments.max, &arguments.e, &arguments.class) {
        (Some(max), Some(e), class) => {
            let class = class.as_ref().map(|class| format!(" --class {class}"));
            format!(
                "scalewright calibrate --max {max} --e {e}{} --weights {file}",
                class.unwrap_or_default()
            )
        }
        _ => format!("scalewright weights check {file} --max 6kg --e 2g"),
    };
    format!("next   {command}")
}
