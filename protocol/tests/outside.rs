//! The crate against published values: CRC-32, COBS and the number format of
//! postcard. Each check names its source.

mod support;

use proptest::collection::vec;
use proptest::prelude::*;
use scalewright_protocol::checksum::crc32;
use scalewright_protocol::codec::{self, DecodeFault};
use scalewright_protocol::frame::{self, FrameFull};
use scalewright_protocol::stuffing::{Unstuffer, stuff};
use scalewright_protocol::table::{Knot, knots_checksum};
use support::{Message, Received, receive_with, unhex};

/// Catalogue of parametrised CRC algorithms (reveng.sourceforge.io/crc-catalogue),
/// entry "CRC-32/ISO-HDLC": check 0xCBF43926, residue 0xDEBB20E3. The residue is
/// what stands in the register, before the final XOR, after a sound content and
/// its checksum, lowest byte first.
#[test]
fn crc_32_agrees_with_the_catalogue() {
    assert_eq!(crc32(b"123456789"), 0xCBF4_3926);
    let mut codeword = b"123456789".to_vec();
    codeword.extend(crc32(b"123456789").to_le_bytes());
    assert_eq!(crc32(&codeword) ^ 0xFFFF_FFFF, 0xDEBB_20E3);
    assert_eq!(crc32(b""), 0);
}

/// The checksum of a table is the CRC-32 of the bytes its documentation names.
#[test]
fn the_checksum_of_knots_is_that_of_their_bytes() {
    let knots = [
        Knot { counts: 0, mass: 0 },
        Knot {
            counts: 0x0403_0201,
            mass: -2,
        },
    ];
    let bytes = unhex("00000000 00000000 01020304 feffffff");
    assert_eq!(knots_checksum(&knots), crc32(&bytes));
    assert_eq!(knots_checksum(&[]), 0);
}

fn stuffed(content: &[u8]) -> Vec<u8> {
    let mut out = vec![0; content.len() + content.len() / 254 + 1];
    let used = stuff(content.iter().copied(), &mut out).expect("the bound of the paper");
    out.truncate(used);
    out
}

fn unstuffed(stuffed: &[u8]) -> Option<Vec<u8>> {
    let mut unstuffer = Unstuffer::new();
    let content = stuffed.iter().filter_map(|b| unstuffer.push(*b)).collect();
    unstuffer.at_end().then_some(content)
}

/// "01 02 ... FE" means all numbers between.
fn sequence(text: &str) -> Vec<u8> {
    let mut bytes: Vec<u8> = Vec::new();
    let mut gap = false;
    for word in text.split_whitespace() {
        if word == "..." {
            gap = true;
            continue;
        }
        let byte = u8::from_str_radix(word, 16).expect("a byte");
        if gap {
            let last = bytes[bytes.len() - 1];
            bytes.extend(last + 1..byte);
            gap = false;
        }
        bytes.push(byte);
    }
    bytes
}

/// Wikipedia, "Consistent Overhead Byte Stuffing", table of encoding examples (second hand)
/// (the closing delimiter left out), as repeated in several libraries' tests.
#[test]
fn cobs_agrees_with_the_published_examples() {
    let examples = [
        ("00", "01 01"),
        ("00 00", "01 01 01"),
        ("11 22 00 33", "03 11 22 02 33"),
        ("11 22 33 44", "05 11 22 33 44"),
        ("11 00 00 00", "02 11 01 01 01"),
        ("01 02 03 ... FD FE", "FF 01 02 03 ... FD FE"),
        ("00 01 02 ... FC FD FE", "01 FF 01 02 ... FC FD FE"),
        ("01 02 03 ... FD FE FF", "FF 01 02 03 ... FD FE 02 FF"),
        ("02 03 04 ... FE FF 00", "FF 02 03 04 ... FE FF 01 01"),
        ("03 04 05 ... FF 00 01", "FE 03 04 05 ... FF 02 01"),
    ];
    for (content, expected) in examples {
        let (content, expected) = (sequence(content), sequence(expected));
        assert_eq!(stuffed(&content), expected);
        assert_eq!(unstuffed(&expected), Some(content));
    }
}

/// Cheshire and Baker 1999, the table of code values (from memory): 0x01 is a zero alone, n up
/// to 0xFE is n − 1 bytes and a zero, 0xFF is 254 bytes and no zero. The zero
/// after the last block is not content.
#[test]
fn cobs_codes_mean_what_the_paper_says() {
    for n in 1..=0xFEu8 {
        let data: Vec<u8> = (1..n).collect();
        let block = [&[n][..], &data, &[1]].concat();
        let content = [&data[..], &[0]].concat();
        assert_eq!(unstuffed(&block), Some(content.clone()));
        assert_eq!(stuffed(&content), block);
    }
    let data: Vec<u8> = (1..=254).collect();
    let full = [&[0xFF][..], &data].concat();
    assert_eq!(unstuffed(&full), Some(data.clone()));
    // The empty block that the paper's own encoder adds there is understood too.
    assert_eq!(unstuffed(&[&full[..], &[1]].concat()), Some(data));
    // A block that is cut is no content.
    assert_eq!(unstuffed(&full[..254]), None);
}

proptest! {
    #![proptest_config(support::many_cases())]

    /// The `cobs` crate as oracle, both ways, over several blocks and with runs
    /// around their edge of 254 bytes.
    #[test]
    fn cobs_agrees_with_another_implementation(
        runs in vec((prop_oneof![0usize..4, 252usize..258, 0usize..600], 1u8..), 0..4),
        end in prop_oneof![Just(None), Just(Some(0u8)), Just(Some(1))],
    ) {
        let mut content = Vec::new();
        for (length, byte) in runs {
            content.extend(std::iter::repeat_n(byte, length));
            content.push(0);
        }
        content.pop();
        content.extend(end);
        check_against_oracle(&content)?;
    }

    /// The same over bytes of pure chance.
    #[test]
    fn cobs_agrees_on_random_bytes(content in vec(any::<u8>(), 0..700)) {
        check_against_oracle(&content)?;
    }

    /// Stuffed bytes of pure chance: ours and the oracle agree on what is sound.
    #[test]
    fn cobs_agrees_on_random_lines(line in vec(1u8.., 1..300), short in vec(1u8..9, 1..40)) {
        for line in [line, short] {
            let mut buffer = vec![0; line.len()];
            let oracle = cobs::decode(&line, &mut buffer)
                .ok()
                .map(|report| buffer[..report.frame_size()].to_vec());
            prop_assert_eq!(unstuffed(&line), oracle);
        }
    }

    /// A whole frame against the two libraries.
    #[test]
    fn a_frame_is_cobs_of_payload_and_crc(payload in vec(any::<u8>(), 1..600)) {
        let crc = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(&payload);
        let content = [&payload[..], &crc.to_le_bytes()].concat();
        let expected = [&[0][..], &cobs::encode_vec(&content), &[0]].concat();
        let mut out = vec![0; expected.len()];
        prop_assert_eq!(frame::encode(&payload, &mut out), Ok(expected.len()));
        prop_assert_eq!(&out, &expected);
        let mut decoder = frame::Decoder::<604>::new();
        prop_assert_eq!(receive_with(&mut decoder, &out), [Received::Payload(payload)]);
    }
}

fn check_against_oracle(content: &[u8]) -> Result<(), TestCaseError> {
    let ours = stuffed(content);
    prop_assert!(!ours.contains(&0));
    // Paper, abstract: at most one byte in 254 is added, and one at least.
    prop_assert!(ours.len() <= content.len() + content.len().div_ceil(254).max(1));
    prop_assert_eq!(&ours, &cobs::encode_vec(content));
    prop_assert_eq!(unstuffed(&ours), Some(content.to_vec()));
    prop_assert_eq!(cobs::decode_vec(&ours).expect("sound"), content);
    let mut short = vec![0; ours.len() - 1];
    prop_assert_eq!(stuff(content.iter().copied(), &mut short), Err(FrameFull));
    Ok(())
}

/// The payload of `value`, by our encoder.
fn payload_of(value: &impl serde::Serialize) -> Vec<u8> {
    let mut out = [0; codec::MAX_FRAME];
    let used = codec::encode(value, &mut out).expect("small");
    match receive_with(&mut frame::Decoder::<100>::new(), &out[..used]).as_slice() {
        [Received::Payload(payload)] => payload.clone(),
        other => panic!("one frame gave {other:?}"),
    }
}

/// postcard, "The Postcard Wire Format" (version 1), table of unsigned numbers.
#[test]
fn unsigned_numbers_agree_with_the_specification() {
    let table: [(u16, &[u8]); 7] = [
        (0, &[0x00]),
        (127, &[0x7F]),
        (128, &[0x80, 0x01]),
        (16_383, &[0xFF, 0x7F]),
        (16_384, &[0x80, 0x80, 0x01]),
        (16_385, &[0x81, 0x80, 0x01]),
        (65_535, &[0xFF, 0xFF, 0x03]),
    ];
    for (number, bytes) in table {
        assert_eq!(payload_of(&number), bytes);
        assert_eq!(codec::decode::<u16>(bytes), Ok(number));
        assert_eq!(payload_of(&u32::from(number)), bytes);
    }
}

/// The same document, table of signed numbers. Its line for 32767 prints the
/// bytes FF FF 02, a misprint: by its own rule the zigzag form FFFE is FE FF 03.
#[test]
fn signed_numbers_agree_with_the_specification() {
    let table: [(i16, &[u8]); 9] = [
        (0, &[0x00]),
        (-1, &[0x01]),
        (1, &[0x02]),
        (63, &[0x7E]),
        (-64, &[0x7F]),
        (64, &[0x80, 0x01]),
        (-65, &[0x81, 0x01]),
        (32_767, &[0xFE, 0xFF, 0x03]),
        (-32_768, &[0xFF, 0xFF, 0x03]),
    ];
    for (number, bytes) in table {
        assert_eq!(payload_of(&number), bytes);
        assert_eq!(codec::decode::<i16>(bytes), Ok(number));
        assert_eq!(payload_of(&i32::from(number)), bytes);
    }
}

/// The same document, table on canonicalization: longer forms than needed are
/// read, forms beyond the type are not.
#[test]
fn long_forms_of_numbers_are_read_as_the_specification_says() {
    let read = |bytes: &[u8]| codec::decode::<u16>(bytes);
    assert_eq!(read(&[0x80, 0x00]), Ok(0));
    assert_eq!(read(&[0x80, 0x80, 0x00]), Ok(0));
    assert_eq!(read(&[0xFF, 0xFF, 0x03]), Ok(65_535));
    let refused = Err(DecodeFault::Malformed);
    assert_eq!(read(&[0x80, 0x80, 0x80, 0x00]), refused);
    assert_eq!(read(&[0xFF, 0xFF, 0x07]), refused);
    assert_eq!(read(&[0xFF, 0xFF, 0x83, 0x00]), refused);
}

/// The same document, table of longest forms: 3 bytes for 16 bits, 5 for 32; and
/// its sections on `bool`, `option`, `string` and `seq`.
#[test]
fn other_kinds_agree_with_the_specification() {
    assert_eq!(payload_of(&u16::MAX).len(), 3);
    assert_eq!(payload_of(&u32::MAX).len(), 5);
    assert_eq!(payload_of(&i32::MIN).len(), 5);
    assert_eq!(payload_of(&255u8), [0xFF]);
    assert_eq!(payload_of(&(false, true)), [0x00, 0x01]);
    assert_eq!(codec::decode::<bool>(&[2]), Err(DecodeFault::Malformed));
    assert_eq!(payload_of(&Some(5u8)), [0x01, 0x05]);
    assert_eq!(payload_of(&(None::<u8>, 7u8)), [0x00, 0x07]);
    assert_eq!(payload_of(&"kiln"), [0x04, b'k', b'i', b'l', b'n']);
    let list = heapless::Vec::<u16, 3>::from_slice(&[1, 128]).expect("two");
    assert_eq!(payload_of(&list), [0x02, 0x01, 0x80, 0x01]);
}

proptest! {
    #![proptest_config(support::many_cases())]

    /// Our writer of messages against the postcard crate's own, over every kind of
    /// message.
    #[test]
    fn messages_are_written_as_the_postcard_crate_writes_them(
        message in support::strategies::message()
    ) {
        let mut buffer = [0u8; 256];
        let theirs = match &message {
            Message::Request(request) => postcard::to_slice(request, &mut buffer),
            Message::Report(report) => postcard::to_slice(report, &mut buffer),
        };
        prop_assert_eq!(message.payload(), theirs.expect("room for any message").to_vec());
    }
}
