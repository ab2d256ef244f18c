//! `scalewright bench`: the built-in bench on a port of its own.

use std::io::BufRead;

use clap::Args;

use crate::record::weights::{label, pick};
use crate::session::proof::Spot;

use super::Outcome;
use super::display_text;
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
everything off; q ends. The scale has a display and three keys as well:
  left, middle, right     press one (or l, m, r); \"left long\" holds it
  look                    shows the display
  off                     switches the scale off and on
  off right               the same with the right key held: opens a sealed scale")]
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

/// The key of this name, as its bit.
fn key(name: &str) -> Option<u8> {
    match name {
        "l" | "left" => Some(1),
        "m" | "middle" => Some(1 << 1),
        "r" | "right" => Some(1 << 2),
        _ => None,
    }
}

/// How long a press lasts and a long one, ms, and how long the scale is given to
/// show what came of it.
const SHORT_MS: u32 = 120;
const LONG_MS: u32 = 2000;
const SHOWS_MS: u32 = 500;

/// Carries out what is said of keys and display; whether it was.
fn at_the_front(line: &str, studio: &Studio) -> bool {
    let (word, rest) = line.split_once(' ').unwrap_or((line, ""));
    let rest = rest.trim();
    let took_ms = match (word, rest, key(word)) {
        ("look", "", _) => 0,
        ("off", "", _) => {
            studio.restart(0);
            SHOWS_MS
        }
        ("off", held, _) => match key(held) {
            Some(keys) => {
                studio.restart(keys);
                SHOWS_MS
            }
            None => return false,
        },
        (_, "", Some(keys)) => {
            studio.press(keys, SHORT_MS);
            SHORT_MS
        }
        (_, "long", Some(keys)) => {
            studio.press(keys, LONG_MS);
            LONG_MS
        }
        _ => return false,
    };
    let wait_ms = took_ms + SHOWS_MS;
    std::thread::sleep(std::time::Duration::from_millis(u64::from(wait_ms)));
    for line in display_text::lines(&studio.display()) {
        outln!("  {line}");
    }
    true
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
    outln!("type what goes on the pan, 0 for nothing, q to end; look, left, middle, right");
    for line in std::io::stdin().lock().lines().map_while(Result::ok) {
        let line = line.trim();
        match line {
            "q" | "quit" => break,
            "" => outln!("  on the pan: {:.1} g", studio.true_load_g()),
            "0" => studio.put_on(&[]),
            _ if at_the_front(line, &studio) => {}
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
