//! Tables that were read from scales, kept on this laptop: what was in force
//! before can be shown beside what is.
//!
//! A scale holds the record before the one in force, and tells of it only that it
//! is there. So whatever `scalewright table` reads or writes is kept as a file
//! ([`super::table_file`]) under the number of its scale. Without a folder nothing
//! is kept, and nothing is refused for it.

use std::path::{Path, PathBuf};

use super::table_file::{self, SavedTable};

/// The tables of one scale.
#[derive(Clone, Debug)]
pub struct KeptTables {
    folder: PathBuf,
}

impl KeptTables {
    /// Those of a scale, under the folder where the user's programs keep data:
    /// `XDG_DATA_HOME`, else `.local/share` of `HOME`, else `LOCALAPPDATA`. `None`
    /// where the system names no such place.
    #[must_use]
    pub fn of(device: &str, named: &dyn Fn(&str) -> Option<PathBuf>) -> Option<Self> {
        let absolute = |path: &PathBuf| path.is_absolute();
        let root = named("XDG_DATA_HOME")
            .filter(absolute)
            .or_else(|| {
                named("HOME")
                    .filter(absolute)
                    .map(|home| home.join(".local/share"))
            })
            .or_else(|| named("LOCALAPPDATA").filter(absolute))?;
        let plain = device.chars().all(|letter| letter.is_ascii_alphanumeric());
        (plain && !device.is_empty()).then(|| Self {
            folder: root.join("scalewright").join("tables").join(device),
        })
    }

    /// Keeps a table under its change and checksum. What can't be written is not
    /// kept: nobody asked for it.
    pub fn keep(&self, table: &SavedTable, change: u32, checksum: u32) {
        let path = self.folder.join(file_name(change, checksum));
        if std::fs::create_dir_all(&self.folder).is_ok() {
            let _ = std::fs::write(path, table_file::write(table));
        }
    }

    /// The table of a change; of several the one kept last, since a new memory
    /// counts anew.
    #[must_use]
    pub fn of_change(&self, change: u32) -> Option<(PathBuf, SavedTable)> {
        let start = format!("{change:010}-");
        self.newest(&|name| name.starts_with(&start))
    }

    /// The table of a checksum; of several the one kept last.
    #[must_use]
    pub fn of_checksum(&self, checksum: u32) -> Option<(PathBuf, SavedTable)> {
        let end = format!("-{checksum:08x}.toml");
        self.newest(&|name| name.ends_with(&end))
    }

    /// Of the tables from before a change, without that of this checksum, the one kept
    /// last.
    #[must_use]
    pub fn other_before(&self, change: u32, unlike: u32) -> Option<(PathBuf, SavedTable)> {
        let parts = |name: &str| {
            let (number, rest) = name.split_once('-')?;
            let checksum = u32::from_str_radix(rest.strip_suffix(".toml")?, 16).ok()?;
            Some((number.parse::<u32>().ok()?, checksum))
        };
        self.newest(&|name| {
            parts(name).is_some_and(|(number, checksum)| number < change && checksum != unlike)
        })
    }

    fn newest(&self, fits: &dyn Fn(&str) -> bool) -> Option<(PathBuf, SavedTable)> {
        let entry = |entry: std::io::Result<std::fs::DirEntry>| {
            let entry = entry.ok()?;
            let name = entry.file_name().into_string().ok()?;
            let kept_at = entry.metadata().and_then(|found| found.modified()).ok()?;
            fits(&name).then_some((kept_at, name))
        };
        let mut all: Vec<_> = (std::fs::read_dir(&self.folder).ok()?)
            .filter_map(entry)
            .collect();
        all.sort();
        all.iter().rev().find_map(|(_, name)| {
            let path = self.folder.join(name);
            read(&path).map(|table| (path.clone(), table))
        })
    }
}

fn file_name(change: u32, checksum: u32) -> String {
    format!("{change:010}-{checksum:08x}.toml")
}

/// A file that somebody spoilt is none.
fn read(path: &Path) -> Option<SavedTable> {
    table_file::read(path).ok()
}
