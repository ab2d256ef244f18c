//! Intel HEX, as an image: the record bookkeeping around the `ihex` crate.
//!
//! Format: "Hexadecimal Object File Format Specification", Intel, revision A,
//! 1988.

use ihex::{Reader, ReaderOptions, Record};

use super::image::{Format, Image, ImageFault, Piece};

/// Data bytes of one line; 16 is what every loader takes (common practice).
const LINE: usize = 16;

/// Whether `content` is text that begins as such a file does.
#[must_use]
pub fn looks_like(content: &[u8]) -> bool {
    content.trim_ascii_start().starts_with(b":") && content.is_ascii()
}

fn damaged(why: impl Into<String>) -> ImageFault {
    ImageFault::Damaged {
        format: Format::Hex,
        why: why.into(),
    }
}

/// The pieces of such a file, unsorted.
///
/// # Errors
/// [`ImageFault::Damaged`] names the first broken line, or that the end is
/// missing.
pub fn pieces(content: &[u8]) -> Result<Vec<Piece>, ImageFault> {
    let text = std::str::from_utf8(content).map_err(|_| damaged("it is not text"))?;
    let options = ReaderOptions {
        stop_after_first_error: true,
        stop_after_eof: true,
    };
    let mut pieces = Vec::new();
    let mut base = 0u32;
    let lines = text.lines().filter(|line| !line.trim().is_empty());
    // One line at a time, so that a fault can be named by its line.
    for (index, line) in lines.enumerate() {
        let record = Reader::new_with_options(line.trim(), options).next();
        match record {
            Some(Ok(Record::Data { offset, value })) => {
                let at = base
                    .checked_add(offset.into())
                    .ok_or_else(|| damaged(format!("line {} is beyond 4 GiB", index + 1)))?;
                pieces.push(Piece { at, bytes: value });
            }
            Some(Ok(Record::ExtendedLinearAddress(upper))) => base = u32::from(upper) << 16,
            Some(Ok(Record::ExtendedSegmentAddress(upper))) => base = u32::from(upper) << 4,
            Some(Ok(Record::StartLinearAddress(_) | Record::StartSegmentAddress { .. })) => {}
            Some(Ok(Record::EndOfFile)) => return Ok(pieces),
            Some(Err(error)) => {
                return Err(damaged(format!("line {}: {error}", index + 1)));
            }
            None => return Err(damaged(format!("line {} is no record", index + 1))),
        }
    }
    Err(damaged("its end is missing"))
}

/// The image as such a file.
#[must_use]
pub fn write(image: &Image) -> String {
    let mut records = Vec::new();
    let mut upper = 0u16;
    for piece in image.pieces() {
        let mut at = piece.at;
        let mut rest = piece.bytes.as_slice();
        while !rest.is_empty() {
            if (at >> 16) as u16 != upper {
                upper = (at >> 16) as u16;
                records.push(Record::ExtendedLinearAddress(upper));
            }
            // No line runs across a border of 64 KiB: what then follows is
            // understood differently by different readers.
            let room = 0x1_0000 - (at & 0xFFFF) as usize;
            let (line, after) = rest.split_at(LINE.min(room).min(rest.len()));
            records.push(Record::Data {
                offset: at as u16,
                value: line.to_vec(),
            });
            at = at.wrapping_add(line.len() as u32);
            rest = after;
        }
    }
    records.push(Record::EndOfFile);
    let lines = records.iter().filter_map(|one| one.to_record_string().ok());
    lines.map(|line| line + "\n").collect()
}
