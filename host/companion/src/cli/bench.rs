//! `scalewright bench`: the built-in bench on a port of its own.

use std::io::BufRead;
use std::time::Duration;

use clap::Args;

use crate::record::mass::parse_g;
use crate::record::weights::{label, name, pick};
use crate::session::plan::PlannedWeight;
use crate::session::proof::Spot;

use super::Outcome;
use super::display_text;
use super::problem::exit;
use super::studio::{Studio, Wanted};

/// What can be typed.
const TYPED: &str = "\
What can be typed while it runs:
  1 kg + 500 g, W1+W4     these weights go on the pan, all others off; any other
                          mass, as 250 g, is put there at once and exactly
  W1 front left           at a place of its own: front left, front right, far
                          left, far right
  0                       everything off
  finger                  presses the pan for three seconds, as inspect asks
  left, middle, right     press a key (or l, m, r); \"left long\" holds it
  look                    shows the display
  off                     switches the scale off and on
  off right               the same with the right key held: opens a sealed scale
  Enter alone             says what lies there
  help, q                 these lines; end";

/// Options of `bench`.
#[derive(Args)]
#[command(after_help = format!("\
Example, in two terminals:
  scalewright bench                     says which port it is on
  scalewright calibrate --port PORT --max 6kg --e 2g \\
      --weights '2kg,2kg,1kg,500g,200g,200g,100g,50g,20g,20g'

{TYPED}"))]
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

/// What a finger presses with, g, and how long.
const FINGER_G: f64 = 600.0;
const FINGER_LASTS: Duration = Duration::from_secs(3);

/// More than this nobody puts on a scale of Max 6 kg, g.
const MOST_G: f64 = 10_000.0;

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

/// Masses that are put there as such, g in all; `None` where a piece is none.
fn any_mass_g(what: &str, weights: &[PlannedWeight]) -> Option<f64> {
    let of_weight = |piece: &str| {
        let ids = pick(piece, weights).ok()?;
        let known = weights.iter().find(|known| ids.contains(&known.id));
        known.map(|known| known.mass_g)
    };
    let mass_g = |piece: &str| parse_g(piece).ok().or_else(|| of_weight(piece));
    what.split(['+', ',']).map(str::trim).map(mass_g).sum()
}

/// Puts on the pan what was typed, and says so.
fn put_on(line: &str, studio: &Studio, weights: &[PlannedWeight]) {
    let (what, spot) = placed(line);
    match pick(what, weights) {
        Ok(ids) => {
            outln!("  going on the pan: {} {}", ids.join(" + "), spot.words());
            studio.put_on_at(&ids, spot);
        }
        Err(text) => match any_mass_g(what, weights) {
            Some(g) if (0.0..=MOST_G).contains(&g) => {
                outln!("  on the pan: {} exactly, in the middle", name(g));
                studio.place_g(g);
            }
            Some(g) => outln!("  {} would break the cell", name(g)),
            None => {
                outln!("  \"{text}\" is no (other) weight here, no mass and no key: help lists all")
            }
        },
    }
}

/// Presses the pan with a finger.
fn press_the_pan(studio: &Studio) {
    let there_g = studio.true_load_g();
    outln!("  a finger presses ..");
    studio.place_g(there_g + FINGER_G);
    std::thread::sleep(FINGER_LASTS);
    studio.place_g(there_g);
    outln!("  and is off");
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
    outln!("without --port in the other terminal: export SCALEWRIGHT_PORT={port}");
    let names: Vec<String> = weights.iter().map(label).collect();
    for line in super::live::wrap(&format!("weights at hand: {}", names.join(", ")), 78) {
        outln!("{line}");
    }
    outln!("type what goes on the pan, 0 for nothing; left, middle, right press its keys,");
    outln!("look shows its display, finger presses the pan; help lists all, q ends");
    for line in std::io::stdin().lock().lines().map_while(Result::ok) {
        let line = line.trim();
        match line {
            "q" | "quit" => break,
            "" => outln!("  on the pan: {:.1} g", studio.true_load_g()),
            "0" => {
                outln!("  taking everything off");
                studio.put_on(&[]);
            }
            "help" | "?" => outln!("{TYPED}"),
            "finger" => press_the_pan(&studio),
            _ if at_the_front(line, &studio) => {}
            _ => put_on(line, &studio, &weights),
        }
    }
    Ok(exit::PASSED)
}
