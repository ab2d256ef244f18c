//! The drive a chip's ROM shows while it waits for firmware.
//!
//! It is known by the file INFO_UF2.TXT in its root ("UF2 file format
//! specification", microsoft/uf2, README, "Board identification"). What is
//! written there is not stored as a file: the ROM picks the blocks out of the
//! stream, programs them, and restarts when it has had them all ("RP2040
//! Datasheet", chapter on the bootrom). A board that is through is therefore a
//! drive that is gone, and reading the file back would prove nothing: it would
//! come from the laptop's own memory.

use std::fs::{self, File};
use std::io::{Read, Write};
use std::path::{Path, PathBuf};

use super::uf2::BLOCK;

/// What the ROM of the RP2040 calls itself ("RP2040 Datasheet", chapter on the
/// bootrom, contents of INFO_UF2.TXT).
const ROM_ID: &str = "RPI-RP2";

const INFO: &str = "INFO_UF2.TXT";

/// What of the information file is read at most, bytes.
const INFO_BYTES: u64 = 4096;

/// Blocks between two waits for the drive, so that progress tells of the chip
/// and not of the laptop's memory.
const BLOCKS_A_STEP: usize = 32;

/// A drive that takes firmware.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BootDrive {
    /// Its root.
    pub folder: PathBuf,
    /// Kind of board, as it says itself.
    pub board_id: String,
}

impl BootDrive {
    /// Whether it belongs to an RP2040.
    #[must_use]
    pub fn is_rp2040(&self) -> bool {
        self.board_id == ROM_ID
    }

    /// Whether it is still there.
    #[must_use]
    pub fn is_there(&self) -> bool {
        look_at(&self.folder).is_some()
    }
}

/// Why blocks could not be written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum CopyFault {
    /// The drive went away too early.
    Vanished {
        /// Blocks it had taken.
        taken: usize,
        /// Blocks there are.
        of: usize,
    },
    /// The system would not write.
    Refused {
        /// What the system said.
        cause: String,
        /// Whether for want of permission.
        permission: bool,
    },
}

impl std::fmt::Display for CopyFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Vanished { taken, of } => write!(
                f,
                "the boot drive went away while it was written, after {taken} of {of} blocks"
            ),
            Self::Refused { cause, .. } => write!(f, "the boot drive cannot be written: {cause}"),
        }
    }
}

impl std::error::Error for CopyFault {}

/// The boot drive at `folder`, if it is one.
#[must_use]
pub fn look_at(folder: &Path) -> Option<BootDrive> {
    let file = File::open(folder.join(INFO)).ok()?;
    let mut bytes = Vec::new();
    file.take(INFO_BYTES).read_to_end(&mut bytes).ok()?;
    let text = String::from_utf8_lossy(&bytes);
    let board_id = text.lines().find_map(|line| {
        let (name, value) = line.split_once(':')?;
        (name.trim().eq_ignore_ascii_case("board-id")).then(|| value.trim().to_string())
    })?;
    Some(BootDrive {
        folder: folder.into(),
        board_id,
    })
}

/// Every boot drive among the mounted volumes.
#[must_use]
pub fn search() -> Vec<BootDrive> {
    let mut folders = volumes();
    folders.sort();
    folders.dedup();
    folders.iter().filter_map(|one| look_at(one)).collect()
}

/// Where volumes are mounted, on whatever system this is.
fn volumes() -> Vec<PathBuf> {
    if cfg!(windows) {
        return ('A'..='Z')
            .map(|letter| PathBuf::from(format!("{letter}:\\")))
            .collect();
    }
    let mounts = fs::read_to_string("/proc/mounts").unwrap_or_default();
    let mut folders = mounted(&mounts);
    for base in ["/Volumes", "/media", "/run/media"] {
        let inner = below(Path::new(base));
        folders.extend(inner.iter().flat_map(|folder| below(folder)));
        folders.extend(inner);
    }
    folders
}

fn below(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    entries.map(|entry| entry.path()).collect()
}

/// Folders that FAT volumes are mounted on, from the text of /proc/mounts
/// (proc(5): fields by spaces; space, tab, line feed and backslash as octal).
fn mounted(mounts: &str) -> Vec<PathBuf> {
    let fields = mounts.lines().map(|line| line.split(' '));
    fields
        .filter_map(|mut fields| {
            let folder = fields.nth(1)?;
            let kind = fields.next()?;
            // Asking a far file server would take its time.
            matches!(kind, "vfat" | "msdos" | "fuseblk").then(|| unescaped(folder).into())
        })
        .collect()
}

fn unescaped(text: &str) -> String {
    [
        ("\\040", " "),
        ("\\011", "\t"),
        ("\\012", "\n"),
        ("\\134", "\\"),
    ]
    .iter()
    .fold(text.to_string(), |text, (code, plain)| {
        text.replace(code, plain)
    })
}

/// Writes `uf2` to the drive; `on_blocks` hears how many blocks are through.
///
/// # Errors
/// [`CopyFault`]. Losing the drive with the last blocks is no error: the board
/// restarts as soon as it has them, often before the system is done.
pub fn copy(
    drive: &BootDrive,
    uf2: &[u8],
    on_blocks: &mut dyn FnMut(usize),
) -> Result<(), CopyFault> {
    let of = uf2.len() / BLOCK;
    let refused = |error: &std::io::Error| CopyFault::Refused {
        cause: error.to_string(),
        permission: error.kind() == std::io::ErrorKind::PermissionDenied,
    };
    let mut file = File::create(drive.folder.join("firmware.uf2")).map_err(|e| refused(&e))?;
    let mut taken = 0;
    for step in uf2.chunks(BLOCKS_A_STEP * BLOCK) {
        let blocks = step.len() / BLOCK;
        let outcome = file.write_all(step).and_then(|()| file.sync_data());
        match outcome {
            Ok(()) => taken += blocks,
            Err(_) if !drive.is_there() && taken + blocks == of => taken = of,
            Err(_) if !drive.is_there() => return Err(CopyFault::Vanished { taken, of }),
            Err(error) => return Err(refused(&error)),
        }
        on_blocks(taken);
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn mounts_are_read_as_the_manual_says() {
        let text = "proc /proc proc rw 0 0\n\
            /dev/sda1 /media/me/BOOT vfat rw,nosuid 0 0\n\
            server:/home /home nfs rw 0 0\n\
            /dev/sdb1 /media/me/a\\040b\\134c vfat rw 0 0\nbroken\n";
        let folders = mounted(text);
        let expected: Vec<PathBuf> = vec!["/media/me/BOOT".into(), "/media/me/a b\\c".into()];
        assert_eq!(folders, expected);
    }
}
