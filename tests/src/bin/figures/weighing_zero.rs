//! Figures 2 and 3 of topic weighing: what zero-tracking follows and what it leaves of
//! a load that comes slowly; and one table of the same captures, made at the scale's
//! keys and at the laptop.

use scalewright_bench::dice::{Dice, Purpose};
use scalewright_bench::flash::{FlashImage, SimFlash};
use scalewright_bench::physics::CellSpec;
use scalewright_core::bridge::Conversion;
use scalewright_core::instrument::{Event, Identity, Instrument};
use scalewright_protocol::codec::{MAX_FRAME, encode};
use scalewright_protocol::message::{Ask, Request, Stage};
use scalewright_protocol::settings::{Class, Conduct, Input, Settings};
use scalewright_protocol::table::{Knot, knots_checksum};
use scalewright_tests::sessions::each;
use scalewright_tests::walks::walk;

use crate::row::{Bound, Sheet};

/// Zero of the scale, ADC counts; d, counts and quanta.
const ZERO: i32 = 50_000;
const D: i32 = 1000;
/// Longest time a rate is kept up, s.
const FOR_S: f64 = 60.0;

/// Max 6 kg, e = d = 2 g in quanta of 2 mg; a quantum is a count.
const SETTINGS: Settings = Settings {
    quantum_ug: 2000,
    max: 3_000_000,
    e: D,
    d: D,
    class: Class::III,
    rate_sps: 10,
    input: Input::A128,
    smoothing: 3,
    rest_tenths_d: 3,
    rest_ms: 1000,
    loop_gain: 0,
    conduct: Conduct::TRACKS_ZERO,
};

/// Noise of a code beside which drift is followed, d.
const NOISE_D: [f64; 3] = [0.0, 0.05, 0.15];

struct Scale {
    instrument: Instrument<SimFlash, 32>,
    now_ms: u32,
    noise: Dice,
    noise_d: f64,
}

impl Scale {
    fn new(noise_d: f64) -> Result<Self, String> {
        let identity = Identity {
            device_id: 6,
            board: "bench",
            firmware: scalewright_core::VERSION,
            rates_sps: &[10, 80],
        };
        let flash = SimFlash::new(FlashImage::erased());
        let mut scale = Self {
            instrument: Instrument::new(identity, flash, SETTINGS, 0),
            now_ms: 0,
            noise: Dice::new(6, Purpose::Conversion),
            noise_d,
        };
        let knots = [0, 3_100_000].map(|n| Knot { counts: n, mass: n });
        let stage = Stage {
            settings: SETTINGS,
            zero_counts: ZERO,
            knots: 2,
            checksum: knots_checksum(&knots),
        };
        scale.say(1, Ask::StageBegin(stage))?;
        let knots = knots.into_iter().collect();
        scale.say(2, Ask::StageKnots { from: 0, knots })?;
        scale.say(3, Ask::StageCommit)?;
        match scale.instrument.table() {
            Some(_) => Ok(scale),
            None => Err("the scale took no table".into()),
        }
    }

    fn say(&mut self, id: u16, ask: Ask) -> Result<(), String> {
        let mut frame = [0; MAX_FRAME];
        let length = encode(&Request { id, ask }, &mut frame).map_err(|_| "no frame")?;
        let bytes = frame.get(..length).unwrap_or_default();
        self.instrument.handle(0, Event::Bytes(bytes));
        loop {
            let length = self.instrument.output().len();
            if length > 0 {
                self.instrument.sent(length);
            } else if self.instrument.is_storing() {
                self.instrument.handle(0, Event::Tick);
            } else {
                return Ok(());
            }
        }
    }

    /// Codes at ten a second for `s` seconds; whether zero was shown all the time.
    fn run(&mut self, s: f64, counts: impl Fn(f64) -> f64) -> bool {
        let mut zero = true;
        for n in 0..(s * 10.0) as u32 {
            self.now_ms += 100;
            let noise = self.noise_d * f64::from(D) * self.noise.normal();
            let code = ZERO + (counts(f64::from(n) / 10.0) + noise).round() as i32;
            let sample = Event::Sample(Ok(Conversion::settled(code)));
            self.instrument.handle(self.now_ms, sample);
            zero &= self.instrument.state(self.now_ms).indication == Some(0);
        }
        zero
    }

    /// How far zero moved, d.
    fn moved_d(&self) -> f64 {
        f64::from(self.instrument.state(0).zero_counts - ZERO) / f64::from(D)
    }
}

/// All of both figures.
pub fn print(sheet: &mut Sheet) {
    Sheet::part("2  zero-tracking (OIML R 76-1 4.5.7, from memory: at most 0.5 d in a second)");
    for noise_d in NOISE_D {
        match followed(noise_d) {
            Ok(rate) => sheet.row(
                &format!("fastest drift that is followed, noise {noise_d} d"),
                rate,
                "d/s",
                Bound::AtLeast(0.45),
                Bound::AtLeast(0.5),
            ),
            Err(why) => sheet.failed("drift", &why),
        }
    }
    for rate in [0.6, 0.8, 1.0, 2.0, 5.0, 20.0] {
        match swallowed(rate) {
            Ok((missing, allowed)) => sheet.row(
                &format!("missing of a load that comes at {rate} d/s"),
                missing,
                "d",
                Bound::AtMost(allowed),
                Bound::Beside,
            ),
            Err(why) => sheet.failed("a slow load", &why),
        }
    }
    Sheet::part("3  a walk at the scale's keys, and the laptop with the same captures");
    walks(sheet);
}

/// The fastest drift, by 0.05 d/s, at which zero stays shown for a minute, d/s.
fn followed(noise_d: f64) -> Result<f64, String> {
    let mut best = 0.0;
    for step in 1..=20 {
        let rate = f64::from(step) * 0.05;
        for direction in [1.0, -1.0] {
            let mut scale = Scale::new(noise_d)?;
            scale.run(3.0, |_| 0.0);
            if !scale.run(FOR_S, |t| direction * rate * t * f64::from(D)) {
                return Ok(best);
            }
        }
        best = rate;
    }
    Ok(best)
}

/// What is missing in the end of a load that comes at a rate for a minute, and what
/// the rule allows: 0.5 d for each second until it leaves zero by more than half a d,
/// and one second for the mean's delay. Both d.
fn swallowed(rate: f64) -> Result<(f64, f64), String> {
    let mut scale = Scale::new(0.0)?;
    scale.run(3.0, |_| 0.0);
    scale.run(FOR_S, |t| rate * t * f64::from(D));
    scale.run(5.0, |_| rate * FOR_S * f64::from(D));
    Ok((scale.moved_d(), 0.5 * (0.5 / (rate - 0.5) + 1.0)))
}

/// Sets of loads, g, in the order in which they are put on.
const SETS: [&[f64]; 4] = [
    &[1000.0, 2000.0, 3000.0, 4000.0, 5000.0, 6000.0],
    &[500.0, 2000.0, 4000.0],
    &[6000.0, 1000.0, 3000.0],
    &[200.0, 1000.0, 2000.0, 3000.0, 5000.0],
];
const CELLS: u64 = 25;

fn walks(sheet: &mut Sheet) {
    let told = each(CELLS, |seed| {
        SETS.map(|loads_g| walk(&CellSpec::studio(seed), seed, loads_g))
    });
    let all: Result<Vec<_>, String> = told.into_iter().flatten().collect();
    let all = match all {
        Ok(all) => all,
        Err(why) => return sheet.failed("walks", &why),
    };
    let same = all
        .iter()
        .filter(|one| one.by_scale == one.by_laptop)
        .count();
    let of = all.len() as f64;
    sheet.row(
        &format!("tables that are the same, of {of}"),
        same as f64,
        "",
        Bound::AtLeast(of),
        Bound::Beside,
    );
    let six = all.iter().step_by(SETS.len());
    let worst = |g: f64, e_g: f64| g / e_g;
    let (mut ours, mut together) = (0.0f64, 0.0f64);
    for one in six {
        ours = ours.max(worst(one.worst_g, 2.0));
        together = together.max(worst(one.worst_together_g, 2.0));
    }
    sheet.row(
        "largest error with six loads up to Max",
        ours,
        "e",
        Bound::AtMost(0.5),
        Bound::Beside,
    );
    sheet.beside("the same by all captures solved together", together, "e");
}
