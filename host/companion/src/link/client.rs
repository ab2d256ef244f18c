//! Questions and answers over a [`Line`]: numbering, timeouts, repeats.
//!
//! A request that hears nothing is sent again, byte for byte, under the same
//! number; the scale answers it once (see the protocol's `message` module), so
//! a repeat can never apply twice.

use std::time::{Duration, Instant};

use scalewright_protocol::WIRE_VERSION;
use scalewright_protocol::codec::{self, MAX_FRAME, MAX_PAYLOAD};
use scalewright_protocol::frame::{Decoder, Event};
use scalewright_protocol::message::{Answer, Ask, Flags, Hello, Refusal, Report, Request, Sample};
use scalewright_protocol::settings::Settings;

use super::{Line, LinkFault};

/// How often a request is sent before giving up.
const ATTEMPTS: u32 = 4;

/// How long to listen for an answer; links of 115 200 bit/s need 10 ms for the
/// longest frame, erasing a flash sector on the device up to 400 ms, and
/// rewriting a record in EEPROM byte by byte a little more than a second.
const PATIENCE: Duration = Duration::from_millis(1500);

/// Counters of a link's health.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Health {
    /// Requests sent again.
    pub repeats: usize,
    /// Broken frames dropped.
    pub broken: usize,
    /// Samples missed, by their sequence numbers.
    pub lost_samples: u32,
}

/// One end of a conversation with one scale.
pub struct Client<L: Line> {
    line: L,
    decoder: Decoder<{ MAX_PAYLOAD + 4 }>,
    next_id: u16,
    unread: Vec<u8>,
    health: Health,
    patience: Duration,
    sample_step: u32,
    last_sample: Option<u32>,
}

impl<L: Line> Client<L> {
    /// A conversation over `line`. `first_id` should differ from run to run,
    /// lest the scale take the first request for a repeat.
    pub fn new(line: L, first_id: u16) -> Self {
        Self {
            line,
            decoder: Decoder::new(),
            next_id: first_id,
            unread: Vec::new(),
            health: Health::default(),
            patience: PATIENCE,
            sample_step: 0,
            last_sample: None,
        }
    }

    /// Sets how long one attempt listens; returns how long it was.
    pub fn set_patience(&mut self, patience: Duration) -> Duration {
        std::mem::replace(&mut self.patience, patience)
    }

    /// The link's health so far.
    #[must_use]
    pub fn health(&self) -> Health {
        self.health
    }

    /// Name of the port.
    pub fn port(&self) -> &str {
        self.line.name()
    }

    /// The line under the conversation.
    pub fn line_mut(&mut self) -> &mut L {
        &mut self.line
    }

    /// Says hello and checks the wire version.
    ///
    /// # Errors
    /// Any [`LinkFault`]; [`LinkFault::WrongVersion`] when the scale speaks
    /// another.
    pub fn hello(&mut self) -> Result<Hello, LinkFault> {
        let ask = Ask::Hello {
            wire_version: WIRE_VERSION,
        };
        match self.ask(&ask, &mut |_| {})? {
            Answer::Hello(hello) if hello.wire_version == WIRE_VERSION => Ok(hello),
            Answer::Hello(hello) => Err(LinkFault::WrongVersion {
                port: self.line.name().into(),
                scale: hello.wire_version,
                ours: WIRE_VERSION,
            }),
            _ => Err(self.confused()),
        }
    }

    /// As [`Client::ask`], with a refusal told apart from a fault of the link: what
    /// a session is to be told.
    ///
    /// # Errors
    /// A fault of the link.
    pub fn ask_or_refused(
        &mut self,
        ask: &Ask,
        on_sample: &mut dyn FnMut(&Sample),
    ) -> Result<Result<Answer, Refusal>, LinkFault> {
        match self.ask(ask, on_sample) {
            Ok(answer) => Ok(Ok(answer)),
            Err(LinkFault::Refused(refusal)) => Ok(Err(refusal)),
            Err(fault) => Err(fault),
        }
    }

    /// Asks and returns the answer; samples that come in between go to
    /// `on_sample`.
    ///
    /// # Errors
    /// [`LinkFault::Refused`] with the scale's cause, or a fault of the link.
    pub fn ask(
        &mut self,
        ask: &Ask,
        on_sample: &mut dyn FnMut(&Sample),
    ) -> Result<Answer, LinkFault> {
        let id = self.next_id;
        self.next_id = self.next_id.wrapping_add(1);
        if let Ask::Stream { every } = ask {
            self.sample_step = u32::from(*every);
            self.last_sample = None;
        }
        let request = Request {
            id,
            ask: ask.clone(),
        };
        let mut frame = [0u8; MAX_FRAME];
        let length = codec::encode(&request, &mut frame).map_err(|_| self.confused())?;
        let frame = frame.get(..length).unwrap_or_default();
        let patience = match ask {
            Ask::Wait { up_to_ms } => self.patience + Duration::from_millis((*up_to_ms).into()),
            _ => self.patience,
        };
        let began = Instant::now();
        let broken_before = self.health.broken;
        let mut strange = 0;
        for attempt in 0..ATTEMPTS {
            if attempt > 0 {
                self.health.repeats += 1;
            }
            self.line.write(frame)?;
            if let Some(outcome) = self.listen(id, patience, &mut strange, on_sample)? {
                return outcome;
            }
        }
        let port = self.line.name().to_string();
        let broken = self.health.broken - broken_before;
        Err(if broken > 2 && !matches!(ask, Ask::Hello { .. }) {
            LinkFault::Noisy { port, broken }
        } else if strange > 0 {
            LinkFault::WrongDevice {
                port,
                bytes: strange,
            }
        } else {
            LinkFault::Silent {
                port,
                waited: began.elapsed(),
            }
        })
    }

    /// Listens for the reply to `id`; `None` when time is up.
    #[allow(clippy::type_complexity)]
    fn listen(
        &mut self,
        id: u16,
        patience: Duration,
        strange: &mut usize,
        on_sample: &mut dyn FnMut(&Sample),
    ) -> Result<Option<Result<Answer, LinkFault>>, LinkFault> {
        let mut deadline = Instant::now() + patience;
        let mut buffer = [0u8; 1024];
        loop {
            let pending = std::mem::take(&mut self.unread);
            for (at, byte) in pending.iter().enumerate() {
                let report = match self.decoder.push(*byte) {
                    None => continue,
                    Some(Event::Broken(_)) => {
                        self.health.broken += 1;
                        continue;
                    }
                    Some(Event::Payload(payload)) => {
                        // A stranger's greeting may be longer than ours: its
                        // version can be read although the rest cannot.
                        if let Some(version) = codec::greeting_version(payload)
                            && version != WIRE_VERSION
                        {
                            return Err(LinkFault::WrongVersion {
                                port: self.line.name().into(),
                                scale: version,
                                ours: WIRE_VERSION,
                            });
                        }
                        codec::decode::<Report>(payload)
                    }
                };
                match report {
                    Ok(Report::Sample(sample)) => {
                        // A scale that sends samples is alive: an open Wait on
                        // a slow machine must not run into the time-out.
                        deadline = deadline.max(Instant::now() + self.patience);
                        self.count_losses(&sample);
                        on_sample(&sample);
                    }
                    Ok(Report::Answer {
                        id: replied,
                        answer,
                    }) if replied == id => {
                        self.unread = pending.get(at + 1..).unwrap_or_default().to_vec();
                        return Ok(Some(Ok(answer)));
                    }
                    Ok(Report::Refusal {
                        id: replied,
                        refusal,
                    }) if replied == id => {
                        self.unread = pending.get(at + 1..).unwrap_or_default().to_vec();
                        return Ok(Some(Err(LinkFault::Refused(refusal))));
                    }
                    // A late reply to an earlier request.
                    Ok(_) => {}
                    Err(_) => self.health.broken += 1,
                }
            }
            let now = Instant::now();
            if now >= deadline {
                return Ok(None);
            }
            let read = self.line.read(&mut buffer, deadline - now)?;
            *strange += read;
            self.unread
                .extend_from_slice(buffer.get(..read).unwrap_or_default());
        }
    }

    fn count_losses(&mut self, sample: &Sample) {
        if let Some(last) = self.last_sample
            && self.sample_step > 0
        {
            // A number below the last one is a scale that was restarted.
            let gap = sample.sequence.wrapping_sub(last);
            if gap < 1 << 31 {
                self.health.lost_samples += (gap / self.sample_step).saturating_sub(1);
            }
        }
        self.last_sample = Some(sample.sequence);
    }

    /// Asks something that not every scale knows, such as one without a notebook;
    /// whether it was carried out.
    ///
    /// # Errors
    /// A fault of the link.
    pub fn ask_if_known(&mut self, ask: &Ask) -> Result<bool, LinkFault> {
        Ok(self.ask_or_refused(ask, &mut |_| {})?.is_ok())
    }

    /// The conditions that hold now, such as that it is sealed.
    ///
    /// # Errors
    /// A fault of the link.
    pub fn flags(&mut self) -> Result<Flags, LinkFault> {
        match self.ask(&Ask::State, &mut |_| {})? {
            Answer::State(state) => Ok(state.flags),
            _ => Err(self.confused()),
        }
    }

    /// The settings of the scale.
    ///
    /// # Errors
    /// A refusal, or a fault of the link.
    pub fn settings(&mut self) -> Result<Settings, LinkFault> {
        match self.ask(&Ask::Settings, &mut |_| {})? {
            Answer::Settings(settings) => Ok(settings),
            _ => Err(self.confused()),
        }
    }

    fn confused(&self) -> LinkFault {
        LinkFault::Confused {
            port: self.line.name().into(),
        }
    }
}
