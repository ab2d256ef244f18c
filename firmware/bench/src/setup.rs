//! How a device on the bench is made: settings, the table it comes with, and
//! its flash, filled by the firmware itself.
//!
//! The record layout in flash is the core's own business: a table gets there by
//! the same requests a laptop sends.

use std::fmt;

use scalewright_core::instrument::{Event, Instrument};
use scalewright_protocol::codec::{MAX_FRAME, MAX_PAYLOAD, decode, encode};
use scalewright_protocol::frame::{self, Decoder};
use scalewright_protocol::message::{
    Answer, Ask, KNOTS_PER_MESSAGE, Refusal, Report, Request, Stage,
};
use scalewright_protocol::settings::{Class, Conduct, Input, Settings};
use scalewright_protocol::table::{Knot, knots_checksum};

use crate::adc::{code_of, gain_of};
use crate::board::{KNOTS, identity};
use crate::flash::{FlashImage, SimFlash};
use crate::physics::CellSpec;
use crate::{BenchSpec, StoredTable};

/// Why a bench could not be switched on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum BenchFault {
    /// The device refused the table it should come with.
    Table(Refusal),
    /// The device did not answer while it was prepared.
    Mute,
    /// No pseudo-terminal; the system's own words.
    Terminal(String),
}

impl fmt::Display for BenchFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Table(refusal) => {
                write!(
                    f,
                    "the simulated scale refused its first table: {refusal:?}"
                )
            }
            Self::Mute => f.write_str("the simulated scale did not answer while it was prepared"),
            Self::Terminal(what) => write!(f, "no pseudo-terminal could be made: {what}"),
        }
    }
}

impl std::error::Error for BenchFault {}

/// Settings of a class III scale of `max_g` and `e_g` with d = e and a quantum
/// of `quantum_ug`: 10 conversions per second, smoothed over 8, at rest when
/// the mean is within 0.3 d of where it ends; it starts at zero.
#[must_use]
pub fn class_iii_settings(max_g: f64, e_g: f64, quantum_ug: u32) -> Settings {
    // `as` saturates; the core refuses settings that make no sense.
    let quanta = |g: f64| (g * 1e6 / f64::from(quantum_ug.max(1))).round() as i32;
    Settings {
        quantum_ug,
        max: quanta(max_g),
        e: quanta(e_g),
        d: quanta(e_g),
        class: Class::III,
        rate_sps: 10,
        input: Input::A128,
        smoothing: 3,
        rest_tenths_d: 3,
        rest_ms: 1000,
        loop_gain: 0,
        conduct: Conduct::STARTS_AT_ZERO,
    }
}

/// The table of a scale of this cell that was set with one load of
/// `setting_g`: a straight line through zero and the reading there, as far as
/// Max + 9 e (OIML R 76-1:2006 clause 4.2.3).
#[must_use]
pub fn set_with_one_load(cell: &CellSpec, settings: &Settings, setting_g: f64) -> StoredTable {
    let gain = gain_of(settings.input);
    let zero_counts = code_of(cell.settled_mv_per_v(0.0), gain);
    let net = code_of(cell.settled_mv_per_v(setting_g), gain).saturating_sub(zero_counts);
    let mass = settings.overload_above();
    let reach_g = f64::from(mass) * f64::from(settings.quantum_ug) * 1e-6;
    let counts = (f64::from(net) * reach_g / setting_g).round() as i32;
    StoredTable {
        zero_counts,
        knots: vec![Knot { counts: 0, mass: 0 }, Knot { counts, mass }],
    }
}

/// Flash as it is after the firmware itself stored `spec.stored`.
pub(crate) fn prepare_flash(spec: &BenchSpec) -> Result<FlashImage, BenchFault> {
    if let Some(image) = &spec.flash {
        return Ok(image.clone());
    }
    let flash = SimFlash::new(FlashImage::erased());
    let Some(stored) = &spec.stored else {
        return Ok(flash.image());
    };
    let mut instrument: Instrument<SimFlash, KNOTS> =
        Instrument::new(identity(spec), flash.clone(), spec.settings, 0);
    let mut asks = vec![Ask::StageBegin(Stage {
        settings: spec.settings,
        zero_counts: stored.zero_counts,
        knots: u8::try_from(stored.knots.len()).unwrap_or(u8::MAX),
        checksum: knots_checksum(&stored.knots),
    })];
    for (part, knots) in stored.knots.chunks(KNOTS_PER_MESSAGE).enumerate() {
        asks.push(Ask::StageKnots {
            from: u8::try_from(part * KNOTS_PER_MESSAGE).unwrap_or(u8::MAX),
            knots: knots.iter().copied().collect(),
        });
    }
    asks.push(Ask::StageCommit);
    for (id, ask) in (1..).zip(asks) {
        say(&mut instrument, &Request { id, ask })?;
    }
    Ok(flash.image())
}

/// One request and its reply.
fn say(
    instrument: &mut Instrument<SimFlash, KNOTS>,
    request: &Request,
) -> Result<Answer, BenchFault> {
    let mut bytes = [0; MAX_FRAME];
    let length = encode(request, &mut bytes).map_err(|_| BenchFault::Mute)?;
    instrument.handle(0, Event::Bytes(&bytes[..length]));
    let mut decoder: Decoder<{ MAX_PAYLOAD + 4 }> = Decoder::new();
    let mut report = None;
    loop {
        let said = instrument.output();
        let length = said.len();
        if length == 0 {
            break;
        }
        for byte in said {
            if let Some(frame::Event::Payload(payload)) = decoder.push(*byte) {
                report = decode::<Report>(payload).ok();
            }
        }
        instrument.sent(length);
    }
    match report {
        Some(Report::Answer { id, answer }) if id == request.id => Ok(answer),
        Some(Report::Refusal { refusal, .. }) => Err(BenchFault::Table(refusal)),
        _ => Err(BenchFault::Mute),
    }
}
