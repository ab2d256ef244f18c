//! The link to a chip on the rig, in virtual time: time passes only while
//! somebody reads.

use std::time::Duration;

use scalewright::link::{Line, LinkFault};
use scalewright_protocol::codec::{self, MAX_PAYLOAD};
use scalewright_protocol::frame::{Decoder, Event};
use scalewright_protocol::message::{Report, Request};

use super::emulator::Stop;
use super::rig::{Shared, hold};
use super::twin::Twin;

/// A request is sent no later than this before the next conversion, us: the
/// longest frame takes 9 ms at 115 200 bit/s, most take less than 4, and the
/// chip works on it at its next tick. So a request and a sample never race, and
/// the twin knows which came first.
const QUIET_US: u64 = 6000;

/// The link.
pub struct ChipLine {
    rig: Shared,
    name: String,
    unread: Vec<u8>,
    /// Computes the same beside it.
    pub twin: Option<Twin>,
    /// What the chip logged.
    pub logged: Vec<u8>,
    asks: Decoder<{ MAX_PAYLOAD + 4 }>,
    reports: Decoder<{ MAX_PAYLOAD + 4 }>,
    /// What the chip did that ends all talk.
    pub stopped: Option<Stop>,
}

impl ChipLine {
    /// The link to `rig`.
    #[must_use]
    pub fn new(rig: Shared) -> Self {
        let name = hold(&rig).board.name().to_string();
        Self {
            rig,
            name,
            unread: Vec::new(),
            twin: None,
            logged: Vec::new(),
            asks: Decoder::new(),
            reports: Decoder::new(),
            stopped: None,
        }
    }

    /// Lets `us` pass, or less when a frame comes.
    pub fn run(&mut self, us: u64) {
        if self.stopped.is_some() {
            return;
        }
        let (ran, rates) = {
            let mut rig = hold(&self.rig);
            let ran = rig.run(us, true);
            let rates: Vec<u16> = ran
                .read
                .iter()
                .map(|(at_us, _)| rig.rate_at(*at_us))
                .collect();
            (ran, rates)
        };
        if let Some(twin) = &mut self.twin {
            for ((at_us, code), rate_sps) in ran.read.iter().zip(rates) {
                twin.read(*at_us, rate_sps, *code);
            }
        }
        for byte in &ran.output {
            if let Some(Event::Payload(payload)) = self.reports.push(*byte)
                && let Ok(report) = codec::decode::<Report>(payload)
            {
                if let Report::Log { bytes } = &report {
                    self.logged.extend_from_slice(bytes);
                }
                if let Some(twin) = &mut self.twin {
                    twin.said(&report);
                }
            }
        }
        self.unread.extend(ran.output);
        if !matches!(ran.stop, Stop::Time | Stop::Output) {
            self.stopped = Some(ran.stop);
        }
    }

    /// Waits for a moment with no conversion near.
    fn find_quiet(&mut self) {
        let (rhythm, now_us) = {
            let mut rig = hold(&self.rig);
            let now_us = rig.run(0, false).at_us;
            (rig.rhythm(), now_us)
        };
        let Some((last_us, period_us)) = rhythm else {
            return;
        };
        let since = now_us.saturating_sub(last_us);
        // Past the reading of the last, well before the next.
        if since < 2000 {
            self.run_for(2000 - since);
        } else if since + QUIET_US > period_us {
            self.run_for(period_us.saturating_sub(since) + 2000);
        }
    }

    fn run_for(&mut self, us: u64) {
        let mut left = us;
        while left > 0 && self.stopped.is_none() {
            let before = hold(&self.rig).run(0, false).at_us;
            self.run(left);
            let after = hold(&self.rig).run(0, false).at_us;
            left = left.saturating_sub(after.saturating_sub(before).max(1));
        }
    }

    fn gone(&self) -> Option<LinkFault> {
        self.stopped.as_ref().map(|stop| LinkFault::Io {
            port: self.name.clone(),
            cause: format!("{stop:?}"),
        })
    }
}

impl Line for ChipLine {
    fn write(&mut self, bytes: &[u8]) -> Result<(), LinkFault> {
        if self.twin.is_some() {
            self.find_quiet();
            for byte in bytes {
                if let Some(Event::Payload(payload)) = self.asks.push(*byte)
                    && let Ok(request) = codec::decode::<Request>(payload)
                    && let Some(twin) = &mut self.twin
                {
                    twin.asked(&request);
                }
            }
        }
        if let Some(fault) = self.gone() {
            return Err(fault);
        }
        hold(&self.rig).emulator.input(bytes);
        Ok(())
    }

    fn read(&mut self, into: &mut [u8], timeout: Duration) -> Result<usize, LinkFault> {
        if self.unread.is_empty() {
            let us = u64::try_from(timeout.as_micros()).unwrap_or(u64::MAX);
            self.run(us.clamp(1000, 1_000_000));
        }
        if self.unread.is_empty()
            && let Some(fault) = self.gone()
        {
            return Err(fault);
        }
        let count = self.unread.len().min(into.len());
        into[..count].copy_from_slice(&self.unread[..count]);
        self.unread.drain(..count);
        Ok(count)
    }

    fn name(&self) -> &str {
        &self.name
    }
}
