//! Files to bytes at addresses and back.

use proptest::prelude::*;
use scalewright::firmware::board::Board;
use scalewright::firmware::image::{Format, Image, ImageFault, Piece};
use scalewright::firmware::{elf, hex, uf2};

use crate::made::{self, Section};

const FLASH: u32 = 0x1000_0000;

fn piece(at: u32, bytes: &[u8]) -> Piece {
    Piece {
        at,
        bytes: bytes.to_vec(),
    }
}

/// A program of code, constants, variables with and without values, and a
/// comment that is no part of it.
fn program(code: &[u8], variables: &[u8]) -> Vec<u8> {
    made::elf(&[
        Section {
            runs_at: FLASH,
            loads_at: Some(FLASH),
            bytes: code,
            zeros: 0,
        },
        Section {
            runs_at: 0x2000_0000,
            loads_at: Some(FLASH + code.len() as u32),
            bytes: variables,
            zeros: 0,
        },
        Section {
            runs_at: 0x2000_1000,
            loads_at: None,
            bytes: &[],
            zeros: 300,
        },
        Section {
            runs_at: 0,
            loads_at: None,
            bytes: b"a comment",
            zeros: 0,
        },
    ])
}

#[test]
fn an_elf_file_becomes_uf2_and_the_same_bytes_again() {
    let (code, variables) = (made::raw("rp2040", 1000), [7u8; 20]);
    let file = program(&code, &variables);
    let (format, image) = Image::read(&file, 0).expect("it is read");
    assert_eq!(format, Format::Elf);
    let all = [code, variables.to_vec()].concat();
    assert_eq!(image.pieces(), [piece(FLASH, &all)]);
    assert_eq!(elf::static_ram(&file, &Board::Rp2040.ram()), Ok(320));

    let blocks = uf2::write(&image);
    assert_eq!(blocks.len(), 1020usize.div_ceil(256) * 512);
    let (format, again) = Image::read(&blocks, 0).expect("it is read");
    assert_eq!(format, Format::Uf2);
    let room = Board::Rp2040.room();
    assert_eq!(again.flat(&room)[..1020], all);
    assert_eq!(again.flat(&room)[1020..], [0xFF; 4]);
}

/// The bytes of one block, field by field as the table in the README of "UF2
/// file format specification" has them, with the family number of
/// `uf2families.json`.
#[test]
fn a_block_is_as_the_specification_says() {
    let image = Image::of(vec![piece(FLASH + 0x100, &[1, 2, 3])]).expect("an image");
    let block = uf2::write(&image);
    assert_eq!(block.len(), 512);
    assert_eq!(block[..8], *b"UF2\n\x57\x51\x5D\x9E");
    assert_eq!(block[8..12], 0x2000u32.to_le_bytes(), "family present");
    assert_eq!(block[12..16], 0x1000_0100u32.to_le_bytes(), "address");
    assert_eq!(block[16..20], 256u32.to_le_bytes(), "payload");
    assert_eq!(block[20..24], 0u32.to_le_bytes(), "number");
    assert_eq!(block[24..28], 1u32.to_le_bytes(), "of");
    assert_eq!(block[28..32], 0xE48B_FF56u32.to_le_bytes(), "family");
    assert_eq!(block[32..36], [1, 2, 3, 0xFF]);
    assert_eq!(block[36..288], [0xFF; 252]);
    assert_eq!(block[288..508], [0; 220]);
    assert_eq!(block[508..], 0x0AB1_6F30u32.to_le_bytes());
}

/// Example of a data record in the article "Intel HEX" of Wikipedia (from
/// memory): 16 bytes at 0x0100, checksum 0x40.
#[test]
fn hex_lines_are_read_as_published() {
    let file = b":10010000214601360121470136007EFE09D2190140\n:00000001FF\n";
    let (format, image) = Image::read(file, 0).expect("it is read");
    assert_eq!(format, Format::Hex);
    let bytes = [
        0x21, 0x46, 0x01, 0x36, 0x01, 0x21, 0x47, 0x01, 0x36, 0x00, 0x7E, 0xFE, 0x09, 0xD2, 0x19,
        0x01,
    ];
    assert_eq!(image.pieces(), [piece(0x100, &bytes)]);
    assert_eq!(hex::write(&image).as_bytes(), file);
}

#[test]
fn the_content_tells_the_format() {
    for (content, format) in [
        (&b"\x7FELF..."[..], Format::Elf),
        (b"UF2\n\x57\x51\x5D\x9E", Format::Uf2),
        (b"\r\n:00000001FF", Format::Hex),
        (b":\xFF binary that begins like it", Format::Raw),
        (b"<html>", Format::Raw),
        (b"", Format::Raw),
    ] {
        assert_eq!(Format::of(content), format, "{content:?}");
    }
}

fn fault(content: &[u8]) -> String {
    let fault = Image::read(content, 0).expect_err("it is broken");
    fault.to_string()
}

#[test]
fn damage_is_named() {
    let image = Image::of(vec![piece(FLASH, &[1; 600])]).expect("an image");
    let good = uf2::write(&image);
    let with = |at: usize, byte: u8| {
        let mut file = good.clone();
        file[at] = byte;
        fault(&file)
    };
    assert!(fault(&good[..1000]).contains("last block is cut off"));
    assert!(fault(&good[..1024]).contains("block 1 of 2 says that it is 1 of 3"));
    assert!(with(512 + 20, 0).contains("block 2 of 3 says that it is 1 of 3"));
    assert!(with(511, 0).contains("block 1 is no block"));
    assert!(with(28, 0x57).contains("family 0xe48bff57, not 0xe48bff56"));
    assert!(with(9, 0).contains("family 0x00000000"));
    assert!(with(16, 1).contains("carries 257 bytes"));
    assert!(with(12, 1).contains("0x10000001"));

    let lines = hex::write(&image);
    assert!(fault(lines.replace(":00000001FF", "").as_bytes()).contains("end is missing"));
    let second = lines.replacen(":10000000", ":10000100", 1);
    assert!(fault(second.as_bytes()).contains("line 2"), "{second}");
    assert!(fault(b":zz").contains("line 1"));
    assert!(fault(b"\x7FELF\x02 and nothing more").contains("ELF"));
    assert_eq!(Image::read(b"", 0), Err(ImageFault::Empty));
    let twice = vec![piece(10, &[0; 10]), piece(19, &[0; 2])];
    assert_eq!(Image::of(twice), Err(ImageFault::Overlap { at: 19 }));
}

proptest! {
    #[test]
    fn images_come_back_from_both_formats(
        parts in prop::collection::vec((0u32..0x3_0000, prop::collection::vec(any::<u8>(), 1..600)), 1..6)
    ) {
        let pieces = parts.iter().map(|(at, bytes)| piece(FLASH + at, bytes)).collect();
        // Parts that overlap make no image.
        let Ok(image) = Image::of(pieces) else { return Ok(()) };
        let (_, by_hex) = Image::read(hex::write(&image).as_bytes(), 0).expect("hex");
        prop_assert_eq!(&by_hex, &image);
        let (_, by_uf2) = Image::read(&uf2::write(&image), 0).expect("uf2");
        let room = Board::Rp2040.room();
        let (all, again) = (image.flat(&room), by_uf2.flat(&room));
        prop_assert_eq!(&again[..all.len()], &all[..]);
        prop_assert!(again[all.len()..].iter().all(|byte| *byte == 0xFF));
    }

    #[test]
    fn no_content_is_an_accident(
        head in prop::sample::select(vec![&b""[..], b"\x7FELF\x01\x01\x01", b"UF2\n\x57\x51\x5D\x9E", b":"]),
        tail in prop::collection::vec(any::<u8>(), 0..1200)
    ) {
        let content = [head, &tail].concat();
        let _ = Image::read(&content, u32::MAX);
        let _ = elf::static_ram(&content, &(0..u32::MAX));
    }

    #[test]
    fn no_damage_to_an_elf_file_is_an_accident(at in 0usize..400, byte in any::<u8>()) {
        let mut file = program(&made::raw("rp2040", 600), &[1; 8]);
        if let Some(place) = file.get_mut(at) {
            *place = byte;
        }
        let _ = Image::read(&file, 0);
        let _ = elf::static_ram(&file, &Board::Rp2040.ram());
    }
}
