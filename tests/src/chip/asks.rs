//! Requests at random: sound in form, and often wrong in what they say.

use scalewright_core::FACTORY;
use scalewright_protocol::message::{Ask, CaptureOrder, KNOTS_PER_MESSAGE, Stage};
use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::{Knot, knots_checksum};

use super::session::storing;

/// Numbers in a sequence that looks random (G. Marsaglia, "Xorshift RNGs", J.
/// Stat. Softw. 8 (2003) issue 14; 13, 17 and 5).
pub struct Chance(u32);

impl Chance {
    /// The sequence that begins with `seed`, which is not zero.
    #[must_use]
    pub const fn new(seed: u32) -> Self {
        Self(seed)
    }

    /// A number below `limit`.
    pub fn below(&mut self, limit: u32) -> u32 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 17;
        self.0 ^= self.0 << 5;
        self.0 % limit
    }

    fn one_in(&mut self, many: u32) -> bool {
        self.below(many) == 0
    }

    /// Mostly `usual`, else something at an edge or anywhere.
    fn number(&mut self, usual: i32) -> i32 {
        match self.below(24) {
            0 => 0,
            1 => i32::MAX,
            2 => i32::MIN,
            3 => -usual,
            4 => usual.wrapping_add(1),
            5 => self.below(u32::MAX) as i32,
            _ => usual,
        }
    }

    fn settings(&mut self) -> Settings {
        Settings {
            quantum_ug: self.number(FACTORY.quantum_ug as i32) as u32,
            max: self.number(FACTORY.max),
            e: self.number(FACTORY.e),
            d: self.number(FACTORY.d),
            rate_sps: if self.one_in(16) { 40 } else { 80 },
            smoothing: self.number(3) as u8,
            rest_tenths_d: self.number(5) as u8,
            rest_ms: self.number(500) as u16,
            loop_gain: self.number(700) as u16,
            ..FACTORY
        }
    }

    /// A table of up to 16 knots, mostly one that a scale would take.
    fn knots(&mut self) -> Vec<Knot> {
        let count = 1 + self.below(16) as i32;
        let zero = self.below(count as u32) as i32;
        let mut knots: Vec<Knot> = (0..count)
            .map(|n| Knot {
                counts: (n - zero) * 50_000,
                mass: (n - zero) * 250_000 + (n - zero) * (n % 3) * 700,
            })
            .collect();
        if self.one_in(2) {
            let at = self.below(count as u32) as usize;
            knots[at].counts = self.number(knots[at].counts);
            knots[at].mass = self.number(knots[at].mass);
        }
        knots
    }

    /// What somebody might ask next: one request, or those that store a record.
    /// The stream of samples stays as it is, for it tells what came first.
    pub fn asks(&mut self) -> Vec<Ask> {
        let one = match self.below(16) {
            0 => Ask::Hello {
                wire_version: self.below(3) as u16,
            },
            1 => Ask::Settings,
            2 => Ask::SetSettings(self.settings()),
            3 => Ask::Table,
            4 => Ask::Knots {
                from: self.below(20) as u8,
            },
            5 => {
                let knots = self.knots();
                let pieces = knots.chunks(KNOTS_PER_MESSAGE).next().unwrap_or(&[]);
                Ask::StageKnots {
                    from: self.below(17) as u8,
                    knots: pieces.iter().copied().collect(),
                }
            }
            6 => Ask::StageCommit,
            7 => Ask::StageAbort,
            8 => Ask::RollBack,
            9 => Ask::SetZero,
            10 => Ask::Tare,
            11 => Ask::ClearTare,
            12 => Ask::Capture(CaptureOrder {
                samples: self.number(20) as u16,
                rest_counts: self.number(0) as u32,
                patience_ms: self.number(3000) as u32,
            }),
            13 => Ask::CaptureCancel,
            14 => {
                let knots = self.knots();
                Ask::StageBegin(Stage {
                    settings: self.settings(),
                    zero_counts: self.number(4000),
                    knots: knots.len() as u8,
                    checksum: knots_checksum(&knots),
                })
            }
            _ => {
                let zero_counts = self.number(4000);
                let settings = Settings {
                    rate_sps: 80,
                    ..FACTORY
                };
                return storing(settings, zero_counts, &self.knots());
            }
        };
        // Time passes: some samples come between.
        let up_to_ms = self.below(150) as u16;
        vec![one, Ask::Wait { up_to_ms }, Ask::State]
    }
}
