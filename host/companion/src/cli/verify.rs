//! `scalewright verify`: the guided tests of a calibrated scale.

use std::path::{Path, PathBuf};

use clap::Args;

use crate::drive::Heading;
use crate::link::client::Client;
use crate::link::find::identity;
use crate::proving::{self, ProofWatcher};
use crate::quantise::spec_of;
use crate::record::journal::{Contents, Journal};
use crate::record::mass;
use crate::record::proof::Verdict;
use crate::record::surroundings::{self, Surroundings};
use crate::record::tolerance::Tolerance;
use crate::report;
use crate::session::plan::PlannedWeight;
use crate::session::proof::entry::{ProofEntry, finished};
use crate::session::proof::evaluate::evaluate;
use crate::session::proof::plan::ProofPlan;
use crate::session::proof::prover::Prover;
use crate::session::proof::{Test, plan::minutes};

use super::calibrate::weights_named;
use super::find::connect;
use super::live::wrap;
use super::paint::Paint;
use super::people::ProofAtTheScale;
use super::problem::{Problem, exit};
use super::proof_screen::ProofScreen;
use super::{Outcome, clock, judged, saved};

/// Options of `verify`.
#[derive(Args)]
#[command(after_help = "\
Examples:
  scalewright verify --weights weights.toml             the tests most needed
  scalewright verify --weights weights.toml eccentricity repeatability
  scalewright verify --weights weights.toml --all       also those that take long
  scalewright verify --weights weights.toml creep --short
  scalewright verify --weights weights.toml --judge 'R76 III in service'
  scalewright verify --weights weights.toml --judge '0.5 % of load'
  scalewright verify --weights weights.toml --air '21 C, 48 %, 986 hPa'
  scalewright verify --weights weights.toml --judge kitchen.toml
  scalewright verify --go-on                            after an interruption
  scalewright verify --again verification.session.jsonl the report once more

Tests (after OIML R 76-1 annex A):
  zero, errors, repeatability, eccentricity, discrimination, small-on-big, tare,
  creep and warm-up (30 minutes each; --short: 4 and 5)

A table of your own, as kitchen.toml; it is kept in the session file:
  name = \"kitchen\"
  source = \"house rule of 2026\"
  [[step]]
  up_to = \"500 g\"
  permitted = \"0.5 g\"
  [[step]]
  up_to = \"6 kg\"
  permitted = \"0.1 %\"           # of the load

What you get: each value beside its limit with its uncertainty, a verdict that
names its decision rule, a report with pictures, and the session file, from
which everything can be computed again.

While it runs you need no keys. For second thoughts type a letter and Enter: u
takes the last load back, t takes the load as it is, l leaves this test out, q
stops (--go-on goes on later). Nothing that the scale holds is changed.

This is no legal verification: trade needs the authority's approval.")]
pub struct Arguments {
    /// Tests to make [default: zero errors repeatability eccentricity
    /// discrimination small-on-big tare]
    tests: Vec<Test>,
    /// Make all tests
    #[arg(long, conflicts_with = "tests")]
    all: bool,
    /// Cut tests that take long short; the report says what that can't show
    #[arg(long)]
    short: bool,
    /// A weights file, or a list as "2kg,1kg,500g"
    #[arg(long, required_unless_present_any = ["go_on", "again"])]
    weights: Option<String>,
    /// Class of the weights in a list, after OIML R 111
    #[arg(long)]
    weight_class: Option<String>,
    /// What to judge by: "R76 III initial", "R76 III in service", "HB44 III
    /// acceptance", "1 % of load", or a file that ends in .toml [default: R76,
    /// the scale's class, initial]
    #[arg(long, value_name = "TOLERANCE")]
    judge: Option<String>,
    /// Count a value as kept only when its uncertainty is inside the limit too
    #[arg(long)]
    guarded: bool,
    /// Temperature, humidity and pressure, as "21 C, 48 %, 986 hPa"
    #[arg(long, value_name = "AIR", conflicts_with_all = ["go_on", "again"])]
    air: Option<String>,
    /// What warm or cold weights may do, as "10 mg": for the uncertainty
    #[arg(long, value_name = "MASS", conflicts_with_all = ["go_on", "again"])]
    convection: Option<String>,
    /// The scale's port [default: the one scale that answers]
    #[arg(long)]
    port: Option<String>,
    /// Where the session is kept
    #[arg(long, default_value = USUAL_SESSION)]
    session: PathBuf,
    /// Go on with an interrupted verification
    #[arg(long, conflicts_with_all = ["weights", "tests", "all", "again"])]
    go_on: bool,
    /// Compute a session file again and write its report; needs no scale
    #[arg(long, value_name = "FILE", conflicts_with_all = ["weights", "tests", "all"])]
    again: Option<PathBuf>,
    /// Print one JSON object at the end, and nothing else
    #[arg(long)]
    json: bool,
}

/// Tests that are made when none are named: those that take no waiting.
pub const USUAL: [Test; 7] = [
    Test::Zero,
    Test::Errors,
    Test::Repeatability,
    Test::Eccentricity,
    Test::Discrimination,
    Test::SmallOnBig,
    Test::Tare,
];

/// Runs `verify`.
pub fn run(arguments: &Arguments) -> Outcome {
    if let Some(file) = &arguments.again {
        let (journal, contents): (Journal, Contents<ProofEntry>) = Journal::open(file)?;
        return conclude(&contents.entries, journal.path(), arguments.json);
    }
    let heading = Heading {
        date: clock::date(),
        seed: None,
        note: None,
    };
    if arguments.go_on {
        let (mut journal, contents): (Journal, Contents<ProofEntry>) =
            Journal::open(&arguments.session)?;
        let Some(ProofEntry::ProofBegan { plan, .. }) = contents.entries.first() else {
            return Err(Problem::new(
                exit::DATA,
                format!(
                    "{} does not begin a verification",
                    arguments.session.display()
                ),
                "name another file with --session",
            ));
        };
        let mut prover = Prover::resume((**plan).clone(), &contents.entries);
        let mut found = connect(arguments.port.as_deref(), arguments.json)?;
        if !arguments.json {
            let session = saved::short(journal.path());
            announce_rest(prover.plan(), &contents.entries, &session);
        }
        return guide(
            &mut prover,
            &mut found.client,
            &mut journal,
            &heading,
            contents.entries,
            arguments.json,
        );
    }
    let judged = arguments.judge.as_deref().map(judged::tolerance);
    let judged = judged.transpose()?;
    let text = arguments.weights.as_deref().unwrap_or_default();
    let weights = weights_named(text, arguments.weight_class.as_deref())?;
    let surroundings = surroundings(arguments)?;
    let mut found = connect(arguments.port.as_deref(), arguments.json)?;
    let mut plan = plan(arguments, judged.as_ref(), weights, &mut found.client)?;
    plan.surroundings = surroundings;
    let mut journal = Journal::create(&arguments.session)?;
    if !arguments.json {
        outln!(
            "scale {} on {}\nthis session is kept in {}",
            identity(&found.hello),
            found.client.port(),
            saved::short(journal.path())
        );
        announce(&plan);
    }
    let mut prover = Prover::new(plan);
    guide(
        &mut prover,
        &mut found.client,
        &mut journal,
        &heading,
        Vec::new(),
        arguments.json,
    )
}

/// Says what is going to be made, and what can't be.
pub fn announce(plan: &ProofPlan) {
    let names: Vec<&str> = plan.tests.iter().map(|one| one.test.name()).collect();
    let about = format!(
        "tests: {}; about {} min, judged by {}",
        names.join(", "),
        minutes(plan),
        plan.scheme
    );
    for line in wrap(&about, 78) {
        outln!("{line}");
    }
    for (test, why) in &plan.impossible {
        for line in wrap(&format!("not {}: {why}", test.name()), 78) {
            outln!("{line}");
        }
    }
}

fn plan<L: crate::link::Line>(
    arguments: &Arguments,
    judged: Option<&Tolerance>,
    weights: Vec<PlannedWeight>,
    client: &mut Client<L>,
) -> Result<ProofPlan, Problem> {
    let scale = spec_of(&client.settings()?);
    let scheme = match judged {
        Some(tolerance) => tolerance.scheme().to_string(),
        None => format!("R76 {} initial", scale.class),
    };
    let tests: &[Test] = match (&arguments.tests, arguments.all) {
        (_, true) => &Test::ALL,
        (named, false) if named.is_empty() => &USUAL,
        (named, false) => named,
    };
    let plan = ProofPlan::new(
        scale,
        weights,
        tests,
        arguments.short,
        scheme,
        arguments.guarded,
    )?;
    if let Some(tolerance) = judged {
        judged::reaches(tolerance, &plan)?;
    }
    if plan.tests.is_empty() {
        let whys = plan
            .impossible
            .iter()
            .map(|(test, why)| format!("{test}: {why}"));
        return Err(Problem::new(
            exit::DATA,
            "none of these tests can be made with these weights",
            whys.collect::<Vec<_>>().join("; "),
        ));
    }
    Ok(plan)
}

/// What was noted of the air, and what warm weights may do.
fn surroundings(arguments: &Arguments) -> Result<Surroundings, Problem> {
    let said = |option: &str, cause: String, example: &str| {
        Problem::new(
            exit::USAGE,
            format!("{option}: {cause}"),
            format!("write it as in {option} '{example}'"),
        )
    };
    let mut noted = match &arguments.air {
        Some(text) => surroundings::parse(text)
            .map_err(|cause| said("--air", cause, "21 C, 48 %, 986 hPa"))?,
        None => Surroundings::default(),
    };
    if let Some(text) = &arguments.convection {
        noted.convection_g =
            mass::parse_g(text).map_err(|cause| said("--convection", cause, "10 mg"))?;
    }
    Ok(noted)
}

/// Guides somebody at a real scale through the tests to the report.
fn guide<L: crate::link::Line>(
    prover: &mut Prover,
    client: &mut Client<L>,
    journal: &mut Journal,
    heading: &Heading,
    kept: Vec<ProofEntry>,
    json: bool,
) -> Outcome {
    let screen = ProofScreen::new(prover.plan(), json, true);
    let mut watcher = ProofAtTheScale::new(screen);
    if !json {
        outln!("Keys, if you need them, each with Enter: u takes the last load back,");
        outln!("t takes the load as it lies, l leaves this test out, q stops.");
    }
    prove(prover, client, journal, heading, kept, &mut watcher, json)
}

/// Runs the tests with any watcher, and reports.
pub fn prove<L: crate::link::Line>(
    prover: &mut Prover,
    client: &mut Client<L>,
    journal: &mut Journal,
    heading: &Heading,
    kept: Vec<ProofEntry>,
    watcher: &mut dyn ProofWatcher,
    json: bool,
) -> Outcome {
    let session = saved::short(journal.path());
    let all =
        proving::run(prover, client, Some(journal), heading, kept, watcher).map_err(|fault| {
            let go_on = going_on(&session);
            Problem::from(fault)
                .advising("`scalewright verify --go-on`", &go_on)
                .advising("`scalewright resume`", &go_on)
                .fact("session", session)
        })?;
    conclude(&all, journal.path(), json)
}

/// Where a verification is kept if nothing else is said.
const USUAL_SESSION: &str = "verification.session.jsonl";

/// The command that goes on with a session, in quotes.
fn going_on(session: &str) -> String {
    match session {
        USUAL_SESSION => "`scalewright verify --go-on`".into(),
        other => format!("`scalewright verify --go-on --session {other}`"),
    }
}

/// The tests of a session that were neither made to their end nor left out.
fn left_to_make(entries: &[ProofEntry]) -> Vec<&'static str> {
    match entries.first() {
        Some(ProofEntry::ProofBegan { plan, .. }) => left_of(plan, entries),
        _ => Vec::new(),
    }
}

fn left_of(plan: &ProofPlan, entries: &[ProofEntry]) -> Vec<&'static str> {
    let done = finished(plan, entries);
    let left = plan.tests.iter().filter(|one| !done.contains(&one.test));
    left.map(|one| one.test.name()).collect()
}

/// Says with what it goes on.
fn announce_rest(plan: &ProofPlan, entries: &[ProofEntry], session: &str) {
    let said = match left_of(plan, entries).as_slice() {
        [] => "nothing is left to be made".to_owned(),
        left => format!(
            "left: {}; a test that was broken off begins anew",
            left.join(", ")
        ),
    };
    for line in wrap(&format!("going on with {session}: {said}"), 78) {
        outln!("{line}");
    }
}

/// Writes the report of a verification and prints what it found.
fn conclude(entries: &[ProofEntry], journal: &Path, json: bool) -> Outcome {
    let proof = evaluate(entries).map_err(|cause| {
        Problem::new(
            exit::DATA,
            format!("{}: {cause}", saved::short(journal)),
            format!(
                "go on with {}, or begin anew",
                going_on(&saved::short(journal))
            ),
        )
    })?;
    let again = "scalewright verify --again FILE";
    let page = saved::write_report(journal, &report::proof_page(&proof), again)?;
    if json {
        saved::print_json(&proof)?;
    } else {
        outln!();
        outpart!(
            "{}",
            report::proof_table(&proof, Paint::of_stdout().style())
        );
        outln!("\nthe report with pictures: {}", saved::short(&page));
        outln!("the session, capture by capture: {}", saved::short(journal));
        outln!("a calibration certificate of it: scalewright certificate --help");
    }
    let left = left_to_make(entries);
    if !left.is_empty() && !json {
        let text = format!(
            "It was cut short; not made to the end: {}. {} makes the rest.",
            left.join(", "),
            going_on(&saved::short(journal))
        );
        for line in wrap(&text, 80) {
            outln!("{line}");
        }
    }
    Ok(match (proof.verdict, left.as_slice()) {
        (Verdict::Open | Verdict::Fails, _) => exit::DOES_NOT_PASS,
        (_, []) => exit::PASSED,
        // Nothing speaks against it, but not all was asked.
        _ => exit::STOPPED,
    })
}
