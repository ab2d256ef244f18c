//! WIRE.md tells the truth: its tables decode every golden message to what Rust
//! prints of the value, and its worked frames are what the encoder writes.

mod support;

use scalewright_protocol::WIRE_VERSION;
use scalewright_protocol::checksum::crc32;
use scalewright_protocol::codec::{self, MAX_FRAME, MAX_PAYLOAD};
use scalewright_protocol::message::{Flags, KNOTS_PER_MESSAGE, LOG_BYTES, Report, Request};
use scalewright_protocol::settings::Conduct;
use support::document::Document;
use support::{Message, Received, receive, unhex, vectors};

const TEXT: &str = include_str!("../WIRE.md");

fn kind(message: &Message) -> &'static str {
    match message {
        Message::Request(_) => "Request",
        Message::Report(_) => "Report",
    }
}

/// Names, order, types and tags of the document against the bytes and the values.
#[test]
fn the_tables_decode_every_golden_message() {
    let document = Document::read(TEXT);
    for vector in vectors::all() {
        let printed = document.print(kind(&vector.message), &vector.message.payload());
        assert_eq!(printed, vector.message.text(), "{}", vector.name);
    }
}

/// Nothing is documented that does not exist: every variant of the document occurs
/// in what is printed of the golden messages.
#[test]
fn the_tables_have_no_more_than_there_is() {
    let printed: Vec<String> = vectors::all().iter().map(|v| v.message.text()).collect();
    let words: Vec<&str> = printed
        .iter()
        .flat_map(|text| text.split(|c: char| !c.is_alphanumeric()))
        .collect();
    let variants = Document::read(TEXT).variants();
    assert_eq!(variants.len(), 22 + 4 + 9 + 4 + 5 + 3 + 18 + 8 + 7 + 4 + 3);
    for variant in variants {
        let (_, name) = variant.split_once("::").expect("Type::Variant");
        assert!(words.contains(&name), "{variant}");
    }
}

#[test]
fn the_bits_are_where_the_document_says() {
    let flags = [
        ("STABLE", Flags::STABLE),
        ("AT_ZERO", Flags::AT_ZERO),
        ("NET", Flags::NET),
        ("NOT_CALIBRATED", Flags::NOT_CALIBRATED),
        ("OVERLOAD", Flags::OVERLOAD),
        ("UNDERLOAD", Flags::UNDERLOAD),
        ("SATURATED", Flags::SATURATED),
        ("ADC_SILENT", Flags::ADC_SILENT),
        ("ADC_STUCK", Flags::ADC_STUCK),
        ("SETTLING", Flags::SETTLING),
        ("CONTINUED", Flags::CONTINUED),
        ("SPIKE", Flags::SPIKE),
        ("FELL_BACK", Flags::FELL_BACK),
        ("OTHER_LAYOUT", Flags::OTHER_LAYOUT),
        ("TRIAL", Flags::TRIAL),
        ("SEALED", Flags::SEALED),
    ];
    let document = Document::read(TEXT);
    assert_eq!(document.bits("Flags").len(), flags.len());
    for (bit, (name, flag)) in flags.into_iter().enumerate() {
        assert_eq!(document.bits("Flags")[bit], name);
        assert_eq!(flag, Flags(1 << bit), "{name}");
        assert!(Flags(u16::MAX).has(flag) && !Flags(0).any(flag));
        assert_eq!(Flags::default().with_if(flag, true).with(flag), flag);
        assert_eq!(Flags::default().with_if(flag, false), Flags(0));
    }
}

#[test]
fn the_bits_of_the_conduct_are_those_of_the_code() {
    let document = Document::read(TEXT);
    let conduct = [
        ("TRACKS_ZERO", Conduct::TRACKS_ZERO),
        ("STARTS_AT_ZERO", Conduct::STARTS_AT_ZERO),
        ("SEALED", Conduct::SEALED),
    ];
    assert_eq!(document.bits("Conduct").len(), conduct.len());
    let mut all = Conduct::default();
    for (bit, (name, one)) in conduct.into_iter().enumerate() {
        assert_eq!(document.bits("Conduct")[bit], name);
        assert_eq!(one, Conduct(1 << bit), "{name}");
        assert!(!all.has(one) && all.with(one).has(one));
        assert_eq!(all.with(one).without(one), all);
        all = all.with(one);
    }
    assert_eq!(all, Conduct::ALL);
}

#[test]
fn the_limits_are_those_of_the_code() {
    let document = Document::read(TEXT);
    let stated = |name: &str| usize::try_from(document.limit(name)).expect("positive");
    let payloads = vectors::all()
        .into_iter()
        .map(|v| v.message.payload().len());
    assert_eq!(stated("WIRE_VERSION"), usize::from(WIRE_VERSION));
    assert_eq!(stated("MAX_PAYLOAD"), MAX_PAYLOAD);
    assert_eq!(stated("MAX_FRAME"), MAX_FRAME);
    assert_eq!(stated("KNOTS_PER_MESSAGE"), KNOTS_PER_MESSAGE);
    assert_eq!(stated("LOG_BYTES"), LOG_BYTES);
    assert_eq!(Some(stated("longest message")), payloads.max());
}

/// The rest of the line of `block` that begins with `key`.
fn entry<'a>(block: &'a str, key: &str) -> &'a str {
    let mut lines = block.lines().filter_map(|line| line.strip_prefix(key));
    let first = lines
        .next()
        .unwrap_or_else(|| panic!("no {key} in {block}"));
    assert_eq!(lines.next(), None, "{key} twice in {block}");
    first.trim()
}

/// The bytes at the front of the indented lines of `block`.
fn pieces(block: &str) -> Vec<u8> {
    let is_byte = |word: &&str| {
        word.len() == 2
            && word
                .chars()
                .all(|c| c.is_ascii_hexdigit() && !c.is_uppercase())
    };
    let lines = block.lines().filter_map(|line| line.strip_prefix("  "));
    // The bytes end at two blanks; the explanation may begin like a byte.
    let bytes = lines.map(|line| line.split("  ").next().unwrap_or_default());
    bytes
        .flat_map(|bytes| {
            assert!(bytes.split(' ').all(|word| is_byte(&word)), "{bytes:?}");
            unhex(bytes)
        })
        .collect()
}

#[test]
fn the_worked_frames_are_right() {
    let blocks: Vec<&str> = TEXT
        .split("```worked\n")
        .skip(1)
        .map(|rest| rest.split("```").next().unwrap_or_default())
        .collect();
    assert_eq!(blocks.len(), 6);
    for block in blocks {
        let means = entry(block, "means ");
        let payload = unhex(entry(block, "payload "));
        let frame = unhex(entry(block, "frame "));
        assert_eq!(pieces(block), payload, "{means}");
        assert_eq!(
            crc32(&payload).to_le_bytes().to_vec(),
            unhex(entry(block, "crc "))
        );
        assert_eq!(
            receive(&frame),
            [Received::Payload(payload.clone())],
            "{means}"
        );
        let message = if means.starts_with("Request") {
            Message::Request(codec::decode::<Request>(&payload).expect(means))
        } else {
            Message::Report(codec::decode::<Report>(&payload).expect(means))
        };
        assert_eq!(message.text(), means);
        assert_eq!(message.frame(), frame, "{means}");
        assert_eq!(Document::read(TEXT).print(kind(&message), &payload), means);
    }
}
