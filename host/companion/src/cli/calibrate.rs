//! `scalewright calibrate`: the guided calibration of a real scale.

use std::path::{Path, PathBuf};
use std::time::Instant;

use clap::Args;

use crate::drive::{self, Heading};
use crate::link::client::Client;
use crate::link::find::identity;
use crate::link::serial::SerialLine;
use crate::record::journal::Journal;
use crate::record::mass::parse_g;
use crate::record::weights;
use crate::session::cell::CellGrade;
use crate::session::plan::{Plan, PlannedWeight, ScaleSpec};
use crate::session::procedure::Procedure;

use super::live::Screen;
use super::people::AtTheScale;
use super::problem::{Problem, exit};
use super::table::connect_to_replace;
use super::{Outcome, clock, saved, signed};

/// Options of `calibrate`.
#[derive(Args)]
#[command(after_help = "\
Examples:
  scalewright calibrate --max 6kg --e 2g --weights weights.toml
  scalewright calibrate --max 5kg --e 5g --weights '2kg,2kg,1kg,500g' \\
      --weight-class M1 --port /dev/ttyACM0

A weights file:
  [[weight]]
  id = \"W1\"
  nominal = \"2 kg\"
  class = \"M1\"               # OIML R 111, or: uncertainty = \"0.1 g\"
All it can say: `scalewright weights --help`. What it is good for, beforehand:
  scalewright weights check weights.toml --max 6kg --e 2g

While it runs you need no keys: the scale notices that a load came and rests.
For second thoughts type a letter and Enter: u takes the last load back, t takes
the load on the pan as it is (unless it is off by more than a quarter), q stops
(resume goes on later).

Nothing in the scale changes before you accept the new table.")]
pub struct Arguments {
    /// Maximum capacity Max, as "6kg"
    #[arg(long)]
    max: String,
    /// Verification scale interval e, as "2g"
    #[arg(long)]
    e: String,
    /// Scale interval d, the step of the indication [default: e]
    #[arg(long)]
    d: Option<String>,
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
    /// Leave hysteresis in: the scale shall not take it off
    #[arg(long)]
    uncorrected: bool,
    /// Lay the table through the loads, as a calibration at the scale's own keys
    /// does [default: what all captures say together]
    #[arg(long)]
    through: bool,
    /// The scale's port [default: the one scale that answers]
    #[arg(long)]
    port: Option<String>,
    /// Where the session is kept
    #[arg(long, default_value = "calibration.session.jsonl")]
    session: PathBuf,
    /// Put the new table in force without asking
    #[arg(long)]
    yes: bool,
    /// Print one JSON object at the end, and nothing else
    #[arg(long)]
    json: bool,
}

/// The mass in option `--name`, g.
///
/// # Errors
/// When it is none.
pub fn mass_of(name: &str, text: &str) -> Result<f64, Problem> {
    parse_g(text).map_err(|cause| {
        Problem::new(
            exit::USAGE,
            format!("--{name}: {cause}"),
            format!(
                "write it as in --{name} {}",
                if name == "max" { "6kg" } else { "2g" }
            ),
        )
    })
}

/// The plan the arguments ask for.
fn plan(arguments: &Arguments) -> Result<Plan, Problem> {
    let max_g = mass_of("max", &arguments.max)?;
    let e_g = mass_of("e", &arguments.e)?;
    let d_g = match &arguments.d {
        Some(d) => mass_of("d", d)?,
        None => e_g,
    };
    let scale = ScaleSpec {
        max_g,
        e_g,
        d_g,
        class: arguments.class.clone(),
    };
    let weights = weights_named(&arguments.weights, arguments.weight_class.as_deref())?;
    let mut plan = Plan::on_cell(scale, weights, arguments.cell.unwrap_or_default())?;
    plan.correct_hysteresis = !arguments.uncorrected;
    plan.through = arguments.through;
    Ok(plan)
}

/// A warning where nothing is said of what the weights are worth.
#[must_use]
pub fn worth_unsaid(text: &str, class: Option<&str>) -> Option<String> {
    (class.is_none() && !are_in_a_file(text)).then(|| {
        format!(
            "! what the weights are worth is not said: each may be off by {} %;\n  \
             --weight-class M1, or whatever is true of them, proves more",
            weights::UNSTATED_SHARE * 100.0
        )
    })
}

/// Whether the weights are named in a file, not in a list.
fn are_in_a_file(weights: &str) -> bool {
    let path = Path::new(weights);
    path.extension().is_some_and(|ending| ending == "toml") || path.exists()
}

/// The weights of a file, or of a list, all of one class.
pub fn weights_named(text: &str, class: Option<&str>) -> Result<Vec<PlannedWeight>, Problem> {
    if are_in_a_file(text) {
        if class.is_some() {
            return Err(Problem::new(
                exit::USAGE,
                "--weight-class goes with a list of weights, not with a file",
                "leave it out: the file says what each weight is worth",
            ));
        }
        return Ok(weights::read(Path::new(text))?);
    }
    weights::from_list(text, class).map_err(|cause| {
        Problem::new(
            exit::DATA,
            format!("--weights: {cause}"),
            "write a list as in --weights '2kg,1kg,500g', or name a file that ends in .toml",
        )
    })
}

/// Runs `calibrate`.
pub fn run(arguments: &Arguments) -> Outcome {
    let plan = plan(arguments)?;
    let mut found = connect_to_replace(arguments.port.as_deref(), arguments.json)?;
    let mut journal = Journal::create(&arguments.session)?;
    let heading = Heading {
        date: clock::date(),
        seed: None,
        note: Some(signed::note(None, "calibrated")),
    };
    if !arguments.json {
        outln!(
            "scale {} on {}\nthis session is kept in {}",
            identity(&found.hello),
            found.client.port(),
            saved::short(journal.path())
        );
        if journal.path() != arguments.session {
            outln!(
                "(an earlier one: scalewright resume {})",
                saved::short(&arguments.session)
            );
        }
        if let Some(warning) = worth_unsaid(&arguments.weights, arguments.weight_class.as_deref()) {
            outln!("{warning}");
        }
        let top_g = plan.fit.last().map_or(0.0, |load| load.mass_g);
        if top_g < 0.9 * plan.scale.max_g {
            outln!(
                "! the weights reach only {}: above that nothing can be proved",
                weights::name(top_g)
            );
        }
    }
    let mut procedure = Procedure::new(plan);
    guide(
        &mut procedure,
        &mut found.client,
        &mut journal,
        &heading,
        arguments.yes,
        arguments.json,
    )
}

/// Guides somebody at a real scale through `procedure` to the report.
pub fn guide(
    procedure: &mut Procedure,
    client: &mut Client<SerialLine>,
    journal: &mut Journal,
    heading: &Heading,
    yes: bool,
    json: bool,
) -> Outcome {
    let began = Instant::now();
    let screen = Screen::new(procedure.plan(), json, true);
    let mut watcher = AtTheScale::new(screen, yes);
    if !json {
        outln!("Keys, if you need them, each with Enter: u takes the last load back,");
        outln!("t takes the load as it lies, q stops (resume goes on later).");
    }
    let port = client.port().to_string();
    let session = saved::short(journal.path());
    let words = format!(
        "\nstopped; every capture so far is kept\n  session  {session}\n  try      \
         scalewright resume {session} --port {port}"
    );
    // The journal is whole at any moment, and the scale's table too. Where no
    // handler can be had, Ctrl-C just ends the run.
    let _ = ctrlc::set_handler(move || {
        eprintln!("{words}");
        std::process::exit(exit::STOPPED.into());
    });
    drive::run(procedure, client, Some(journal), heading, &mut watcher)
        .map_err(|fault| Problem::from(fault).resumable(&session, &port))?;
    let Some(concluded) = saved::conclude(procedure, journal, heading, began, json)? else {
        return Ok(exit::STOPPED);
    };
    if !json {
        outln!("\nthe report with pictures: {}", concluded.page);
        outln!("next   scalewright verify --help: every other test of the calibrated scale");
        outln!(
            "the session, capture by capture: {}",
            saved::short(journal.path())
        );
    }
    Ok(concluded.code)
}
