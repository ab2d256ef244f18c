//! Whatever arrives, nothing breaks: random lines, damaged frames, random
//! payloads. Tables have their own file, `tests/table.rs`.

mod support;

use proptest::collection::vec;
use proptest::prelude::*;
use scalewright_protocol::checksum::{Running, crc32};
use scalewright_protocol::codec::{self, MAX_FRAME, MAX_PAYLOAD};
use scalewright_protocol::frame::{self, Decoder, FrameFault, FrameFull};
use scalewright_protocol::message::{Answer, Report, Request};
use support::strategies::message;
use support::{Received, receive, receive_with, vectors};

const CAPACITY: usize = MAX_PAYLOAD + 4;

/// Bytes as a noisy line gives them: zeros and block codes more often than chance.
fn noise(most: usize) -> impl Strategy<Value = Vec<u8>> {
    let byte = prop_oneof![Just(0u8), Just(1), Just(0xFF), 2u8..=9, any::<u8>()];
    vec(byte, 0..most)
}

proptest! {
    #![proptest_config(support::many_cases())]

    /// No garbage keeps the decoder from the frame after it. Garbage made of few
    /// values may hold a sound frame by itself, once in millions of cases (0xFF
    /// has the CRC 0xFF000000): so much is read of it either way.
    #[test]
    fn the_frame_after_garbage_is_read(garbage in noise(400), message in message()) {
        let payloads = |line: &[u8]| -> Vec<Vec<u8>> {
            let sound = |received| match received {
                Received::Payload(payload) => Some(payload),
                Received::Broken(_) => None,
            };
            receive(line).into_iter().filter_map(sound).collect()
        };
        let alone = payloads(&[&garbage[..], &[0]].concat());
        let mut both = payloads(&[&garbage[..], &message.frame()].concat());
        let last = both.pop().expect("a frame");
        prop_assert_eq!(both, alone);
        prop_assert_eq!(message.decode_same_way(&last), Ok(message));
    }

    /// Chunks are the transport's affair: any cut gives the same events.
    #[test]
    fn cutting_a_line_changes_nothing(
        messages in vec(message(), 0..5),
        between in noise(20),
        chunk in 1usize..50,
    ) {
        let mut line = Vec::new();
        for message in &messages {
            line.extend(message.frame());
            line.extend(&between);
        }
        let mut decoder = Decoder::<CAPACITY>::new();
        let cut: Vec<Received> = line
            .chunks(chunk)
            .flat_map(|part| receive_with(&mut decoder, part))
            .collect();
        prop_assert_eq!(cut, receive(&line));
    }

    /// Every frame among frames is read, in order.
    #[test]
    fn frames_in_a_row_are_all_read(messages in vec(message(), 0..8)) {
        let line: Vec<u8> = messages.iter().flat_map(|m| m.frame()).collect();
        let read: Vec<Received> = receive(&line);
        let sent: Vec<Received> =
            messages.iter().map(|m| Received::Payload(m.payload())).collect();
        prop_assert_eq!(read, sent);
    }

    /// Decoding undoes encoding, and every message fits.
    #[test]
    fn messages_survive_the_way(message in message()) {
        let payload = message.payload();
        prop_assert!(payload.len() <= MAX_PAYLOAD);
        prop_assert!(message.frame().len() <= MAX_FRAME);
        prop_assert_eq!(message.decode_same_way(&payload), Ok(message));
    }

    /// A message with more behind it is no message.
    #[test]
    fn trailing_bytes_are_refused(message in message(), more in vec(any::<u8>(), 1..9)) {
        let mut payload = message.payload();
        payload.extend(more);
        prop_assert_eq!(
            message.decode_same_way(&payload),
            Err(codec::DecodeFault::Trailing)
        );
    }

    /// A message that lost its end is no message.
    #[test]
    fn cut_messages_are_refused(message in message(), keep in any::<prop::sample::Index>()) {
        let payload = message.payload();
        let kept = &payload[..keep.index(payload.len())];
        prop_assert_eq!(
            message.decode_same_way(kept),
            Err(codec::DecodeFault::Malformed)
        );
    }

    /// Random payloads give a message or a fault; what is taken for a message
    /// can be written again and means the same.
    #[test]
    fn random_payloads_do_no_harm(payload in noise(MAX_PAYLOAD + 10)) {
        let mut out = [0; MAX_FRAME];
        if let Ok(request) = codec::decode::<Request>(&payload) {
            prop_assert!(codec::encode(&request, &mut out).is_ok());
        }
        if let Ok(report) = codec::decode::<Report>(&payload) {
            prop_assert!(codec::encode(&report, &mut out).is_ok());
            if let Report::Answer { answer: Answer::Hello(hello), .. } = report {
                prop_assert_eq!(
                    codec::greeting_version(&payload),
                    Some(hello.wire_version)
                );
            }
        }
        // Of payloads that are no message these may say anything, but say it.
        let _ = codec::greeting_version(&payload);
    }

    /// Only the answer to a greeting tells a version, whatever follows it.
    #[test]
    fn a_version_is_read_from_a_strange_greeting(
        id in any::<u16>(),
        version in any::<u16>(),
        strange in noise(40),
    ) {
        let mut payload = vec![0];
        varint(id, &mut payload);
        payload.push(1);
        varint(version, &mut payload);
        payload.extend(strange);
        prop_assert_eq!(codec::greeting_version(&payload), Some(version));
        payload[0] = 1;
        prop_assert_eq!(codec::greeting_version(&payload), None);
    }

    /// Flipped bits never give another payload. CRC-32 finds up to three of
    /// them in content of this length; a flip in a code byte or a delimiter
    /// changes more, and then chance passes one frame in 2^32.
    #[test]
    fn flipped_bits_are_caught(
        message in message(),
        flips in vec(any::<prop::sample::Index>(), 1..=3),
    ) {
        let mut line = message.frame();
        let bits = line.len() * 8;
        for flip in flips {
            let bit = flip.index(bits);
            line[bit / 8] ^= 1 << (bit % 8);
        }
        line.push(0);
        for received in receive(&line) {
            if let Received::Payload(payload) = received {
                prop_assert_eq!(payload, message.payload());
            }
        }
    }

    /// Frames too long for the receiver are dropped, and the next one is read.
    #[test]
    fn long_frames_are_dropped(
        payload in vec(any::<u8>(), MAX_PAYLOAD + 1..600),
        message in message(),
    ) {
        let mut line = vec![0; 700];
        let used = frame::encode(&payload, &mut line).expect("700 bytes are enough");
        line.truncate(used);
        line.extend(message.frame());
        prop_assert_eq!(
            receive(&line),
            [Received::Broken(FrameFault::TooLong), Received::Payload(message.payload())]
        );
    }

    /// A short buffer is an error, never a cut frame.
    #[test]
    fn short_buffers_are_refused(message in message(), room in 0usize..MAX_FRAME) {
        let frame = message.frame();
        let mut out = vec![0; room];
        let wrote = frame::encode(&message.payload(), &mut out);
        if room >= frame.len() {
            prop_assert_eq!(wrote, Ok(frame.len()));
            prop_assert_eq!(&out[..frame.len()], frame);
        } else {
            prop_assert_eq!(wrote, Err(FrameFull));
        }
    }

    /// A checksum in pieces is the checksum of the whole.
    #[test]
    fn checksums_join(left in vec(any::<u8>(), 0..99), right in vec(any::<u8>(), 0..99)) {
        let mut running = Running::new();
        running.update(&left);
        running.update(&right);
        prop_assert_eq!(running.finish(), crc32(&[left, right].concat()));
    }
}

/// One bit after the other, in every golden message: the frame is lost, never
/// misread.
#[test]
fn each_single_flipped_bit_is_caught() {
    for vector in vectors::all() {
        let frame = vector.message.frame();
        let payload = vector.message.payload();
        for bit in 0..frame.len() * 8 {
            let mut line = frame.clone();
            line[bit / 8] ^= 1 << (bit % 8);
            line.extend(&frame);
            let sound: Vec<Received> = receive(&line)
                .into_iter()
                .filter(|r| matches!(r, Received::Payload(_)))
                .collect();
            assert_eq!(
                sound,
                [Received::Payload(payload.clone())],
                "{} {bit}",
                vector.name
            );
        }
    }
}

/// Each kind of damage has its name.
#[test]
fn damage_is_named() {
    let cut = [Received::Broken(FrameFault::Cut)];
    assert_eq!(receive(&[0, 0, 0, 0]), []);
    assert_eq!(receive(&[3, 1, 0]), cut);
    assert_eq!(receive(&[4, 1, 2, 3, 0]), cut);
    assert_eq!(receive(&[5, 1, 2, 3, 4, 0]), cut);
    let wrong = [Received::Broken(FrameFault::Checksum)];
    assert_eq!(receive(&[6, 1, 2, 3, 4, 5, 0]), wrong);
    let long = [&[1u8; CAPACITY + 2][..], &[0]].concat();
    assert_eq!(receive(&long), [Received::Broken(FrameFault::TooLong)]);
}

/// Noise of bytes 0x01 looks like the frame of no payload, whose CRC-32 is 0.
#[test]
fn a_frame_of_nothing_is_dropped() {
    let mut out = [0; 8];
    let used = frame::encode(&[], &mut out).expect("7 bytes");
    assert_eq!(out[..used], [0, 1, 1, 1, 1, 1, 0]);
    assert_eq!(receive(&out[..used]), [Received::Broken(FrameFault::Cut)]);
}

fn varint(value: u16, into: &mut Vec<u8>) {
    let mut rest = value;
    while rest > 0x7F {
        into.push(u8::try_from(rest & 0x7F).expect("seven bits") | 0x80);
        rest >>= 7;
    }
    into.push(u8::try_from(rest).expect("seven bits"));
}

/// A byte with the checksum that happens to be its own is a frame.
#[test]
fn garbage_that_is_a_frame_is_one() {
    let garbage = [2, 0xFF, 1, 1, 2, 0xFF, 0];
    assert_eq!(receive(&garbage), [Received::Payload(vec![0xFF])]);
}

#[test]
fn a_request_with_a_strange_tag_is_not_understood() {
    let mut payload = Vec::new();
    varint(4_711, &mut payload);
    payload.push(0x7F);
    assert_eq!(
        codec::decode::<Request>(&payload),
        Err(codec::DecodeFault::Malformed)
    );
}
