//! `scalewright rehearse`: a complete calibration without hardware.

use std::path::PathBuf;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;

use clap::Args;

use crate::drive::{self, Heading, Watcher};
use crate::link::Line;
use crate::link::client::Client;
use crate::population::{Fared, Population};
use crate::record::journal::Journal;
use crate::record::weights::label;
use crate::session::plan::{Plan, ScaleSpec};
use crate::session::procedure::Procedure;
use crate::session::proof::Test;
use crate::session::proof::plan::ProofPlan;
use crate::session::proof::prover::Prover;

use super::live::{Screen, wrap};
use super::paint::Paint;
use super::people::{Asked, ProofSimulated, Simulated};
use super::problem::{Problem, exit};
use super::proof_screen::ProofScreen;
use super::studio::{Bench, Hand, Studio, Wanted};
use super::{Outcome, clock, saved};

/// A run at human speed takes a quarter of an hour; on a terminal it is shown
/// this much faster, so that loads still settle before one's eyes.
const SHOWN_SPEED: f64 = 100.0;

/// The operator of the bench acts within seconds; without a load for this long
/// something is wrong. Device time.
const PATIENCE_S: u32 = 600;

/// Options of `rehearse`.
#[derive(Args)]
#[command(after_help = "\
Examples:
  scalewright rehearse                  the whole job in some ten seconds
  scalewright rehearse --slow           at human speed
  scalewright rehearse --ask            you put the weights on, wrong ones too
  scalewright rehearse --clumsy         the operator errs, and is told
  scalewright rehearse --bad-weight     one weight is wrong: which?
  scalewright rehearse --few-weights    2 kg of weights and a jug, Max 6 kg
  scalewright rehearse --verify         then all tests of the calibrated scale
  scalewright rehearse --json           one JSON object, for scripts
  scalewright rehearse --population 1000 --json
                                        how many poor scales pass, three ways

What you get: the run on the screen, a report with pictures (an HTML page) and
the session file, both in the folder rehearsal.")]
pub struct Arguments {
    /// Another scale, another operator, another set of weights
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Show it at human speed
    #[arg(long)]
    slow: bool,
    /// Show it this much faster than life (0 is as fast as it goes)
    #[arg(long, conflicts_with = "slow")]
    speed: Option<f64>,
    /// Place the weights yourself
    #[arg(long, conflicts_with_all = ["json", "population"])]
    ask: bool,
    /// Let the operator err
    #[arg(long)]
    clumsy: bool,
    /// Begin with a scale that holds no table at all
    #[arg(long)]
    factory: bool,
    /// Let one of the weights be wrong, far outside its class
    #[arg(long)]
    bad_weight: bool,
    /// With weights for a third of Max only, and a jug of water
    #[arg(long)]
    few_weights: bool,
    /// Then prove the calibrated scale with every test, cut short
    #[arg(long, conflicts_with_all = ["ask", "population", "json"])]
    verify: bool,
    /// Folder for the report and the session file
    #[arg(long, default_value = "rehearsal")]
    folder: PathBuf,
    /// Print one JSON object at the end, and nothing else
    #[arg(long)]
    json: bool,
    /// Calibrate that many poor scales and count those that pass
    #[arg(long, value_name = "SCALES")]
    population: Option<usize>,
}

/// Runs `rehearse`.
pub fn run(arguments: &Arguments) -> Outcome {
    match arguments.population {
        Some(scales) => population(arguments, scales),
        None => one(arguments),
    }
}

fn speed(arguments: &Arguments) -> Option<f64> {
    match arguments.speed {
        Some(speed) if speed > 0.0 && speed.is_finite() => Some(speed),
        Some(_) => None,
        None if arguments.slow => Some(1.0),
        None if !arguments.json && !arguments.ask && Paint::of_stdout().live => Some(SHOWN_SPEED),
        None => None,
    }
}

fn one(arguments: &Arguments) -> Outcome {
    let began = Instant::now();
    let wanted = Wanted {
        seed: arguments.seed,
        speed: speed(arguments),
        free: false,
        clumsy: arguments.clumsy,
        factory: arguments.factory,
        bad_weight: arguments.bad_weight,
        few_weights: arguments.few_weights,
    };
    let heading = Heading {
        date: clock::date(),
        seed: Some(arguments.seed),
        note: None,
    };
    if !arguments.json {
        outln!("A rehearsal on the built-in bench: the bench scale of the glaze kitchen,");
        outln!("a simulated cell behind the real firmware. No hardware is touched.\n");
    }
    let (studio, line) = Studio::open(wanted)?;
    let mut client = Client::new(line, clock::first_id());
    client.hello()?;
    let scale = ScaleSpec {
        max_g: 6000.0,
        e_g: 2.0,
        d_g: 2.0,
        class: "III".into(),
    };
    let plan = Plan::new(scale, studio.weights())?;
    if !arguments.json {
        let weights: Vec<String> = plan.weights.iter().map(label).collect();
        for line in wrap(&format!("Weights at hand: {}", weights.join(", ")), 78) {
            outln!("{line}");
        }
        outln!();
    }
    if arguments.ask {
        outln!("    {}\n", super::people::HELP);
    }
    let mut journal = Journal::create(&arguments.folder.join("rehearsal.session.jsonl"))?;
    let mut procedure = Procedure::new(plan.clone());
    if !arguments.ask {
        procedure.set_patience_s(PATIENCE_S);
    }
    let screen = Screen::new(&plan, arguments.json, false);
    let mut simulated;
    let mut asked;
    let watcher: &mut dyn Watcher = if arguments.ask {
        asked = Asked {
            screen,
            studio: &studio,
            plan,
            wish: None,
        };
        &mut asked
    } else {
        simulated = Simulated {
            screen,
            studio: &studio,
        };
        &mut simulated
    };
    drive::run(
        &mut procedure,
        &mut client,
        Some(&mut journal),
        &heading,
        watcher,
    )
    .map_err(|fault| Problem::from(fault).of_rehearsal())?;
    let Some(concluded) = saved::conclude(&procedure, &journal, &heading, began, arguments.json)?
    else {
        return Ok(exit::STOPPED);
    };
    if !arguments.json {
        if let Some((id, off_g)) = studio.bad_weight() {
            let way = if off_g < 0.0 { "light" } else { "heavy" };
            outln!(
                "\n(the bench tells: {id} really is {:.2} g too {way})",
                off_g.abs()
            );
        }
        outln!("\nthe report with pictures:  {}", concluded.page);
        if arguments.verify {
            return verify(arguments, &studio, &mut client, &heading);
        }
        outln!("with a scale on the desk:");
        outln!("  scalewright find");
        outln!("  scalewright calibrate --max 6kg --e 2g \\");
        outln!("      --weights '2kg,2kg,1kg,500g,200g,200g,100g,50g,20g,20g' \\");
        outln!("      --weight-class M1");
    }
    Ok(concluded.code)
}

/// All tests of the scale that was just calibrated, those that wait cut short.
fn verify(
    arguments: &Arguments,
    studio: &Studio,
    client: &mut Client<Box<dyn Line>>,
    heading: &Heading,
) -> Outcome {
    let scale = ScaleSpec {
        max_g: 6000.0,
        e_g: 2.0,
        d_g: 2.0,
        class: "III".into(),
    };
    let weights = studio.weights();
    let scheme = "R76 III initial".to_owned();
    // A scale that was just calibrated is warm.
    let tests: Vec<Test> = Test::ALL
        .into_iter()
        .filter(|test| *test != Test::WarmUp)
        .collect();
    let plan = ProofPlan::new(scale, weights, &tests, true, scheme, false)?;
    outln!();
    super::verify::announce(&plan);
    let mut journal = Journal::create(&arguments.folder.join("verification.session.jsonl"))?;
    let mut prover = Prover::new(plan);
    prover.set_patience_s(PATIENCE_S);
    let mut watcher = ProofSimulated {
        screen: ProofScreen::new(prover.plan(), false, false),
        studio,
    };
    super::verify::prove(
        &mut prover,
        client,
        &mut journal,
        heading,
        Vec::new(),
        &mut watcher,
        false,
    )
}

/// The plan for every poor scale: they differ in what a plan can't know.
fn plan_of_poor(seed: u64) -> Result<Plan, Problem> {
    let (_, weights) = Bench::poor(seed)?.pan();
    let scale = ScaleSpec {
        max_g: 5000.0,
        e_g: 5.0,
        d_g: 5.0,
        class: "III".into(),
    };
    Ok(Plan::new(scale, weights)?)
}

/// One poor scale, calibrated; `None` when the session ended early.
fn fare(seed: u64, plan: &Plan) -> Result<Option<Fared>, Problem> {
    let bench = Bench::poor(seed)?;
    let (desk, _) = bench.pan();
    let mut procedure = Procedure::new(plan.clone());
    procedure.set_patience_s(PATIENCE_S);
    let mut client = Client::new(bench, 1);
    let ended = drive::run(
        &mut procedure,
        &mut client,
        None,
        &Heading::default(),
        &mut Hand::at(desk),
    );
    Ok(match ended {
        Ok(()) => Fared::of(&procedure),
        Err(fault) => {
            eprintln!("seed {seed}: {fault}");
            None
        }
    })
}

fn population(arguments: &Arguments, scales: usize) -> Outcome {
    let began = Instant::now();
    let seed = arguments.seed;
    let plan = &plan_of_poor(seed)?;
    let next = AtomicUsize::new(0);
    let workers = std::thread::available_parallelism()
        .map_or(1, usize::from)
        .min(scales.max(1));
    let paint = Paint::of_stderr();
    let mut fared: Vec<Option<Fared>> = vec![None; scales];
    let parts = std::thread::scope(|scope| {
        let handles: Vec<_> = (0..workers)
            .map(|worker| {
                let next = &next;
                scope.spawn(move || {
                    let mut told = Vec::new();
                    loop {
                        let index = next.fetch_add(1, Ordering::Relaxed);
                        if index >= scales {
                            return Ok(told);
                        }
                        if worker == 0 && paint.live {
                            eprint!("\r{index} of {scales} scales");
                        }
                        told.push((index, fare(seed.wrapping_add(index as u64), plan)?));
                    }
                })
            })
            .collect();
        handles
            .into_iter()
            .map(|handle| {
                handle.join().unwrap_or_else(|_| {
                    Err(Problem::new(
                        exit::DATA,
                        "a worker of the population ended unexpectedly",
                        "report this with the seed",
                    ))
                })
            })
            .collect::<Result<Vec<Vec<(usize, Option<Fared>)>>, Problem>>()
    })?;
    if paint.live {
        eprint!("\r\x1b[2K");
    }
    for (index, one) in parts.into_iter().flatten() {
        if let Some(place) = fared.get_mut(index) {
            *place = one;
        }
    }
    let found = Population::of(
        &fared,
        seed,
        "Max 5 kg, e = 5 g, class III, a poor grade of cell",
        began.elapsed().as_secs_f64(),
    );
    if arguments.json {
        saved::print_json(&found)?;
        return Ok(exit::PASSED);
    }
    outln!("{} scales: {}", found.population, found.scale);
    outln!("  share that passes at every verification load, and the largest error");
    for way in &found.ways {
        let bar = "#".repeat((way.share * 20.0).round() as usize);
        outln!(
            "  {:32} {:>5.1} %  {bar:<20}  median {:.2} e",
            way.name,
            way.share * 100.0,
            way.median_largest_error_e
        );
    }
    if found.ended_early > 0 {
        outln!(
            "  {} sessions ended early and count as failed",
            found.ended_early
        );
    }
    outln!("  {:.1} s", found.wall_s);
    Ok(exit::PASSED)
}
