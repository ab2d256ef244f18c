//! `scalewright compare`: two scales on the same loads.

use std::fs;
use std::path::{Path, PathBuf};

use clap::Args;

use crate::record::comparison::ComparisonRecord;
use crate::record::journal::{Contents, Journal};
use crate::record::mass::parse_g;
use crate::record::proof::Verdict;
use crate::record::readings::{self, Readings, ReadingsFault};
use crate::report;
use crate::session::comparing::{Choices, ComparingFault, compared};
use crate::session::proof::entry::ProofEntry;

use super::paint::Paint;
use super::problem::{Problem, exit};
use super::{Outcome, compare_live, judged, saved};

/// Options of `compare`.
#[derive(Args)]
#[command(after_help = "\
Examples:
  scalewright compare verification.session.jsonl other.csv
  scalewright compare verification.session.jsonl other.csv --their-d 1g
  scalewright compare --weights weights.toml           you type what it shows
  scalewright compare --weights weights.toml --listen /dev/ttyUSB0
  scalewright compare --weights weights.toml --listen COM4 --line 'net # @'

The other scale's file: one line a reading, a first line that names the columns
(load or weights, reading, unit), commas, semicolons or tabs between:
  load (g); reading (g)          or   weights;reading (kg)
  1000; 1000.4                        W1+W5;2.0104
The same load on several lines is a repeat, and makes the answer surer; a column
with their number tells repeats from lines that were pasted twice.

Live: after each capture you move the load to the other scale and type what it
shows (1000.4 or 1000.4 g; Enter skips), or it is heard on its serial line.
How a line is read, --line [default: '~# @~', the first number with a unit]:
  #  the number        @  its unit         ~  any text
  a blank: any blanks  \\  takes the next sign as it is    the rest: itself
  'net # @'    reads   net   1.2345 kg
  '~, # g~'    reads   ok, +1234.5 g  17
  'W: #kg'     reads   W:   1.2345 kg, its unit being said by the pattern
The pattern must fit the whole line. 8 data bits, no parity, one stop bit.

What you get: difference per load with its uncertainty and E_n, mean difference
and limits of agreement, a verdict on each scale, whether a weight rather than
either scale explains it, and a page with one picture.

Exit codes: 0 both keep the tolerance; 1 one of them doesn't, or whether it does
can't be told; 2 to 5 as ever (scalewright --help).")]
pub struct Arguments {
    /// Our scale: the session file of a verification
    #[arg(requires = "theirs", required_unless_present = "weights")]
    ours: Option<PathBuf>,
    /// The other scale: a CSV file of its readings
    theirs: Option<PathBuf>,
    /// Compare live, with a weights file or a list as "2kg,1kg,500g"
    #[arg(long, conflicts_with = "ours")]
    pub(super) weights: Option<String>,
    /// Class of the weights in a list, after OIML R 111
    #[arg(long, requires = "weights", conflicts_with = "ours")]
    pub(super) weight_class: Option<String>,
    /// Our scale's port [default: the one scale that answers]
    #[arg(long, requires = "weights", conflicts_with = "ours")]
    pub(super) port: Option<String>,
    /// Serial port of the other scale, to be heard instead of typed
    #[arg(
        long,
        value_name = "PORT",
        requires = "weights",
        conflicts_with = "ours"
    )]
    pub(super) listen: Option<String>,
    /// How its lines are read
    #[arg(long, value_name = "PATTERN", requires = "listen")]
    pub(super) line: Option<String>,
    /// Its speed, bits per second
    #[arg(long, default_value_t = 9600, requires = "listen", value_parser = clap::value_parser!(u32).range(50..=4_000_000))]
    pub(super) baud: u32,
    /// Where a live session is kept
    #[arg(long, default_value = "comparison.session.jsonl", requires = "weights")]
    pub(super) session: PathBuf,
    /// What to judge both by, as "R76 III in service", "1 % of load", or a file
    /// that ends in .toml (see verify --help) [default: as the verification;
    /// live: R76, our scale's class, initial]
    #[arg(long, value_name = "TOLERANCE")]
    pub(super) judge: Option<String>,
    /// Its verification interval e, as "1g" [default: that of ours]
    #[arg(long, value_name = "MASS")]
    their_e: Option<String>,
    /// Scale interval d of the other scale, as "1g" [default: as its digits show]
    #[arg(long, value_name = "MASS")]
    their_d: Option<String>,
    /// Expanded uncertainty (k = 2) of its readings, weights left out, as "0.5g"
    #[arg(long, value_name = "MASS")]
    their_u: Option<String>,
    /// Where the page with the picture goes; one of that name is replaced
    #[arg(long, default_value = "comparison.html")]
    page: PathBuf,
    /// Print one JSON object at the end, and nothing else
    #[arg(long)]
    pub(super) json: bool,
}

/// Runs `compare`.
pub fn run(arguments: &Arguments) -> Outcome {
    let choices = choices(arguments)?;
    let (Some(ours), Some(theirs)) = (&arguments.ours, &arguments.theirs) else {
        return compare_live::run(arguments, choices);
    };
    let (_, contents): (Journal, Contents<ProofEntry>) = Journal::open(ours)?;
    let readings = read(theirs)?;
    let stem = theirs
        .file_stem()
        .map(|stem| stem.to_string_lossy().into_owned());
    let named = Choices {
        their_name: format!("Scale \"{}\"", stem.unwrap_or_else(|| "other".into())),
        ..choices
    };
    conclude(&contents.entries, &readings, &named, arguments)
}

fn choices(arguments: &Arguments) -> Result<Choices, Problem> {
    let judged = arguments.judge.as_deref().map(judged::tolerance);
    let mass = |name: &str, text: &Option<String>| -> Result<Option<f64>, Problem> {
        let read = text.as_deref().map(parse_g).transpose();
        read.map_err(|cause| {
            Problem::new(
                exit::USAGE,
                format!("--{name}: {cause}"),
                format!("write it as in --{name} 0.5g"),
            )
        })
    };
    Ok(Choices {
        tolerance: judged.transpose()?,
        their_e_g: mass("their-e", &arguments.their_e)?,
        their_d_g: mass("their-d", &arguments.their_d)?,
        their_expanded_g: mass("their-u", &arguments.their_u)?,
        their_name: "Scale B".into(),
    })
}

/// Bytes of a file that are read at most.
const MOST: u64 = 2_000_000;

fn read(file: &Path) -> Result<Readings, Problem> {
    let unreadable = |cause: String| {
        Problem::new(
            exit::DATA,
            format!("{} can't be read: {cause}", file.display()),
            "check the path; a table is exported as CSV text, in UTF-8",
        )
    };
    let length = fs::metadata(file)
        .map_err(|error| unreadable(error.to_string()))?
        .len();
    if length > MOST {
        return Err(unreadable("it is far longer than a table of loads".into()));
    }
    let bytes = fs::read(file).map_err(|error| unreadable(error.to_string()))?;
    let text = String::from_utf8(bytes).map_err(|_| unreadable("it is no UTF-8 text".into()))?;
    readings::parse(&text).map_err(|fault: ReadingsFault| {
        Problem::new(
            exit::DATA,
            format!("{}, {fault}", file.display()),
            fault.try_this.clone(),
        )
    })
}

/// Compares, writes the page and prints what was found.
pub(super) fn conclude(
    entries: &[ProofEntry],
    readings: &Readings,
    choices: &Choices,
    arguments: &Arguments,
) -> Outcome {
    let record = compared(entries, readings, choices).map_err(|fault: ComparingFault| {
        let doubts = readings
            .flags
            .iter()
            .map(|flag| ("noticed", flag.to_string()));
        doubts.fold(
            Problem::new(exit::DATA, fault.what, fault.try_this),
            |problem, (name, value)| problem.fact(name, value),
        )
    })?;
    write_page(&arguments.page, &record)?;
    if arguments.json {
        saved::print_json(&record)?;
    } else {
        let style = Paint::of_stdout().style();
        outpart!("{}", report::comparison::table(&record, style));
        outln!(
            "\nthe page with the picture: {}",
            saved::short(&arguments.page)
        );
    }
    let keeps = |verdict: Verdict| matches!(verdict, Verdict::Passes | Verdict::PassesSoFar);
    Ok(
        match keeps(record.ours.verdict) && keeps(record.theirs.verdict) {
            true => exit::PASSED,
            false => exit::DOES_NOT_PASS,
        },
    )
}

fn write_page(page: &Path, record: &ComparisonRecord) -> Result<(), Problem> {
    fs::write(page, report::comparison::page(record)).map_err(|error| {
        Problem::new(
            exit::DATA,
            format!("the page could not be written: {error}"),
            "check the free space and the folder, or name another file with --page",
        )
        .fact("file", page.display().to_string())
    })
}
