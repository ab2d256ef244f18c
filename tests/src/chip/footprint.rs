//! The room an image takes, and what its board may use (`budget.toml`).

use std::fs;

use scalewright::firmware::elf;
use scalewright::firmware::image::Image;

use super::emulator::{Board, image, root};

/// Bytes of an image.
#[derive(Clone, Copy, Debug)]
pub struct Footprint {
    /// In flash.
    pub flash: u64,
    /// In RAM before there is a stack.
    pub static_ram: u32,
}

/// What the image of a board takes.
///
/// # Errors
/// Why it can't be told.
pub fn footprint(board: Board) -> Result<Footprint, String> {
    let path = image(board);
    let content = fs::read(&path).map_err(|e| format!("{}: {e}", path.display()))?;
    let (_, parts) = Image::read(&content, board.room().start).map_err(|e| e.to_string())?;
    let static_ram = elf::static_ram(&content, &board.ram()).map_err(|e| e.to_string())?;
    Ok(Footprint {
        flash: parts.bytes() as u64,
        static_ram,
    })
}

/// A limit that a board set itself, by its name there.
///
/// # Errors
/// Why it can't be told.
pub fn budget(board: Board, name: &str) -> Result<u64, String> {
    let path = root().join(format!("firmware/{board}/budget.toml"));
    let text = fs::read_to_string(&path).map_err(|e| format!("{}: {e}", path.display()))?;
    let limits: toml::Table = text
        .parse()
        .map_err(|e| format!("{}: {e}", path.display()))?;
    let limit = limits.get(name).and_then(toml::Value::as_integer);
    let limit = limit.and_then(|limit| u64::try_from(limit).ok());
    limit.ok_or_else(|| format!("no {name} in {}", path.display()))
}
