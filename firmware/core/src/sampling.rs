//! A conversion on its way from the interrupt that read it to the main loop.
//!
//! The converter has to be read on time even while the main loop erases flash,
//! so an interrupt reads and a queue carries. Owns the packing of what
//! [`crate::bridge::BridgeAdc::poll`] said and when, in six bytes: in two
//! kibibytes of RAM a queue of anything larger is too short.

use scalewright_protocol::units::{CODE_MAX, CODE_MIN, elapsed_ms};

use crate::bridge::{BridgeFault, Conversion};

const SILENT: i32 = i32::MIN;
const STUCK: i32 = i32::MIN + 1;
/// Codes have 24 bits; this one says that the input has not settled.
const SETTLING: i32 = 1;

/// What the converter said, and when.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reading {
    /// The lower half of the clock, ms.
    at_low_ms: u16,
    /// The code times two and whether it is settling, or a fault.
    packed: i32,
}

impl Reading {
    /// What `poll` said at `at_ms`.
    #[must_use]
    #[inline(always)]
    pub const fn pack(at_ms: u32, said: &Result<Conversion, BridgeFault>) -> Self {
        let packed = match said {
            Ok(conversion) => (conversion.counts << 1) | conversion.settling as i32,
            Err(BridgeFault::Silent) => SILENT,
            Err(BridgeFault::Stuck) => STUCK,
        };
        Self {
            at_low_ms: at_ms as u16,
            packed,
        }
    }

    /// The code, ADC counts, settled or not; none of a fault.
    #[must_use]
    pub const fn code(self) -> Option<i32> {
        match self.packed {
            SILENT | STUCK => None,
            packed => Some(packed >> 1),
        }
    }

    /// When it was said, ms, and what. `now_ms` is less than 65 s later.
    pub fn unpack(self, now_ms: u32) -> (u32, Result<Conversion, BridgeFault>) {
        let ago_ms = elapsed_ms(now_ms, u32::from(self.at_low_ms)) & 0xFFFF;
        let said = match self.packed {
            SILENT => Err(BridgeFault::Silent),
            STUCK => Err(BridgeFault::Stuck),
            packed => {
                let mut conversion = Conversion::settled((packed >> 1).clamp(CODE_MIN, CODE_MAX));
                conversion.settling = packed & SETTLING != 0;
                Ok(conversion)
            }
        };
        (now_ms.wrapping_sub(ago_ms), said)
    }
}

#[cfg(test)]
mod tests {
    use std::vec;

    use super::*;

    #[test]
    fn whatever_was_said_comes_out_with_its_time() {
        let codes = [0, 1, -1, CODE_MIN, CODE_MAX, 1_234_567, -1_234_567];
        let mut all = vec![Err(BridgeFault::Silent), Err(BridgeFault::Stuck)];
        for code in codes {
            let settled = Conversion::settled(code);
            all.push(Ok(settled));
            all.push(Ok(Conversion {
                settling: true,
                ..settled
            }));
        }
        for said in all {
            for at_ms in [0, 1, 65_535, 65_536, 1_000_000, u32::MAX - 3] {
                for later_ms in [0, 1, 700, 65_535] {
                    let reading = Reading::pack(at_ms, &said);
                    let now_ms = at_ms.wrapping_add(later_ms);
                    assert_eq!(reading.unpack(now_ms), (at_ms, said));
                    assert_eq!(reading.code(), said.ok().map(|c| c.counts));
                }
            }
        }
        assert!(size_of::<Reading>() <= 8);
    }
}
