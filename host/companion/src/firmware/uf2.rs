//! UF2, the USB flashing format: blocks of 512 bytes, each with its address.
//!
//! Format: "UF2 file format specification" (microsoft/uf2, README); family
//! numbers: `utils/uf2families.json` there. What this chip's ROM wants of a
//! file (family present, payload of 256 bytes, addresses in steps of 256):
//! "RP2040 Datasheet", section "UF2 Format Details" of the chapter on the
//! bootrom.

use std::collections::BTreeMap;

use super::image::{Format, Image, ImageFault, Piece};

/// Length of a block, bytes.
pub const BLOCK: usize = 512;

/// Family of the RP2040 (`uf2families.json`).
pub const FAMILY: u32 = 0xE48B_FF56;

const FIRST_MAGIC: u32 = 0x0A32_4655;
const SECOND_MAGIC: u32 = 0x9E5D_5157;
const LAST_MAGIC: u32 = 0x0AB1_6F30;

/// Flag: the block does not go into main flash.
const NOT_FLASH: u32 = 0x0000_0001;
/// Flag: the field at offset 28 is the family.
const HAS_FAMILY: u32 = 0x0000_2000;

/// Bytes of flash a block carries for this chip.
const PAYLOAD: u32 = 256;

/// Where the data of a block begins.
const DATA_AT: usize = 32;

/// Whether `content` begins as such a file does.
#[must_use]
pub fn looks_like(content: &[u8]) -> bool {
    word(content, 0) == Some(FIRST_MAGIC) && word(content, 4) == Some(SECOND_MAGIC)
}

fn word(bytes: &[u8], at: usize) -> Option<u32> {
    let bytes = bytes.get(at..)?.first_chunk::<4>()?;
    Some(u32::from_le_bytes(*bytes))
}

fn damaged(why: impl Into<String>) -> ImageFault {
    ImageFault::Damaged {
        format: Format::Uf2,
        why: why.into(),
    }
}

/// The pieces of such a file, one a block.
///
/// # Errors
/// [`ImageFault::Damaged`] when a block is cut or broken, when the numbering
/// has a gap, or when a block is for another family of chips or of another size
/// than this chip's ROM takes: that ROM would skip it without a word.
pub fn pieces(content: &[u8]) -> Result<Vec<Piece>, ImageFault> {
    let blocks = content.chunks_exact(BLOCK);
    if !blocks.remainder().is_empty() {
        return Err(damaged("its last block is cut off"));
    }
    let count = blocks.len();
    let mut pieces = Vec::new();
    for (index, block) in blocks.enumerate() {
        let field = |at| word(block, at).unwrap_or(0);
        let number = index + 1;
        if (field(0), field(4), field(BLOCK - 4)) != (FIRST_MAGIC, SECOND_MAGIC, LAST_MAGIC) {
            return Err(damaged(format!("block {number} is no block")));
        }
        if field(20) as usize != index || field(24) as usize != count {
            return Err(damaged(format!(
                "block {number} of {count} says that it is {} of {}",
                u64::from(field(20)) + 1,
                field(24)
            )));
        }
        let flags = field(8);
        if flags & NOT_FLASH != 0 {
            continue;
        }
        if flags & HAS_FAMILY == 0 || field(28) != FAMILY {
            return Err(damaged(format!(
                "block {number} is for chips of family {:#010x}, not {FAMILY:#010x}",
                if flags & HAS_FAMILY == 0 {
                    0
                } else {
                    field(28)
                }
            )));
        }
        if field(16) != PAYLOAD || field(12) % PAYLOAD != 0 {
            return Err(damaged(format!(
                "block {number} carries {} bytes for {:#010x}, not {PAYLOAD} at a multiple of {PAYLOAD}",
                field(16),
                field(12)
            )));
        }
        let data = block.get(DATA_AT..DATA_AT + PAYLOAD as usize);
        pieces.push(Piece {
            at: field(12),
            bytes: data.unwrap_or_default().to_vec(),
        });
    }
    Ok(pieces)
}

/// The image as such a file. Whole pages are written; what the image leaves
/// open in a page is filled with 0xFF, as erased flash reads.
#[must_use]
pub fn write(image: &Image) -> Vec<u8> {
    let mut pages: BTreeMap<u32, [u8; PAYLOAD as usize]> = BTreeMap::new();
    for piece in image.pieces() {
        for (at, byte) in (piece.at..=u32::MAX).zip(&piece.bytes) {
            let page = pages.entry(at / PAYLOAD).or_insert([0xFF; 256]);
            if let Some(place) = page.get_mut((at % PAYLOAD) as usize) {
                *place = *byte;
            }
        }
    }
    let count = pages.len() as u32;
    let mut file = Vec::with_capacity(pages.len() * BLOCK);
    for (number, (page, data)) in (0u32..).zip(pages) {
        let head = [
            FIRST_MAGIC,
            SECOND_MAGIC,
            HAS_FAMILY,
            page * PAYLOAD,
            PAYLOAD,
            number,
            count,
            FAMILY,
        ];
        file.extend(head.iter().flat_map(|word| word.to_le_bytes()));
        file.extend(data);
        file.resize(file.len() + BLOCK - 4 - DATA_AT - data.len(), 0);
        file.extend(LAST_MAGIC.to_le_bytes());
    }
    file
}
