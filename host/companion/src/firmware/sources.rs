//! What an image was made of, noted beside it.
//!
//! A build writes one line for each source file, its checksum and its path; whoever
//! uses the image compares. Contents tell more than times do: a fresh checkout has
//! new times, and a file put back as it was is no change.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use scalewright_protocol::checksum::crc32;

use super::board::Board;
use super::build::image_path;

/// What goes into every image, from the root of the source: folders whole.
const COMMON: [&str; 5] = [
    "Cargo.toml",
    "protocol/Cargo.toml",
    "protocol/src",
    "firmware/core/Cargo.toml",
    "firmware/core/src",
];

/// What works on the AVR's program between compiler and linker.
const SQUEEZE: &str = "host/companion/src/firmware/squeeze";

/// Where the note of a board's image lies.
fn note_path(root: &Path, board: Board) -> PathBuf {
    image_path(root, board).with_extension("sources")
}

/// The note for the source as it is now.
///
/// # Errors
/// What the system says of a file that cannot be read.
pub fn note(root: &Path, board: Board) -> Result<String, String> {
    let own = format!("firmware/{board}");
    let mut files = BTreeMap::new();
    for place in COMMON.iter().chain([&SQUEEZE, &own.as_str()]) {
        if *place != SQUEEZE || board == Board::Atmega328p {
            gather(root, &root.join(place), &mut files)?;
        }
    }
    let lines = files
        .iter()
        .map(|(name, sum)| format!("{sum:08x} {name}\n"));
    Ok(lines.collect())
}

fn gather(root: &Path, place: &Path, files: &mut BTreeMap<String, u32>) -> Result<(), String> {
    let said = |error: std::io::Error| format!("{}: {error}", place.display());
    // What is not there is no source; the build itself misses it, or does not.
    if !place.exists() {
        return Ok(());
    }
    if place.is_dir() {
        // What a build by hand leaves is no source.
        if place.ends_with("target") {
            return Ok(());
        }
        for entry in fs::read_dir(place).map_err(said)? {
            gather(root, &entry.map_err(said)?.path(), files)?;
        }
        return Ok(());
    }
    let content = fs::read(place).map_err(said)?;
    let name = place.strip_prefix(root).unwrap_or(place);
    let name = name.to_string_lossy().replace('\\', "/");
    files.insert(name, crc32(&content));
    Ok(())
}

/// Takes the note away: the image is being made.
pub(super) fn forget(root: &Path, board: Board) {
    let _ = fs::remove_file(note_path(root, board));
}

/// Lays the note beside the image.
///
/// # Errors
/// What the system said of the file.
pub(super) fn lay_down(root: &Path, board: Board, note: &str) -> Result<(), (PathBuf, String)> {
    let path = note_path(root, board);
    fs::write(&path, note).map_err(|error| (path, error.to_string()))
}

/// Whether the image was made of the source as it is now.
///
/// # Errors
/// In words, what it is older than.
pub fn is_of_today(root: &Path, board: Board) -> Result<(), String> {
    let now = note(root, board)?;
    let then = fs::read_to_string(note_path(root, board)).unwrap_or_default();
    if now == then {
        return Ok(());
    }
    if then.is_empty() {
        return Err("a source that nobody noted".into());
    }
    let differs = |a: &str, b: &str| -> Option<String> {
        let line = a
            .lines()
            .find(|line| !b.lines().any(|other| other == *line))?;
        Some(line.split_once(' ')?.1.to_string())
    };
    let file = differs(&now, &then).or_else(|| differs(&then, &now));
    Err(file.unwrap_or_else(|| "its source".into()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_of_any_source_is_told_by_its_name() {
        let root = std::env::temp_dir().join(format!("scalewright-sources-{}", std::process::id()));
        let write = |name: &str, text: &str| {
            let path = root.join(name);
            fs::create_dir_all(path.parent().expect("a folder")).expect("made");
            fs::write(path, text).expect("written");
        };
        for file in ["Cargo.toml", "protocol/Cargo.toml", "protocol/src/lib.rs"] {
            write(file, "a");
        }
        write("firmware/core/Cargo.toml", "a");
        write("firmware/core/src/deep/one.rs", "a");
        write("firmware/rp2040/src/main.rs", "a");
        fs::create_dir_all(root.join("firmware/images")).expect("made");
        let board = Board::Rp2040;
        let told = || is_of_today(&root, board);
        assert_eq!(told(), Err("a source that nobody noted".into()));
        let noted = note(&root, board).expect("read");
        lay_down(&root, board, &noted).expect("written");
        assert_eq!(told(), Ok(()));
        write("firmware/core/src/deep/one.rs", "b");
        assert_eq!(told(), Err("firmware/core/src/deep/one.rs".into()));
        write("firmware/core/src/deep/one.rs", "a");
        write("firmware/rp2040/target/x", "made by a build");
        assert_eq!(told(), Ok(()));
        write("protocol/src/new.rs", "");
        assert_eq!(told(), Err("protocol/src/new.rs".into()));
        fs::remove_file(root.join("protocol/src/new.rs")).expect("gone");
        fs::remove_file(root.join("firmware/rp2040/src/main.rs")).expect("gone");
        assert_eq!(told(), Err("firmware/rp2040/src/main.rs".into()));
        forget(&root, board);
        assert!(told().is_err());
        fs::remove_dir_all(&root).expect("cleared");
    }
}
