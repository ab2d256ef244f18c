//! One load put right.

use clap::Args;

use crate::record::mass::parse_g;
use crate::record::table::{AdjustmentRecord, Why};
use crate::session::table::adjusting::{Shown, Wanted, adjust};
use crate::session::table::change::{NewTable, Proposal};
use crate::session::table::foretold::{Look, Side};

use super::super::paint::Paint;
use super::super::problem::{Problem, exit};
use super::super::{Outcome, saved};
use super::bring::{Offer, unchanged};
use super::here::{Here, asked, loads_g};
use super::{To, Trying, trial, weigh};

/// Options of `table adjust`.
#[derive(Args)]
#[command(after_help = "\
Examples:
  scalewright table adjust 2kg --too-much 4g     it shows 4 g too much
  scalewright table adjust 2kg --shows 1998g     it shows 1998 g
  scalewright table adjust 2kg                   weigh it: empty pan, then 2 kg
  scalewright table adjust 2kg --too-much 4g --keep 1kg,4kg
  scalewright table adjust 2kg --too-much 4g --reach 800g --predict

The correction is all of it at the load and fades smoothly to nothing on either
side: at the nearest load that --keep names, else after --reach, else after a
quarter of Max. Zero stays. What would bend the curve too much is refused, with
the reach that would do.

What counts as shown: the load put on the empty pan, after zero-setting, without
tare, at rest, and as finely as it can be read. Weighed here it is captured as a
calibration does, finer than the display.

One load is one load: what is between it and the next is a guess. With three
loads or more wrong, calibrate.")]
pub struct Arguments {
    /// The load that lies there, as "2kg"
    load: String,
    /// What the scale shows of it, as "2004g"
    #[arg(long, value_name = "MASS", conflicts_with_all = ["too_much", "too_little"])]
    shows: Option<String>,
    /// How much too much it shows, as "4g"
    #[arg(long, value_name = "MASS", conflicts_with = "too_little")]
    too_much: Option<String>,
    /// How much too little it shows
    #[arg(long, value_name = "MASS")]
    too_little: Option<String>,
    /// Loads that read right and stay, as "1kg,4kg"
    #[arg(long, value_name = "LOADS")]
    keep: Option<String>,
    /// How far the correction goes either way, as "800g"
    #[arg(long, value_name = "MASS")]
    reach: Option<String>,
    #[command(flatten)]
    trying: Trying,
}

/// Adjusts.
pub fn run(arguments: &Arguments, to: &To) -> Outcome {
    let load_g = mass("LOAD", &arguments.load)?;
    let option = |name: &str, text: &Option<String>| {
        text.as_deref().map(|text| mass(name, text)).transpose()
    };
    let shows = option("--shows", &arguments.shows)?;
    let too_much = option("--too-much", &arguments.too_much)?;
    let too_little = option("--too-little", &arguments.too_little)?;
    let reach_g = option("--reach", &arguments.reach)?;
    let keep_g = loads_g("--keep", arguments.keep.as_deref())?;
    let mut looks = asked(to)?;
    let typed_g = shows
        .or(too_much.map(|g| load_g + g))
        .or(too_little.map(|g| load_g - g));
    let mut here = Here::to_change(to)?;
    let old = here.table()?;
    let shown = match typed_g {
        Some(g) => Shown::Mass(g),
        None => weigh::weigh(&mut here, load_g, to)?,
    };
    let wanted = Wanted {
        load_g,
        shown,
        keep_g: keep_g.clone(),
        reach_g,
        most_points: here.hello.max_knots.into(),
    };
    let Some(adjusted) = adjust(&old.table, &old.settings, &wanted)? else {
        return nothing_to_do(&here, load_g, to);
    };
    looks.push(Look {
        load_g,
        shown_g: Some(adjusted.shown_g),
        why: Why::Adjusted,
    });
    looks.extend(keep_g.iter().map(|g| Look::at(*g, Why::Kept)));
    let new = Box::new(NewTable {
        table: adjusted.table.clone(),
        settings: old.settings,
        zero_counts: here.held.header.zero_counts,
    });
    let offer = Offer {
        proposal: match arguments.trying.on_trial {
            true => Proposal::Trial(new),
            false => Proposal::Table(new),
        },
        old: here.side("in force now"),
        new: Some(Side {
            name: format!("with {} put right", arguments.load),
            table: adjusted.table.clone(),
            ..old
        }),
        looks,
        adjustment: Some(AdjustmentRecord {
            load_g,
            shown_g: adjusted.shown_g,
            captured: typed_g.is_none(),
            from_g: adjusted.feet_g.0,
            to_g: adjusted.feet_g.1,
            bend: adjusted.bend,
            added: adjusted.added,
            taken_out: adjusted.taken_out,
            off_g: adjusted.off_g,
            kept_g: keep_g,
        }),
        why: format!("{} by {:+.2} g", arguments.load, load_g - adjusted.shown_g),
        heed: Vec::new(),
    };
    trial::bring_or_try(&mut here, offer, to)
}

fn mass(name: &str, text: &str) -> Result<f64, Problem> {
    parse_g(text).map_err(|cause| {
        Problem::new(
            exit::USAGE,
            format!("{name}: {cause}"),
            "write masses as in: scalewright table adjust 2kg --too-much 4g",
        )
    })
}

fn nothing_to_do(here: &Here, load_g: f64, to: &To) -> Outcome {
    if to.json {
        saved::print_json(&unchanged(here))?;
    } else {
        let text = format!(
            "{} reads right already, to what a table can say; nothing was written.",
            crate::record::weights::name(load_g)
        );
        outln!("{}", Paint::of_stdout().good(&text));
    }
    Ok(exit::PASSED)
}
