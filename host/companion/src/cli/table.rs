//! `scalewright table`: what is in the scale, and undoing the last change.

use clap::Args;
use scalewright_protocol::message::{Answer, Ask};
use scalewright_protocol::table::Knot;
use serde_json::json;

use crate::link::LinkFault;
use crate::quantise::{loop_width_g, quantum_g, spec_of};
use crate::record::weights::name;
use crate::report::number;

use super::Outcome;
use super::find::connect;
use super::paint::Paint;
use super::problem::{Problem, exit};

/// Options of `table`.
#[derive(Args)]
#[command(after_help = "\
Examples:
  scalewright table                    show the table in force
  scalewright table --json             the same for scripts
  scalewright table --roll-back        put the record before it back in force")]
pub struct Arguments {
    /// Ask this port
    #[arg(long)]
    port: Option<String>,
    /// Put the record before the one in force back
    #[arg(long)]
    roll_back: bool,
    /// Print one JSON object
    #[arg(long)]
    json: bool,
}

/// Runs `table`.
pub fn run(arguments: &Arguments) -> Outcome {
    let mut found = connect(arguments.port.as_deref(), arguments.json)?;
    let port = found.client.port().to_string();
    let mut ask = |ask: Ask| found.client.ask(&ask, &mut |_| {});
    let confused = || Problem::from(LinkFault::Confused { port: port.clone() });
    if arguments.roll_back {
        ask(Ask::RollBack)?;
    }
    let Answer::Settings(settings) = ask(Ask::Settings)? else {
        return Err(confused());
    };
    let Answer::Table(header) = ask(Ask::Table)? else {
        return Err(confused());
    };
    let mut knots: Vec<Knot> = Vec::new();
    while knots.len() < usize::from(header.knots) {
        let from = u8::try_from(knots.len()).unwrap_or(u8::MAX);
        match ask(Ask::Knots { from })? {
            Answer::Knots { knots: more, .. } if !more.is_empty() => knots.extend(more),
            _ => return Err(confused()),
        }
    }
    let spec = spec_of(&settings);
    let unit = quantum_g(settings.quantum_ug);
    let taken_off_g = loop_width_g(&settings);
    if arguments.json {
        let points: Vec<_> = knots
            .iter()
            .map(|knot| json!({ "counts": knot.counts, "mass_g": f64::from(knot.mass) * unit }))
            .collect();
        outln!(
            "{}",
            json!({
                "sequence": header.sequence,
                "checksum": format!("{:08x}", header.checksum),
                "zero_counts": header.zero_counts,
                "previous": header.previous,
                "quantum_g": unit,
                "hysteresis_taken_off_g": taken_off_g.unwrap_or(0.0),
                "points": points,
            })
        );
        return Ok(exit::PASSED);
    }
    let paint = Paint::of_stdout();
    if arguments.roll_back {
        outln!(
            "the record before is in force again, as change {}",
            header.sequence
        );
    }
    if knots.is_empty() {
        outln!("no table: the scale is not calibrated");
        outln!("  try   scalewright calibrate --help");
        return Ok(exit::PASSED);
    }
    outln!(
        "{}",
        paint.strong(&format!(
            "table of {} points, checksum {:08x}, change {}",
            knots.len(),
            header.checksum,
            header.sequence
        ))
    );
    outln!(
        "  Max {}, e {}, class {}",
        name(spec.max_g),
        name(spec.e_g),
        spec.class
    );
    outln!(
        "  zero reference {} counts; {}",
        header.zero_counts,
        if header.previous {
            "the one before is kept"
        } else {
            "no earlier one"
        }
    );
    if let Some(width_g) = taken_off_g {
        outln!(
            "  hysteresis: a loop {} g wide is taken off",
            number::size_g(width_g, spec.e_g)
        );
    }
    let whole = knots
        .first()
        .zip(knots.last())
        .map_or(1.0, |(first, last)| slope(first, last));
    outln!("      net counts          mass    this segment against the whole");
    for (index, knot) in knots.iter().enumerate() {
        let mass = number::mass(f64::from(knot.mass) * unit, unit);
        let steep = index
            .checked_sub(1)
            .and_then(|before| knots.get(before))
            .map_or_else(String::new, |before| {
                format!("{:+.3} %", (slope(before, knot) / whole - 1.0) * 100.0)
            });
        outln!(
            "  {:>2} {:>11} {mass:>13}    {steep:>12}",
            index + 1,
            knot.counts
        );
    }
    Ok(exit::PASSED)
}

fn slope(from: &Knot, to: &Knot) -> f64 {
    (f64::from(to.mass) - f64::from(from.mass)) / (f64::from(to.counts) - f64::from(from.counts))
}
