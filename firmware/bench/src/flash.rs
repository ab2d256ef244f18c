//! Two slots and two pages of flash that behave like the strictest chip and can lose power.
//!
//! An erased byte reads 0xFF; a byte is written at most once between erases,
//! even with the same value; with *fuel* set, power dies after so many bytes of
//! erasing and writing and nothing answers until it returns. The content is a
//! value ([`FlashImage`]) that outlives the device: put into a new one, it is
//! the same device switched on again.

use std::fmt;
use std::fs;
use std::io;
use std::path::Path;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use scalewright_core::ports::{Slot, Storage};

/// Bytes of one slot: a flash sector of the kind small boards have.
pub const SLOT_BYTES: usize = 4096;

/// Why flash refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FlashFault {
    /// Outside the slot.
    OutOfRange,
    /// The byte at this offset was written since the last erase.
    WrittenTwice {
        /// Offset in the slot.
        offset: usize,
    },
    /// The power is gone.
    NoPower,
}

impl fmt::Display for FlashFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::OutOfRange => f.write_str("outside the slot"),
            Self::WrittenTwice { offset } => write!(f, "byte {offset} was written already"),
            Self::NoPower => f.write_str("the power is gone"),
        }
    }
}

impl std::error::Error for FlashFault {}

/// Content of slots and pages, and which bytes were written since their erase.
#[derive(Clone, PartialEq, Eq)]
pub struct FlashImage {
    bytes: [Vec<u8>; AREAS],
    written: [Vec<bool>; AREAS],
}

/// Two slots, then two pages of the notebook, all of the same size.
const AREAS: usize = 4;

impl fmt::Debug for FlashImage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let used = |written: &Vec<bool>| written.iter().filter(|w| **w).count();
        f.debug_struct("FlashImage")
            .field("written_a", &used(&self.written[0]))
            .field("written_b", &used(&self.written[1]))
            .finish()
    }
}

impl Default for FlashImage {
    fn default() -> Self {
        Self::erased()
    }
}

/// First bytes of a saved image; the last is the version of the layout.
const MAGIC: &[u8; 8] = b"SWFLASH\x02";
/// Of an image without pages, as earlier versions saved it.
const MAGIC_OF_SLOTS: &[u8; 8] = b"SWFLASH\x01";

impl FlashImage {
    /// As from the factory: nothing ever written.
    #[must_use]
    pub fn erased() -> Self {
        Self {
            bytes: [(); AREAS].map(|()| vec![0xFF; SLOT_BYTES]),
            written: [(); AREAS].map(|()| vec![false; SLOT_BYTES]),
        }
    }

    /// With these contents of the slots, every byte counted as written: whatever a power
    /// cut or an older firmware left behind. Too short is filled with 0xFF.
    #[must_use]
    pub fn filled(a: &[u8], b: &[u8]) -> Self {
        let whole = |bytes: &[u8]| {
            let mut slot = bytes.to_vec();
            slot.resize(SLOT_BYTES, 0xFF);
            slot
        };
        let mut image = Self::erased();
        for (at, bytes) in [a, b].into_iter().enumerate() {
            image.bytes[at] = whole(bytes);
            image.written[at] = vec![true; SLOT_BYTES];
        }
        image
    }

    /// Bytes of a slot or page.
    #[must_use]
    pub fn slot(&self, slot: Slot) -> &[u8] {
        &self.bytes[index(slot)]
    }

    /// Writes the image to a file: 8 bytes of name and version, slots, pages,
    /// and a byte 0 or 1 for each of theirs that was written.
    ///
    /// # Errors
    /// Whatever the file system says.
    pub fn save(&self, path: &Path) -> io::Result<()> {
        let mut file = MAGIC.to_vec();
        for bytes in &self.bytes {
            file.extend_from_slice(bytes);
        }
        for written in &self.written {
            file.extend(written.iter().map(|w| u8::from(*w)));
        }
        fs::write(path, file)
    }

    /// Reads an image that [`Self::save`] wrote.
    ///
    /// # Errors
    /// Whatever the file system says, and `InvalidData` when it is no image.
    pub fn load(path: &Path) -> io::Result<Self> {
        let file = fs::read(path)?;
        let areas = if file.starts_with(MAGIC_OF_SLOTS) {
            AREAS / 2
        } else {
            AREAS
        };
        let body = file
            .strip_prefix(MAGIC)
            .or_else(|| file.strip_prefix(MAGIC_OF_SLOTS))
            .filter(|body| body.len() == 2 * areas * SLOT_BYTES)
            .ok_or_else(|| {
                io::Error::new(
                    io::ErrorKind::InvalidData,
                    "not a flash image of this bench: wrong beginning or length",
                )
            })?;
        let part = |n: usize| body[n * SLOT_BYTES..(n + 1) * SLOT_BYTES].to_vec();
        let mut image = Self::erased();
        for area in 0..areas {
            image.bytes[area] = part(area);
            image.written[area] = part(areas + area).iter().map(|b| *b != 0).collect();
        }
        Ok(image)
    }
}

#[derive(Debug)]
struct Chip {
    image: FlashImage,
    fuel: Option<u64>,
    dead: bool,
}

impl Chip {
    fn burn(&mut self) -> Result<(), FlashFault> {
        match &mut self.fuel {
            Some(0) => {
                self.dead = true;
                Err(FlashFault::NoPower)
            }
            Some(left) => {
                *left -= 1;
                Ok(())
            }
            None => Ok(()),
        }
    }

    fn alive(&self) -> Result<(), FlashFault> {
        if self.dead {
            Err(FlashFault::NoPower)
        } else {
            Ok(())
        }
    }
}

/// The flash of one device. Clones are the same chip, so that the bench can
/// look inside while the firmware holds it.
#[derive(Clone, Debug)]
pub struct SimFlash(Arc<Mutex<Chip>>);

impl SimFlash {
    /// A chip with this content.
    #[must_use]
    pub fn new(image: FlashImage) -> Self {
        Self(Arc::new(Mutex::new(Chip {
            image,
            fuel: None,
            dead: false,
        })))
    }

    fn chip(&self) -> MutexGuard<'_, Chip> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A copy of the content.
    #[must_use]
    pub fn image(&self) -> FlashImage {
        self.chip().image.clone()
    }

    /// Power dies when `bytes` more have been erased or written; `None` = never.
    pub fn set_fuel(&self, bytes: Option<u64>) {
        self.chip().fuel = bytes;
    }

    /// Whether the power is gone.
    #[must_use]
    pub fn is_dead(&self) -> bool {
        self.chip().dead
    }

    /// The power returns, without limit.
    pub fn revive(&self) {
        let mut chip = self.chip();
        chip.dead = false;
        chip.fuel = None;
    }
}

fn index(slot: Slot) -> usize {
    match slot {
        Slot::A => 0,
        Slot::B => 1,
        Slot::NotesA => 2,
        Slot::NotesB => 3,
    }
}

impl Storage for SimFlash {
    type Error = FlashFault;
    const HAS_ROOM: bool = true;
    const PAGE_BYTES: usize = SLOT_BYTES;

    fn slot_bytes(&self) -> usize {
        SLOT_BYTES
    }

    fn read(&mut self, slot: Slot, offset: usize, into: &mut [u8]) -> Result<(), FlashFault> {
        let chip = self.chip();
        chip.alive()?;
        let end = offset
            .checked_add(into.len())
            .ok_or(FlashFault::OutOfRange)?;
        let from = chip.image.bytes[index(slot)]
            .get(offset..end)
            .ok_or(FlashFault::OutOfRange)?;
        into.copy_from_slice(from);
        Ok(())
    }

    /// Erases everything from `from` on at once.
    fn erase(&mut self, slot: Slot, from: usize) -> Result<Option<usize>, FlashFault> {
        let mut chip = self.chip();
        chip.alive()?;
        for at in from..SLOT_BYTES {
            chip.burn()?;
            chip.image.bytes[index(slot)][at] = 0xFF;
            chip.image.written[index(slot)][at] = false;
        }
        Ok(None)
    }

    fn write(&mut self, slot: Slot, offset: usize, bytes: &[u8]) -> Result<(), FlashFault> {
        let mut chip = self.chip();
        chip.alive()?;
        let end = offset
            .checked_add(bytes.len())
            .filter(|end| *end <= SLOT_BYTES)
            .ok_or(FlashFault::OutOfRange)?;
        let slot = index(slot);
        if let Some(at) = (offset..end).find(|at| chip.image.written[slot][*at]) {
            return Err(FlashFault::WrittenTwice { offset: at });
        }
        for (at, byte) in (offset..end).zip(bytes) {
            chip.burn()?;
            chip.image.bytes[slot][at] = *byte;
            chip.image.written[slot][at] = true;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(flash: &mut SimFlash, slot: Slot, offset: usize) -> Result<u8, FlashFault> {
        let mut byte = [0];
        flash.read(slot, offset, &mut byte).map(|()| byte[0])
    }

    #[test]
    fn a_byte_is_written_once_between_erases() {
        let mut flash = SimFlash::new(FlashImage::erased());
        assert_eq!(read(&mut flash, Slot::A, 3), Ok(0xFF));
        flash.write(Slot::A, 2, &[7, 0xFF]).expect("first");
        assert_eq!(
            flash.write(Slot::A, 3, &[1]),
            Err(FlashFault::WrittenTwice { offset: 3 }),
            "even a byte written as 0xFF"
        );
        assert_eq!(flash.write(Slot::B, 3, &[1]), Ok(()));
        flash.erase(Slot::A, 0).expect("erase");
        assert_eq!(read(&mut flash, Slot::A, 2), Ok(0xFF));
        assert_eq!(read(&mut flash, Slot::B, 3), Ok(1));
        assert_eq!(flash.write(Slot::A, 3, &[1]), Ok(()));
    }

    #[test]
    fn nothing_reaches_past_the_end() {
        let mut flash = SimFlash::new(FlashImage::erased());
        assert_eq!(
            flash.write(Slot::A, SLOT_BYTES - 1, &[1, 2]),
            Err(FlashFault::OutOfRange)
        );
        assert_eq!(read(&mut flash, Slot::A, SLOT_BYTES - 1), Ok(0xFF));
        assert_eq!(
            read(&mut flash, Slot::A, SLOT_BYTES),
            Err(FlashFault::OutOfRange)
        );
        assert_eq!(
            flash.write(Slot::A, usize::MAX, &[1]),
            Err(FlashFault::OutOfRange)
        );
    }

    #[test]
    fn power_dies_after_its_fuel_and_the_content_stays_torn() {
        let mut flash = SimFlash::new(FlashImage::erased());
        flash.set_fuel(Some(3));
        assert_eq!(
            flash.write(Slot::A, 0, &[1, 2, 3, 4]),
            Err(FlashFault::NoPower)
        );
        assert!(flash.is_dead());
        assert_eq!(read(&mut flash, Slot::A, 0), Err(FlashFault::NoPower));
        flash.revive();
        let mut after = SimFlash::new(flash.image());
        let mut bytes = [0; 5];
        after.read(Slot::A, 0, &mut bytes).expect("alive");
        assert_eq!(bytes, [1, 2, 3, 0xFF, 0xFF]);
        // An erase is as slow as a write: it can be cut as well.
        after.set_fuel(Some(1));
        assert_eq!(after.erase(Slot::A, 0), Err(FlashFault::NoPower));
        after.revive();
        assert_eq!(read(&mut after, Slot::A, 0), Ok(0xFF));
        assert_eq!(read(&mut after, Slot::A, 1), Ok(2));
    }

    #[test]
    fn an_image_survives_a_file() {
        let mut flash = SimFlash::new(FlashImage::erased());
        flash.write(Slot::B, 100, b"glaze").expect("write");
        let path = std::env::temp_dir().join(format!("flash-image-{}", std::process::id()));
        flash.image().save(&path).expect("save");
        let back = FlashImage::load(&path).expect("load");
        // As version 1 had it: without pages.
        let saved = fs::read(&path).expect("read");
        let slots = 8..8 + 2 * SLOT_BYTES;
        let flags = 8 + 4 * SLOT_BYTES..8 + 6 * SLOT_BYTES;
        let before = [MAGIC_OF_SLOTS, &saved[slots], &saved[flags]].concat();
        fs::write(&path, before).expect("write");
        let of_before = FlashImage::load(&path).expect("load");
        fs::write(&path, b"something else").expect("write");
        let refused = FlashImage::load(&path).expect_err("no image");
        fs::remove_file(&path).expect("remove");
        assert_eq!(back, flash.image());
        assert_eq!(of_before, flash.image());
        assert_eq!(refused.kind(), io::ErrorKind::InvalidData);
    }
}
