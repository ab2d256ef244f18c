//! A job's progress on one line, and its facts on lines that stay.
//!
//! On a terminal the line at hand is rewritten in place and vanishes when the
//! job is done; elsewhere only the facts are written.

use std::io::Write;
use std::time::{Duration, Instant};

use super::live::wrap;
use super::paint::Paint;

/// Shortest time between two rewritings.
const FRAME: Duration = Duration::from_millis(60);

/// Marks of a full bar.
const BAR: usize = 28;

/// Columns of the names before the facts.
const NAME: usize = 10;

/// Shows a job.
pub struct Progress {
    paint: Paint,
    quiet: bool,
    drawn: Option<Instant>,
    open: bool,
}

impl Progress {
    /// A job shown on standard output; a quiet one shows nothing.
    #[must_use]
    pub fn new(quiet: bool) -> Self {
        Self {
            paint: Paint::of_stdout(),
            quiet,
            drawn: None,
            open: false,
        }
    }

    /// How to write here.
    #[must_use]
    pub fn paint(&self) -> Paint {
        self.paint
    }

    /// What is going on, without a measure.
    pub fn doing(&mut self, name: &str, text: &str) {
        self.draw(false, || format!("  {name:NAME$}{text}"));
    }

    /// How far it is: `done` of `of`, with `text` behind the bar.
    pub fn bar(&mut self, name: &str, done: usize, of: usize, text: &str) {
        let filled = (done * BAR).checked_div(of).unwrap_or(BAR).min(BAR);
        let (full, empty) = (self.paint.either("#", "█"), self.paint.either(".", "░"));
        self.draw(done == of, || {
            let bar = full.repeat(filled) + &empty.repeat(BAR - filled);
            format!("  {name:NAME$}{bar} {text}")
        });
    }

    fn draw(&mut self, always: bool, line: impl Fn() -> String) {
        let due = self.drawn.is_none_or(|drawn| drawn.elapsed() >= FRAME);
        if self.quiet || !self.paint.live || !(due || always) {
            return;
        }
        let line: String = line().chars().take(79).collect();
        outpart!("\r\x1b[2K{line}");
        let _ = std::io::stdout().flush();
        self.drawn = Some(Instant::now());
        self.open = true;
    }

    /// A line of text, in place of the line at hand.
    pub fn say(&mut self, text: &str) {
        if self.quiet {
            return;
        }
        self.clear();
        outln!("{text}");
    }

    /// A named fact, wrapped to 80 columns.
    pub fn fact(&mut self, name: &str, text: &str) {
        for (index, line) in wrap(text, 78 - NAME).iter().enumerate() {
            let name = if index == 0 { name } else { "" };
            self.say(&format!("  {name:NAME$}{line}"));
        }
    }

    /// Takes the line at hand away.
    pub fn clear(&mut self) {
        if self.open {
            outpart!("\r\x1b[2K");
            let _ = std::io::stdout().flush();
            self.open = false;
        }
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.clear();
    }
}
