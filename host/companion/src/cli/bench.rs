//! `scalewright bench`: the built-in bench on a port of its own.

use std::io::BufRead;

use clap::Args;

use crate::record::weights::{label, pick};
use crate::session::proof::Spot;

use super::Outcome;
use super::problem::exit;
use super::studio::{Studio, Wanted};

/// Options of `bench`.
#[derive(Args)]
#[command(after_help = "\
Example, in two terminals:
  scalewright bench                     says which port it is on
  scalewright calibrate --port PORT --max 6kg --e 2g \\
      --weights '2kg,2kg,1kg,500g,200g,200g,100g,50g,20g,20g'

Type what goes on the pan, as \"1 kg + 500 g\" or \"W1+W4 front left\"; 0 takes
everything off; q ends.")]
pub struct Arguments {
    /// Another scale, another operator, another set of weights
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Begin with a scale that holds no table at all
    #[arg(long)]
    factory: bool,
}

/// A load and where it goes: "1kg front left".
fn placed(line: &str) -> (&str, Spot) {
    let found = Spot::QUARTERS.into_iter().find_map(|spot| {
        let what = line.strip_suffix(spot.words())?;
        Some((what.trim(), spot))
    });
    found.unwrap_or((line, Spot::Middle))
}

/// Runs `bench`.
pub fn run(arguments: &Arguments) -> Outcome {
    let (studio, port) = Studio::serve(Wanted {
        seed: arguments.seed,
        speed: None,
        free: true,
        clumsy: false,
        factory: arguments.factory,
        bad_weight: false,
        few_weights: false,
    })?;
    let weights = studio.weights();
    outln!("a simulated scale answers on {port}");
    let names: Vec<String> = weights.iter().map(label).collect();
    for line in super::live::wrap(&format!("weights at hand: {}", names.join(", ")), 78) {
        outln!("{line}");
    }
    outln!("type what goes on the pan, 0 for nothing, q to end");
    for line in std::io::stdin().lock().lines().map_while(Result::ok) {
        let line = line.trim();
        match line {
            "q" | "quit" => break,
            "" => outln!("  on the pan: {:.1} g", studio.true_load_g()),
            "0" => studio.put_on(&[]),
            _ => {
                let (what, spot) = placed(line);
                match pick(what, &weights) {
                    Ok(ids) => studio.put_on_at(&ids, spot),
                    Err(text) => {
                        outln!("  there is no (other) weight \"{text}\" here: join them, as 2kg+W3")
                    }
                }
            }
        }
    }
    Ok(exit::PASSED)
}
