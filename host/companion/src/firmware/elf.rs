//! ELF files: what of them goes into flash, and how much RAM they take.
//!
//! As a loader of sections does: everything that has bytes in the file and is
//! part of the running program goes to its load address. Segments alone will
//! not do, because some linkers lay the file's own headers into them.

use std::ops::Range;

use object::read::elf::{ElfFile32, FileHeader, ProgramHeader, SectionHeader};
use object::{Endianness, elf};

use super::image::{Format, ImageFault, Piece};

fn damaged(error: &object::Error) -> ImageFault {
    ImageFault::Damaged {
        format: Format::Elf,
        why: error.to_string(),
    }
}

fn open(content: &[u8]) -> Result<ElfFile32<'_>, ImageFault> {
    ElfFile32::parse(content).map_err(|error| damaged(&error))
}

/// The pieces of such a file, unsorted.
///
/// # Errors
/// [`ImageFault::Damaged`] when it cannot be read, or is no 32-bit file.
pub fn pieces(content: &[u8]) -> Result<Vec<Piece>, ImageFault> {
    let file = open(content)?;
    let order = file.endian();
    let header = file.elf_header();
    let segments = header
        .program_headers(order, content)
        .map_err(|error| damaged(&error))?;
    let mut pieces = Vec::new();
    for section in file.elf_section_table().iter() {
        let flags = section.sh_flags(order);
        let empty = section.sh_type(order) == elf::SHT_NOBITS || section.sh_size(order) == 0;
        if flags & elf::SHF_ALLOC == 0 || empty {
            continue;
        }
        let from = section.sh_offset(order);
        let home = segments
            .iter()
            .filter(|segment| segment.p_type(order) == elf::PT_LOAD)
            .find_map(|segment| load_address(segment, order, from));
        let Some(at) = home else { continue };
        let bytes = section
            .data(order, content)
            .map_err(|error| damaged(&error))?;
        pieces.push(Piece {
            at,
            bytes: bytes.to_vec(),
        });
    }
    Ok(pieces)
}

/// Where `segment` loads the byte at `offset` of the file.
fn load_address(
    segment: &elf::ProgramHeader32<Endianness>,
    order: Endianness,
    offset: u32,
) -> Option<u32> {
    let into = offset.checked_sub(segment.p_offset(order))?;
    if into >= segment.p_filesz(order) {
        return None;
    }
    segment.p_paddr(order).checked_add(into)
}

/// RAM that is taken before the program starts, bytes: all sections that lie in
/// `ram` while it runs.
///
/// # Errors
/// [`ImageFault::Damaged`].
pub fn static_ram(content: &[u8], ram: &Range<u32>) -> Result<u32, ImageFault> {
    let file = open(content)?;
    let order = file.endian();
    let taken = file
        .elf_section_table()
        .iter()
        .filter(|section| section.sh_flags(order) & elf::SHF_ALLOC != 0)
        .filter(|section| ram.contains(&section.sh_addr(order)))
        .map(|section| section.sh_size(order));
    Ok(taken.fold(0, u32::saturating_add))
}
