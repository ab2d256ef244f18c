//! The seal of an image: a checksum over all of it, in its passport's last bytes.
//!
//! The build puts it in, since nobody knows the image before it is linked. A
//! file that was cut, or in which a byte changed, is told by it before anything
//! is written: a loader that reads back would find just what it wrote. Images
//! fresh from a linker have none, and may be flashed.

use scalewright_protocol::checksum::crc32;
use scalewright_protocol::passport::{Passport, SEAL_AT, SEAL_BYTES};

/// Lengths are counted in pieces of so many bytes, as flash is written; the last
/// is filled up as erased flash reads.
const PIECE: usize = 256;

/// The seal as it stands in the image.
type Seal = [u8; SEAL_BYTES];

const OPEN: Seal = [0; SEAL_BYTES];

/// The seal that fits the image in `flat`, from its first byte to its last;
/// none for one without a passport, or longer than 16 MiB.
fn fitting(flat: &[u8], pieces: u16) -> Option<Seal> {
    let at = Passport::place(flat)? + SEAL_AT;
    let mut all = flat.to_vec();
    all.resize(usize::from(pieces) * PIECE, 0xFF);
    all.get_mut(at..at + SEAL_BYTES)?.copy_from_slice(&OPEN);
    let [a, b, c, d] = crc32(&all).to_le_bytes();
    let [e, f] = pieces.to_le_bytes();
    Some([a, b, c, d, e, f])
}

fn standing(flat: &[u8]) -> Option<Seal> {
    let at = Passport::place(flat)? + SEAL_AT;
    flat.get(at..)?.first_chunk().copied()
}

/// Whether the image has no seal, or one that fits it.
#[must_use]
pub fn holds(flat: &[u8]) -> bool {
    let Some(seal) = standing(flat) else {
        return true;
    };
    let [.., low, high] = seal;
    let pieces = u16::from_le_bytes([low, high]);
    // What lies beyond, as some files carry it, is no longer the image.
    let beyond = flat.get(usize::from(pieces) * PIECE..).unwrap_or(&[]);
    seal == OPEN || (fitting(flat, pieces) == Some(seal) && beyond.iter().all(|byte| *byte == 0xFF))
}

/// Seals `file`, which holds the image's bytes somewhere, for the image `flat`;
/// leaves it as it is where it cannot be sealed.
pub fn put(file: &mut [u8], flat: &[u8]) {
    let pieces = u16::try_from(flat.len().div_ceil(PIECE)).ok();
    let seal = pieces.and_then(|pieces| fitting(flat, pieces));
    if let (Some(seal), Some(at)) = (seal, Passport::place(file))
        && let Some(place) = file.get_mut(at + SEAL_AT..at + SEAL_AT + SEAL_BYTES)
    {
        place.copy_from_slice(&seal);
    }
}

#[cfg(test)]
mod tests {
    use scalewright_protocol::passport::passport;

    use super::*;

    fn image(length: u8) -> Vec<u8> {
        let more: Vec<u8> = (0..length).map(|n| n.wrapping_mul(77)).collect();
        let pass = passport("rp2040", (0, 1, 0));
        [&more[..], &pass[..], &more[..]].concat()
    }

    #[test]
    fn a_sealed_image_holds_and_any_other_byte_or_end_does_not() {
        let flat = image(200);
        assert!(holds(&flat), "fresh from the linker");
        let mut sealed = flat.clone();
        put(&mut sealed, &flat);
        assert_ne!(sealed, flat);
        assert!(holds(&sealed));
        for at in 0..sealed.len() {
            let mut other = sealed.clone();
            other[at] ^= 0x10;
            // A broken passport is refused for itself.
            let foreign = Passport::place(&other).is_none();
            assert!(foreign || !holds(&other), "byte {at}");
            let cut = &sealed[..at];
            assert!(Passport::place(cut).is_none() || !holds(cut), "cut at {at}");
        }
    }

    /// Formats that write whole pages fill the last one up.
    #[test]
    fn what_is_filled_up_holds_too() {
        let flat = image(200);
        let mut sealed = flat.clone();
        put(&mut sealed, &flat);
        sealed.resize(2 * PIECE, 0xFF);
        assert!(holds(&sealed));
        sealed.push(0);
        assert!(!holds(&sealed));
    }
}
