//! What a firmware image says of itself: 40 bytes in its flash.
//!
//! Owns the layout of that block. A board crate places [`passport`] in its
//! image; whoever is about to write an image on a board looks for it with
//! [`Passport::find`] and so learns, before anything is written, whether the
//! image is ours, for which board it is, and what it speaks and stores.
//!
//! | Offset | Bytes | Content |
//! |---|---|---|
//! | 0 | 8 | [`MARK`] |
//! | 8 | 16 | kind of board, ASCII, filled up with zeros |
//! | 24 | 2 | wire version, little-endian |
//! | 26 | 1 | layout version of what it stores |
//! | 27 | 3 | firmware version: major, minor, patch |
//! | 30 | 4 | CRC-32 of all before, little-endian (see [`crate::checksum`]) |
//! | 34 | 6 | the image's seal: CRC-32 of all of it with these six bytes zero, |
//! | | | filled up with 0xFF to whole pieces of 256 bytes; then their number. |
//! | | | Little-endian; all zero while nobody sealed it |

use crc::{CRC_32_ISO_HDLC, Crc, NoTable};

use crate::WIRE_VERSION;

/// Length of the block, bytes.
pub const PASSPORT_BYTES: usize = 40;

/// How the block begins. The bytes above 127 keep it from standing in a text.
pub const MARK: [u8; 8] = [0x9A, b'p', b'a', b's', b's', 0xE1, 0x0B, 0xC6];

/// Layout of the records in the storage slots. It changes when firmware no
/// longer reads what the firmware before stored; a table then stays in memory
/// but is not in force.
pub const LAYOUT_VERSION: u8 = 3;

const BOARD_AT: usize = 8;
const BOARD_BYTES: usize = 16;
const WIRE_AT: usize = 24;
const LAYOUT_AT: usize = 26;
const FIRMWARE_AT: usize = 27;
const CRC_AT: usize = 30;

/// Where the image's seal stands in the block, bytes from its start.
pub const SEAL_AT: usize = 34;

/// Length of the seal.
pub const SEAL_BYTES: usize = PASSPORT_BYTES - SEAL_AT;

/// The block for an image of this wire and layout version, to be placed in
/// flash. Of `board` the first 16 bytes are kept.
///
/// ```
/// use scalewright_protocol::passport::{PASSPORT_BYTES, Passport, passport};
/// static BLOCK: [u8; PASSPORT_BYTES] = passport("rp2040", (0, 1, 0));
/// let found = Passport::find(&BLOCK).ok_or("none")?;
/// assert_eq!((found.board(), found.firmware), ("rp2040", (0, 1, 0)));
/// # Ok::<(), &str>(())
/// ```
#[must_use]
pub const fn passport(board: &str, firmware: (u8, u8, u8)) -> [u8; PASSPORT_BYTES] {
    let block = [0; PASSPORT_BYTES];
    let block = place(block, 0, &MARK, MARK.len());
    let block = place(block, BOARD_AT, board.as_bytes(), BOARD_BYTES);
    let block = place(block, WIRE_AT, &WIRE_VERSION.to_le_bytes(), 2);
    let block = place(block, LAYOUT_AT, &[LAYOUT_VERSION], 1);
    let version = [firmware.0, firmware.1, firmware.2];
    let block = place(block, FIRMWARE_AT, &version, 3);
    let crc = checksum(block.split_at(CRC_AT).0);
    place(block, CRC_AT, &crc.to_le_bytes(), 4)
}

/// `block` with at most `most` bytes of `from` at `at`. Only the constants
/// above and [`passport`] decide where; a `const fn` has no `get_mut`.
const fn place(
    mut block: [u8; PASSPORT_BYTES],
    at: usize,
    from: &[u8],
    most: usize,
) -> [u8; PASSPORT_BYTES] {
    let mut done = 0;
    while done < most && done < from.len() && at + done < PASSPORT_BYTES {
        block[at + done] = from[done];
        done += 1;
    }
    block
}

const fn checksum(bytes: &[u8]) -> u32 {
    Crc::<u32, NoTable>::new(&CRC_32_ISO_HDLC).checksum(bytes)
}

/// What a block says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Passport {
    board: [u8; BOARD_BYTES],
    /// [`crate::WIRE_VERSION`] of the image.
    pub wire_version: u16,
    /// [`LAYOUT_VERSION`] of the image.
    pub layout_version: u8,
    /// Firmware version: major, minor, patch.
    pub firmware: (u8, u8, u8),
}

impl Passport {
    /// Kind of board the image is for; empty when the name is no text.
    #[must_use]
    pub fn board(&self) -> &str {
        let name = self.board.split(|byte| *byte == 0).next();
        core::str::from_utf8(name.unwrap_or_default()).unwrap_or_default()
    }

    /// The first sound block in `image`, wherever it stands; `None` when there
    /// is none. A mark without its checksum is passed over.
    #[must_use]
    pub fn find(image: &[u8]) -> Option<Self> {
        Self::read(image.get(Self::place(image)?..)?)
    }

    /// Where that block begins, bytes from the start of `image`.
    #[must_use]
    pub fn place(image: &[u8]) -> Option<usize> {
        image
            .windows(PASSPORT_BYTES)
            .position(|window| window.starts_with(&MARK) && Self::read(window).is_some())
    }

    fn read(block: &[u8]) -> Option<Self> {
        let (signed, rest) = block.split_at_checked(CRC_AT)?;
        let crc = u32::from_le_bytes(*rest.first_chunk::<4>()?);
        if checksum(signed) != crc {
            return None;
        }
        let &[major, minor, patch] = signed.get(FIRMWARE_AT..)?.first_chunk::<3>()?;
        Some(Self {
            board: *signed.get(BOARD_AT..)?.first_chunk()?,
            wire_version: u16::from_le_bytes(*signed.get(WIRE_AT..)?.first_chunk()?),
            layout_version: *signed.get(LAYOUT_AT)?,
            firmware: (major, minor, patch),
        })
    }
}
