//! A table into a file, and from a file into the scale.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;

use scalewright_protocol::table::{TableFault, check};

use crate::quantise::{
    HostTable, QuantiseFault, loop_gain, loop_width_g, quantum_g, settings_for, spec_of,
};
use crate::record::table_file::{self, SavedTable};
use crate::record::weights::name;
use crate::session::plan::ScaleSpec;
use crate::session::table::change::{ChangeFault, NewTable, Proposal};
use crate::session::table::foretold::Side;

use super::super::problem::{Problem, exit};
use super::super::{Outcome, clock, saved};
use super::bring::Offer;
use super::here::{Here, asked};
use super::problem::of_file;
use super::{To, Trying, trial};

/// Options of `table save`.
#[derive(Args)]
#[command(after_help = "\
Example:
  scalewright table save kitchen.toml

The file is text: a line a point, net counts and mass. It may be edited, and
brought into the scale with `scalewright table push kitchen.toml`. A file that is
there already is left alone.")]
pub struct Saving {
    /// The new file
    file: PathBuf,
}

/// Options of `table push`.
#[derive(Args)]
#[command(after_help = "\
Examples:
  scalewright table push kitchen.toml              shows what changes, asks
  scalewright table push kitchen.toml --predict    shows what changes
  scalewright table push kitchen.toml --yes        does not ask

The file is checked as the scale itself checks it; everything wrong with it is
named with its line. Its counts belong to one scale: for another one, and after
a cell was exchanged, a table means nothing, so a file of another scale is
refused. A line that is left out leaves what the scale has: zero_counts,
hysteresis. Max, e, d and class must be those of the scale, unless it is not
calibrated at all.")]
pub struct Pushing {
    /// The file, as `table save` writes it
    file: PathBuf,
    #[command(flatten)]
    trying: Trying,
}

/// Saves.
pub fn save(arguments: &Saving, to: &To) -> Outcome {
    let here = Here::read(to)?;
    let side = here.table()?;
    let change = Some(here.held.header.sequence);
    let saved = side.saved(Some(here.device()), change, &clock::date());
    let path = &arguments.file;
    let unwritten = |error: std::io::Error| {
        let (what, advice) = match error.kind() {
            std::io::ErrorKind::AlreadyExists => {
                ("there is such a file already".to_owned(), "name a new one")
            }
            _ => (
                format!("the table could not be written: {error}"),
                "check the folder, your permission and the free space",
            ),
        };
        Problem::new(exit::DATA, what, advice).fact("file", path.display().to_string())
    };
    let text = table_file::write(&saved);
    std::fs::File::create_new(path)
        .and_then(|mut file| file.write_all(text.as_bytes()))
        .map_err(unwritten)?;
    if to.json {
        saved::print_json(&serde_json::json!({
            "file": path.display().to_string(),
            "checksum": format!("{:08x}", here.held.header.checksum),
            "points": saved.knots.len(),
        }))?;
    } else {
        outln!(
            "{} points of scale {} in {}",
            saved.knots.len(),
            here.device(),
            saved::short(path)
        );
        outln!(
            "next   edit it, then scalewright table push {}",
            saved::short(path)
        );
    }
    Ok(exit::PASSED)
}

/// Pushes.
pub fn push(arguments: &Pushing, to: &To) -> Outcome {
    let looks = asked(to)?;
    let path = &arguments.file;
    let file = path.display().to_string();
    let saved = table_file::read(path).map_err(of_file)?;
    let mut here = Here::to_change(to)?;
    let new = fitted(&saved, &here, &file)?;
    let rounded_g = (quantum_g(new.settings.quantum_ug) - quantum_g(saved.quantum_ug)) / 2.0;
    let mut heed = Vec::new();
    if rounded_g > 0.0 {
        heed.push(format!(
            "The scale's masses go in steps of {}: points of the file are rounded to them.",
            name(quantum_g(new.settings.quantum_ug))
        ));
    }
    if here.held.table.is_none() {
        heed.push(format!(
            "The scale is not calibrated. It will have the {} points of the file, and Max {}, e {} from it.",
            new.table.knots().len(),
            name(saved.scale.max),
            name(saved.scale.e)
        ));
    }
    let pushed = Box::new(proposed(&new, &here));
    let offer = Offer {
        proposal: match arguments.trying.on_trial {
            true => Proposal::Trial(pushed),
            false => Proposal::Table(pushed),
        },
        old: here.side("in force now"),
        new: Some(new),
        looks,
        adjustment: None,
        why: format!("from {}", path.file_name().unwrap_or_default().display()),
        heed,
    };
    trial::bring_or_try(&mut here, offer, to)
}

/// The file's table as this scale would hold it.
pub fn fitted(saved: &SavedTable, here: &Here, file: &str) -> Result<Side, Problem> {
    let wrong = |what: String, advice: String| {
        Err(Problem::new(exit::DATA, what, advice).fact("file", file))
    };
    if let Some(device) = &saved.device
        && *device != here.device()
    {
        return wrong(
            format!(
                "this is the table of scale {device}, and scale {} answers: its counts mean nothing there",
                here.device()
            ),
            "name the port of that scale with --port; if it is the same cell under a new board, take the line `scale` out of the file".into(),
        );
    }
    let spec = ScaleSpec {
        max_g: saved.scale.max,
        e_g: saved.scale.e,
        d_g: saved.scale.d,
        class: saved.scale.class.clone(),
    };
    let has = spec_of(&here.held.settings);
    let alike = |a: f64, b: f64| (a - b).abs() <= 1e-6 * b;
    let same = alike(spec.max_g, has.max_g)
        && alike(spec.e_g, has.e_g)
        && alike(spec.d_g, has.d_g)
        && spec.class == has.class;
    let mut settings = here.held.settings;
    if !same && here.held.table.is_some() {
        let told = |spec: &ScaleSpec| {
            format!(
                "Max {}, e {}, d {}, class {}",
                name(spec.max_g),
                name(spec.e_g),
                name(spec.d_g),
                spec.class
            )
        };
        return wrong(
            format!(
                "the file is for a scale of {}; this one has {}",
                told(&spec),
                told(&has)
            ),
            "correct those lines of the file; another Max or e takes a calibration: `scalewright calibrate --help`".into(),
        );
    }
    if !same {
        settings = settings_for(&spec, &here.held.settings);
        if let Err(fault) = settings.check() {
            return wrong(fault.to_string(), "correct max, e and d in the file".into());
        }
    }
    if let Some(width_g) = saved.hysteresis_g
        && (width_g - loop_width_g(&settings).unwrap_or(0.0)).abs() > quantum_g(settings.quantum_ug)
    {
        settings.loop_gain = loop_gain(width_g, &settings);
    }
    let knots = saved.knots_in(settings.quantum_ug);
    let fit = usize::from(here.hello.max_knots);
    if let Err(fault) = check(&knots, fit) {
        let line = place_of(&fault).and_then(|at| saved.lines.get(usize::from(at)));
        let what = match line {
            Some(line) => format!("line {line}: {fault}"),
            None => fault.to_string(),
        };
        return wrong(
            what,
            "correct the file; take out points that matter least".into(),
        );
    }
    let table =
        HostTable::new(&knots).map_err(|fault| ChangeFault::Unfit(QuantiseFault::Table(fault)))?;
    let side = Side {
        name: file.into(),
        table,
        settings,
        zero_counts: saved.zero_counts.or(Some(here.held.header.zero_counts)),
    };
    let off_g = zero_off_g(&side, here);
    if off_g.abs() > ZERO_SHARE * has.max_g {
        return wrong(
            format!(
                "zero_counts of the file lies {} from the zero of the scale: with an empty pan it would show that, and ZERO refuses so much",
                name(off_g.abs())
            ),
            "take the line zero_counts out of the file: then zero stays; if another pan is on the scale or its cell was bent, calibrate: `scalewright calibrate --help`".into(),
        );
    }
    Ok(side)
}

/// The same, to be laid before whoever decides.
pub fn proposed(fitted: &Side, here: &Here) -> NewTable {
    NewTable {
        table: fitted.table.clone(),
        settings: fitted.settings,
        zero_counts: fitted.zero_counts.unwrap_or(here.held.header.zero_counts),
    }
}

/// How far zero may be moved by a file, as a share of Max: as far as ZERO sets it
/// (OIML R 76-1:2006, 4.5.1: 4 % in all).
const ZERO_SHARE: f64 = 0.02;

/// How far the zero of a file lies from the one in a calibrated scale, g.
fn zero_off_g(side: &Side, here: &Here) -> f64 {
    let stored = here.held.header.zero_counts;
    match (side.zero_counts, &here.held.table) {
        (Some(zero), Some(_)) => {
            let q8 = (i64::from(zero) - i64::from(stored)).saturating_mul(256);
            side.face().mass_g(q8)
        }
        _ => 0.0,
    }
}

/// Which point a fault is about.
fn place_of(fault: &TableFault) -> Option<u8> {
    match fault {
        TableFault::TooMany { fit, .. } => Some(*fit),
        TableFault::CountsOrder { at }
        | TableFault::MassOrder { at }
        | TableFault::CountsRange { at }
        | TableFault::MassRange { at }
        | TableFault::Slope { at } => Some(*at),
        TableFault::TooFew { .. } | TableFault::NoZero => None,
    }
}
