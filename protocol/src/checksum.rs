//! CRC-32 as used on frames, tables and stored records.
//!
//! The parameters are those of "CRC-32/ISO-HDLC" in the catalogue of
//! parametrised CRC algorithms (polynomial 0x04C11DB7 reflected, initial value
//! and final XOR all ones); its check value over the ASCII digits 1 to 9 is
//! 0xCBF43926. The table-free form is used: a lookup table of 1 KiB does not
//! fit beside a stack in 2 KiB of RAM.

use crc::{CRC_32_ISO_HDLC, Crc, NoTable};

const ALGORITHM: Crc<u32, NoTable> = Crc::<u32, NoTable>::new(&CRC_32_ISO_HDLC);

/// CRC-32 of `bytes`.
///
/// ```
/// assert_eq!(scalewright_protocol::checksum::crc32(b"123456789"), 0xCBF4_3926);
/// ```
#[must_use]
pub fn crc32(bytes: &[u8]) -> u32 {
    let mut running = Running::new();
    running.update(bytes);
    running.finish()
}

/// A CRC-32 fed in pieces, for data that never stands in memory as a whole.
pub struct Running(crc::Digest<'static, u32, NoTable>);

impl Running {
    /// Starts over no bytes.
    #[must_use]
    pub fn new() -> Self {
        static SHARED: Crc<u32, NoTable> = ALGORITHM;
        Self(SHARED.digest())
    }

    /// Appends `bytes`. Never inlined, for the flash of small chips.
    #[inline(never)]
    pub fn update(&mut self, bytes: &[u8]) {
        self.0.update(bytes);
    }

    /// The CRC-32 of everything appended.
    #[must_use]
    pub fn finish(self) -> u32 {
        self.0.finalize()
    }
}

impl Default for Running {
    fn default() -> Self {
        Self::new()
    }
}
