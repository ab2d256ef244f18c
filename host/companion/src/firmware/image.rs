//! An image: bytes at flash addresses, whatever file they came in.
//!
//! The format is told by the content, never by the file's name. Pieces are in
//! rising order, never overlap, and touch no other: neighbours are joined.

use std::ops::Range;

use super::{elf, hex, uf2};

/// Longest image file worth reading, bytes: an unstripped ELF file of either
/// board is a few MiB.
pub const MOST_BYTES: u64 = 64 * 1024 * 1024;

/// What kind of file an image came in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// Executable and Linkable Format.
    Elf,
    /// USB flashing format.
    Uf2,
    /// Intel HEX.
    Hex,
    /// The bytes alone, from the start of flash.
    Raw,
}

impl Format {
    /// Its name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Elf => "ELF",
            Self::Uf2 => "UF2",
            Self::Hex => "Intel HEX",
            Self::Raw => "raw",
        }
    }

    /// What `content` looks like; everything that is nothing else is raw.
    #[must_use]
    pub fn of(content: &[u8]) -> Self {
        if content.starts_with(b"\x7FELF") {
            Self::Elf
        } else if uf2::looks_like(content) {
            Self::Uf2
        } else if hex::looks_like(content) {
            Self::Hex
        } else {
            Self::Raw
        }
    }
}

/// Why a file is no image.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ImageFault {
    /// Nothing in it that goes into flash.
    Empty,
    /// The file is damaged.
    Damaged {
        /// What it is.
        format: Format,
        /// What is wrong with it.
        why: String,
    },
    /// Two pieces want the same address.
    Overlap {
        /// The address.
        at: u32,
    },
}

impl std::fmt::Display for ImageFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Empty => write!(f, "there is nothing in it"),
            Self::Damaged { format, why } => {
                write!(f, "this {} file is damaged: {why}", format.name())
            }
            Self::Overlap { at } => write!(f, "two parts of it want address {at:#010x}"),
        }
    }
}

impl std::error::Error for ImageFault {}

/// Bytes that follow each other.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Piece {
    /// Address of the first.
    pub at: u32,
    /// The bytes, at least one.
    pub bytes: Vec<u8>,
}

impl Piece {
    /// Address behind the last byte; beyond 32 bits for a piece at the end.
    fn end(&self) -> u64 {
        u64::from(self.at) + self.bytes.len() as u64
    }
}

/// Bytes at addresses.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Image {
    pieces: Vec<Piece>,
}

impl Image {
    /// The image in a file's content, with the format it was in; `base` is the
    /// address of a raw one.
    ///
    /// # Errors
    /// [`ImageFault`].
    pub fn read(content: &[u8], base: u32) -> Result<(Format, Self), ImageFault> {
        let format = Format::of(content);
        let pieces = match format {
            Format::Elf => elf::pieces(content)?,
            Format::Uf2 => uf2::pieces(content)?,
            Format::Hex => hex::pieces(content)?,
            Format::Raw => vec![Piece {
                at: base,
                bytes: content.to_vec(),
            }],
        };
        Ok((format, Self::of(pieces)?))
    }

    /// The image these pieces make, in any order.
    ///
    /// # Errors
    /// [`ImageFault::Empty`] or [`ImageFault::Overlap`].
    pub fn of(mut pieces: Vec<Piece>) -> Result<Self, ImageFault> {
        pieces.retain(|piece| !piece.bytes.is_empty());
        pieces.sort_by_key(|piece| piece.at);
        let mut joined: Vec<Piece> = Vec::new();
        for piece in pieces {
            match joined.last_mut() {
                Some(last) if last.end() > u64::from(piece.at) => {
                    return Err(ImageFault::Overlap { at: piece.at });
                }
                Some(last) if last.end() == u64::from(piece.at) => last.bytes.extend(piece.bytes),
                _ => joined.push(piece),
            }
        }
        if joined.is_empty() {
            return Err(ImageFault::Empty);
        }
        Ok(Self { pieces: joined })
    }

    /// The pieces, by rising address.
    #[must_use]
    pub fn pieces(&self) -> &[Piece] {
        &self.pieces
    }

    /// From the first address to the one behind the last.
    #[must_use]
    pub fn span(&self) -> Range<u64> {
        let first = self.pieces.first().map_or(0, |piece| piece.at.into());
        let end = self.pieces.last().map_or(0, Piece::end);
        first..end
    }

    /// Bytes that go into flash.
    #[must_use]
    pub fn bytes(&self) -> usize {
        self.pieces.iter().map(|piece| piece.bytes.len()).sum()
    }

    /// All bytes of `room`, from its start to the image's end, gaps filled as
    /// erased flash reads: 0xFF. What lies outside of `room` is left out.
    #[must_use]
    pub fn flat(&self, room: &Range<u32>) -> Vec<u8> {
        let end = self.span().end.min(room.end.into());
        let length = end.saturating_sub(room.start.into());
        let mut all = vec![0xFF; usize::try_from(length).unwrap_or(0)];
        for piece in &self.pieces {
            let Some(at) = piece.at.checked_sub(room.start) else {
                continue;
            };
            let places = all.iter_mut().skip(at as usize);
            for (place, byte) in places.zip(&piece.bytes) {
                *place = *byte;
            }
        }
        all
    }
}
