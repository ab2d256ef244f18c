//! A load weighed now.

use crate::drive::Heading;
use crate::proving::{self, ProofWatcher, ProofWish, ProvingFault};
use crate::quantise::spec_of;
use crate::session::proof::prover::{ProofEvent, ProofFault, Prover};
use crate::session::table::adjusting::Shown;
use crate::session::table::weighing;

use super::super::people::ProofAtTheScale;
use super::super::problem::{Problem, exit};
use super::super::proof_screen::ProofScreen;
use super::To;
use super::here::Here;

/// Gives up when nobody acts for this long, s.
const PATIENCE_S: u32 = 600;

/// Somebody at the scale, without the headings of a verification.
struct AtTheScale(ProofAtTheScale);

impl ProofWatcher for AtTheScale {
    fn event(&mut self, event: &ProofEvent) {
        if !matches!(event, ProofEvent::Greeted(_) | ProofEvent::Begins(_)) {
            self.0.event(event);
        }
    }

    fn wish(&mut self) -> ProofWish {
        self.0.wish()
    }
}

/// Sets zero on the empty pan, waits for the load and captures it.
pub fn weigh(here: &mut Here, load_g: f64, to: &To) -> Result<Shown, Problem> {
    let mut prover = Prover::new(weighing::plan(spec_of(&here.held.settings), load_g));
    prover.set_patience_s(PATIENCE_S);
    let mut screen = ProofScreen::new(prover.plan(), to.json, true);
    if !to.json {
        screen.say("It is weighed now, from the empty pan; q and Enter stop. Without lifting it:");
        screen.say("the same command with --shows and what the scale shows.");
    }
    let mut watcher = AtTheScale(ProofAtTheScale::new(screen));
    let kept = proving::run(
        &mut prover,
        &mut here.client,
        None,
        &Heading::default(),
        Vec::new(),
        &mut watcher,
    );
    let kept = kept.map_err(ended)?;
    if !to.json {
        outln!();
    }
    weighing::captured(&kept).ok_or_else(|| {
        Problem::new(
            exit::STOPPED,
            "the load was not captured; nothing was changed",
            "run the same command again, or type what it shows with --shows",
        )
    })
}

/// A weighing that ended early.
fn ended(fault: ProvingFault) -> Problem {
    const AGAIN: &str = "run the same command again, or type what it shows with --shows";
    match fault {
        ProvingFault::Link(fault) => {
            Problem::from(fault).advising("`scalewright resume`", "the same command again")
        }
        ProvingFault::Journal(fault) => fault.into(),
        ProvingFault::Stopped => Problem::new(exit::STOPPED, "stopped; nothing was changed", AGAIN),
        ProvingFault::Session(fault) => {
            let code = match fault {
                ProofFault::Abandoned { .. } => exit::STOPPED,
                _ => exit::SCALE,
            };
            Problem::new(code, fault.to_string(), AGAIN)
        }
    }
}
