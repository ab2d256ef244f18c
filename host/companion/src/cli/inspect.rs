//! `scalewright inspect`: is the scale wired right and healthy?

use std::time::{Duration, Instant};

use clap::Args;
use scalewright_protocol::message::{Answer, Ask, Hello, Sample, State, TableHeader};
use scalewright_protocol::settings::Settings;
use scalewright_protocol::units::elapsed_ms;

use crate::inspect::{Examination, Gathered, Press, Pressed, RatedCell, Subject, Verdict, examine};
use crate::link::LinkFault;
use crate::link::client::Client;
use crate::link::serial::SerialLine;
use crate::report::sparkline;
use crate::session::table::reading::KnotsReader;

use super::Outcome;
use super::find::connect;
use super::inspect_text::{Shown, as_json, heading, show};
use super::paint::Paint;
use super::problem::{Problem, exit};

/// Options of `inspect`.
#[derive(Args)]
#[command(after_help = "\
Examples:
  scalewright inspect                  listen, judge, then ask for a finger
  scalewright inspect --cell 2mV/V --capacity 10kg
                                       noise in g before there is a table
  scalewright inspect --rate 80        with 80 conversions a second from now on
  scalewright inspect --no-press --json

Leave the pan empty and alone while it listens; touched, it listens once more.
Each finding says what was seen, what it means and what to try; the last line
names what to mend first.

Exit codes: 0 healthy; 1 something has to be mended; 3 nothing could be
measured, or no scale answers.")]
pub struct Arguments {
    /// Ask this port
    #[arg(long)]
    port: Option<String>,
    /// Seconds to listen, 2 to 600
    #[arg(long, default_value_t = 10, value_parser = clap::value_parser!(u32).range(2..=600))]
    seconds: u32,
    /// First ask for so many conversions a second; the scale keeps to it
    #[arg(long, value_name = "SPS")]
    rate: Option<u16>,
    /// Rated output printed on the cell, as "2mV/V"
    #[arg(long, requires = "capacity")]
    cell: Option<String>,
    /// Rated capacity of the cell, as "10kg" (several cells: their sum)
    #[arg(long, requires = "cell")]
    capacity: Option<String>,
    /// Do not ask for a finger on the pan
    #[arg(long)]
    no_press: bool,
    /// Print one JSON object
    #[arg(long)]
    json: bool,
}

/// Longest wait for a finger, and for it to leave again, ms of device time.
const FINGER_MS: u32 = 20_000;
/// Device time between two states, ms.
const STEP_MS: u16 = 200;

/// Runs `inspect`.
pub fn run(arguments: &Arguments) -> Outcome {
    let cell = match (&arguments.cell, &arguments.capacity) {
        (Some(cell), Some(capacity)) => Some(RatedCell::parse(cell, capacity).map_err(|text| {
            Problem::new(
                exit::USAGE,
                text,
                "as in `scalewright inspect --cell 2mV/V --capacity 10kg`",
            )
        })?),
        _ => None,
    };
    let found = connect(arguments.port.as_deref(), arguments.json)?;
    let mut desk = Desk {
        client: found.client,
        hello: found.hello,
        paint: Paint::of_stdout(),
        quiet: arguments.json,
    };
    if let Some(rate_sps) = arguments.rate {
        desk.choose_rate(rate_sps)?;
    }
    let (subject, table) = read_subject(&mut desk.client, &desk.hello, cell).map_err(lost)?;
    if !arguments.json {
        heading(&desk.hello, desk.client.port(), &subject);
    }
    let mut gathered = desk.gather(arguments.seconds).map_err(lost)?;
    let mut examination = examine(&subject, &gathered, None);
    if let Some(touch) = examination.figures.touch {
        desk.say(&format!(
            "The pan was touched after {:.0} s. Once more, with hands off:",
            touch.at_s
        ));
        gathered = desk.gather(arguments.seconds).map_err(lost)?;
        examination = examine(&subject, &gathered, None);
    }
    let ask_for_finger = !arguments.no_press && !arguments.json && desk.paint.live;
    let mut pressed = None;
    if ask_for_finger && let Some(press) = press_of(&examination) {
        pressed = Some(desk.finger(press).map_err(lost)?);
        examination = examine(&subject, &gathered, pressed);
    }
    // The scale answers; whether it also heard this changes nothing.
    let _ = desk.ask(Ask::Stream { every: 0 });
    let shown = Shown {
        hello: &desk.hello,
        port: desk.client.port(),
        subject: &subject,
        table: &table,
        examination: &examination,
        pressed,
    };
    if arguments.json {
        outln!("{}", as_json(&shown));
    } else {
        show(&shown, desk.paint);
    }
    Ok(match examination.verdict {
        Verdict::Healthy => exit::PASSED,
        Verdict::Mend(_) => exit::DOES_NOT_PASS,
        Verdict::Nothing => exit::SCALE,
    })
}

/// A fault of the link with advice that fits here: nothing was begun that could
/// be resumed.
fn lost(fault: LinkFault) -> Problem {
    let gone = matches!(fault, LinkFault::Unplugged { .. });
    let mut problem = Problem::from(fault);
    if gone {
        problem.advice = vec!["plug it in again and inspect anew".into()];
    }
    problem
}

/// A press to watch for, where there is a signal that could show one.
fn press_of(examination: &Examination) -> Option<Press> {
    let figures = &examination.figures;
    if figures.saturated_share() > 0.0 || figures.touch.is_some() {
        return None;
    }
    Some(Press::new(figures.mean_counts?, figures.noise.as_ref()?))
}

/// What a scale says of itself, and the header of its table.
///
/// # Errors
/// A fault of the link.
pub(super) fn read_subject(
    client: &mut Client<SerialLine>,
    hello: &Hello,
    cell: Option<RatedCell>,
) -> Result<(Subject, TableHeader), LinkFault> {
    let confused = LinkFault::Confused {
        port: client.port().into(),
    };
    let settings = client.settings()?;
    let Answer::Table(table) = client.ask(&Ask::Table, &mut |_| {})? else {
        return Err(confused);
    };
    let mut reader = KnotsReader::of(&table);
    while let Some(ask) = reader.ask() {
        let taken = match client.ask(&ask, &mut |_| {})? {
            Answer::Knots { from, knots } => reader.take(from, &knots),
            _ => return Err(confused),
        };
        if taken.is_err() {
            return Err(confused);
        }
    }
    let subject = Subject {
        settings,
        knots: reader.knots().to_vec(),
        zero_counts: table.zero_counts,
        rates_sps: hello.rates_sps.iter().copied().collect(),
        cell,
    };
    Ok((subject, table))
}

/// The scale at hand.
struct Desk {
    client: Client<SerialLine>,
    hello: Hello,
    paint: Paint,
    quiet: bool,
}

impl Desk {
    fn ask(&mut self, ask: Ask) -> Result<Answer, LinkFault> {
        self.client.ask(&ask, &mut |_| {})
    }

    fn confused(&self) -> LinkFault {
        LinkFault::Confused {
            port: self.client.port().into(),
        }
    }

    /// Has the scale store another rate of its converter, unless it is set.
    fn choose_rate(&mut self, rate_sps: u16) -> Result<(), Problem> {
        let known = &self.hello.rates_sps;
        if !known.contains(&rate_sps) {
            let known: Vec<String> = known.iter().map(u16::to_string).collect();
            return Err(Problem::new(
                exit::USAGE,
                format!("this scale's converter makes no {rate_sps} conversions a second"),
                format!("one of {}", known.join(", ")),
            ));
        }
        let now = self.client.settings().map_err(lost)?;
        if now.rate_sps != rate_sps {
            let new = Settings { rate_sps, ..now };
            self.ask(Ask::SetSettings(new)).map_err(lost)?;
        }
        self.say(&format!(
            "{rate_sps} conversions a second from now on; the scale keeps to it."
        ));
        Ok(())
    }

    /// Listens for so many seconds of device time, and shows that it does.
    fn gather(&mut self, seconds: u32) -> Result<Gathered, LinkFault> {
        let gathered = self.listen(seconds);
        self.wipe();
        gathered
    }

    fn listen(&mut self, seconds: u32) -> Result<Gathered, LinkFault> {
        self.say(&format!(
            "Listening for {seconds} s: leave the pan empty and alone"
        ));
        let before = self.client.health();
        let mut gathered = Gathered::new();
        self.ask(Ask::Stream { every: 1 })?;
        let began = Instant::now();
        // A scale whose clock stands still must not be listened to for ever.
        let patience = Duration::from_secs(u64::from(seconds) * 3 + 20);
        while gathered.watched_ms < seconds * 1000 && began.elapsed() < patience {
            let state = self.wait(&mut |sample| gathered.sample(sample))?;
            if gathered.state(&state) {
                self.ask(Ask::Stream { every: 1 })?;
            }
            self.progress(&gathered, seconds);
        }
        let after = self.client.health();
        gathered.broken_frames = after.broken - before.broken;
        gathered.repeats = after.repeats - before.repeats;
        Ok(gathered)
    }

    /// Asks for a finger and says where it ended.
    fn finger(&mut self, mut press: Press) -> Result<Pressed, LinkFault> {
        self.say(match self.hello.board.as_str() {
            "bench" => "Press the pan with a finger: type finger where the bench runs ..",
            _ => "Press the pan with a finger, from above, and hold it ..",
        });
        let mut began_ms = None;
        let mut told = false;
        loop {
            let state = self.wait(&mut |sample| {
                press.sample(sample);
            })?;
            let since_ms = elapsed_ms(state.at_ms, *began_ms.get_or_insert(state.at_ms));
            match press.state() {
                Pressed::Released { .. } => return Ok(press.state()),
                Pressed::Held { .. } if !told => {
                    told = true;
                    began_ms = Some(state.at_ms);
                    self.say("felt it. Now let go ..");
                }
                _ if since_ms >= FINGER_MS => return Ok(press.state()),
                _ => {}
            }
        }
    }

    /// The state a step later; what the stream brings meanwhile goes to
    /// `on_sample`.
    fn wait(&mut self, on_sample: &mut dyn FnMut(&Sample)) -> Result<State, LinkFault> {
        let wait = Ask::Wait { up_to_ms: STEP_MS };
        match self.client.ask(&wait, on_sample)? {
            Answer::State(state) => Ok(state),
            _ => Err(self.confused()),
        }
    }

    fn say(&self, text: &str) {
        if !self.quiet {
            outln!("{text}");
        }
    }

    /// The line that shows that something happens; on a terminal only.
    fn progress(&self, gathered: &Gathered, seconds: u32) {
        if self.quiet || !self.paint.live {
            return;
        }
        let left_s = (seconds * 1000).saturating_sub(gathered.watched_ms) / 1000;
        let from = gathered.samples.len().saturating_sub(48);
        let codes: Vec<f64> = gathered
            .samples
            .get(from..)
            .unwrap_or_default()
            .iter()
            .map(|sample| f64::from(sample.raw_counts))
            .collect();
        outpart!(
            "\r\x1b[2K  {left_s:>3} s left  {}",
            sparkline(&codes, self.paint.style())
        );
        flush();
    }

    fn wipe(&self) {
        if !self.quiet && self.paint.live {
            outpart!("\r\x1b[2K");
            flush();
        }
    }
}

fn flush() {
    use std::io::Write as _;
    let _ = std::io::stdout().flush();
}
