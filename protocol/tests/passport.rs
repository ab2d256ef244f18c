//! The identity block of firmware images: its bytes, and finding it.

use scalewright_protocol::WIRE_VERSION;
use scalewright_protocol::checksum::crc32;
use scalewright_protocol::passport::{LAYOUT_VERSION, MARK, Passport, passport};

#[test]
fn the_bytes_are_those_of_the_table_above() {
    let block = passport("atmega328p", (1, 2, 3));
    assert_eq!(block[..8], MARK);
    assert_eq!(&block[8..24], b"atmega328p\0\0\0\0\0\0");
    assert_eq!(block[24..26], [WIRE_VERSION as u8, 0]);
    assert_eq!(block[26..30], [LAYOUT_VERSION, 1, 2, 3]);
    assert_eq!(block[30..34], crc32(&block[..30]).to_le_bytes());
    assert_eq!(block[34..], [0; 6]);
}

#[test]
fn it_is_found_at_any_place_and_not_when_a_bit_is_wrong() {
    for before in [0, 1, 7, 4096] {
        let mut image = vec![0xFF; before];
        image.extend(passport("rp2040", (0, 1, 0)));
        image.extend([0; 9]);
        let found = Passport::find(&image).expect("it is there");
        assert_eq!(found.board(), "rp2040");
        assert_eq!(found.wire_version, WIRE_VERSION);
        assert_eq!(found.layout_version, LAYOUT_VERSION);
    }
    for bit in 0..34 * 8 {
        let mut block = passport("rp2040", (0, 1, 0));
        block[bit / 8] ^= 1 << (bit % 8);
        assert_eq!(Passport::find(&block), None, "bit {bit}");
    }
    let block = passport("rp2040", (0, 1, 0));
    assert_eq!(Passport::find(&block[..39]), None, "cut off");
}

#[test]
fn a_broken_one_does_not_hide_a_sound_one() {
    let mut broken = passport("rp2040", (0, 1, 0));
    broken[20] ^= 1;
    let image: Vec<u8> = [broken, passport("rp2040", (0, 2, 0))].concat();
    let found = Passport::find(&image).expect("the second");
    assert_eq!(found.firmware, (0, 2, 0));
}

#[test]
fn long_names_are_cut_and_strange_ones_are_empty() {
    let long = passport("a board with a very long name", (0, 0, 0));
    let found = Passport::find(&long).expect("sound");
    assert_eq!(found.board(), "a board with a v");
}
