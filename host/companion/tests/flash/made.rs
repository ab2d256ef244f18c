//! Images made for the tests, and the command as a user runs it.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};

use scalewright_protocol::checksum::crc32;
use scalewright_protocol::passport::{LAYOUT_VERSION, PASSPORT_BYTES, passport};

/// Where the passport stands in a made image.
const PASSPORT_AT: usize = 0x200;

/// A passport that says what it is told.
pub fn pass(board: &str, wire: u16, layout: u8) -> [u8; PASSPORT_BYTES] {
    let mut block = passport(board, (0, 3, 0));
    block[24..26].copy_from_slice(&wire.to_le_bytes());
    block[26] = layout;
    let crc = crc32(&block[..30]);
    block[30..34].copy_from_slice(&crc.to_le_bytes());
    block
}

/// Raw bytes of `length` that repeat nowhere near, with `passport` inside.
pub fn raw_with(length: usize, passport: &[u8]) -> Vec<u8> {
    let mut bytes: Vec<u8> = (0..length as u32)
        .map(|at| (at.wrapping_mul(2_654_435_761) >> 24) as u8)
        .collect();
    bytes[PASSPORT_AT..PASSPORT_AT + passport.len()].copy_from_slice(passport);
    bytes
}

/// A sound raw image for `board`.
pub fn raw(board: &str, length: usize) -> Vec<u8> {
    let wire = scalewright_protocol::WIRE_VERSION;
    raw_with(length, &pass(board, wire, LAYOUT_VERSION))
}

/// The same with the seal that its build gives it (table at the head of the
/// protocol's `passport.rs`).
pub fn sealed(image: &[u8]) -> Vec<u8> {
    let mut all = image.to_vec();
    let at = PASSPORT_AT + 34;
    all[at..at + 6].fill(0);
    let pieces = all.len().div_ceil(256);
    all.resize(pieces * 256, 0xFF);
    let crc = crc32(&all).to_le_bytes();
    all.truncate(image.len());
    all[at..at + 4].copy_from_slice(&crc);
    all[at + 4..at + 6].copy_from_slice(&(pieces as u16).to_le_bytes());
    all
}

/// One section of a made ELF file.
pub struct Section<'a> {
    /// Where it is while the program runs.
    pub runs_at: u32,
    /// Where it is loaded from; nothing for one that is not loaded.
    pub loads_at: Option<u32>,
    /// Its bytes.
    pub bytes: &'a [u8],
    /// Further bytes that are zero and not in the file.
    pub zeros: u32,
}

/// An ELF file of these sections, each in a segment of its own that, as some
/// linkers do it, begins before the section and holds a piece of the file's
/// header. Layout: "System V Application Binary Interface", chapter 4 and 5
/// (ELF header, section header, program header), 32 bits, little-endian.
pub fn elf(sections: &[Section]) -> Vec<u8> {
    let (header, segment, table) = (52u32, 32u32, 40u32);
    let count = sections.len() as u32;
    let first = header + count * segment;
    let total: u32 = sections.iter().map(|one| one.bytes.len() as u32).sum();
    let mut file = b"\x7FELF\x01\x01\x01".to_vec();
    file.resize(16, 0);
    let half = |file: &mut Vec<u8>, value: u32| {
        file.extend((value as u16).to_le_bytes());
    };
    let words = |file: &mut Vec<u8>, values: &[u32]| {
        file.extend(values.iter().flat_map(|word| word.to_le_bytes()));
    };
    half(&mut file, 2); // executable
    half(&mut file, 40); // for ARM
    words(&mut file, &[1, 0, header, first + total, 0]);
    for value in [header, segment, count, table, count + 2, count + 1] {
        half(&mut file, value);
    }
    let mut offset = first;
    for one in sections {
        let length = one.bytes.len() as u32;
        let loads_at = one.loads_at.unwrap_or(one.runs_at);
        let kind = u32::from(one.loads_at.is_some());
        // Before address 0 there is no room for it.
        let early = if loads_at == 0 { 0 } else { 4 };
        words(
            &mut file,
            &[
                kind,
                offset - early,
                one.runs_at.wrapping_sub(early),
                loads_at.wrapping_sub(early),
                length + early,
                length + early,
                5,
                4,
            ],
        );
        offset += length;
    }
    for one in sections {
        file.extend(one.bytes);
    }
    words(&mut file, &[0; 10]);
    let mut offset = first;
    for one in sections {
        let length = one.bytes.len() as u32;
        let in_file = !one.bytes.is_empty();
        let (kind, size) = if in_file { (1, length) } else { (8, one.zeros) };
        let runs = if one.loads_at.is_some() || !in_file {
            2
        } else {
            0
        };
        words(
            &mut file,
            &[0, kind, runs, one.runs_at, offset, size, 0, 0, 4, 0],
        );
        offset += length;
    }
    // The names of the sections: all empty, from a zero byte of the header.
    words(&mut file, &[0, 3, 0, 0, 8, 1, 0, 0, 1, 0]);
    file
}

/// A folder that goes when it is dropped.
pub struct Folder(PathBuf);

impl Folder {
    pub fn new() -> Self {
        static NUMBER: AtomicU32 = AtomicU32::new(0);
        let number = NUMBER.fetch_add(1, Ordering::Relaxed);
        let name = format!("scalewright-flash-tests-{}-{number}", std::process::id());
        let path = std::env::temp_dir().join(name);
        fs::create_dir_all(&path).expect("a temporary folder");
        Self(path)
    }

    pub fn path(&self) -> &Path {
        &self.0
    }

    /// Writes a file and returns its path as text.
    pub fn with(&self, name: &str, content: impl AsRef<[u8]>) -> String {
        let path = self.0.join(name);
        fs::write(&path, content).expect("write");
        path.display().to_string()
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

/// What a finished run left.
#[derive(Debug)]
pub struct Run {
    pub code: i32,
    pub out: String,
    pub err: String,
}

impl Run {
    /// A problem as people shall see it: exit code, a sentence that holds
    /// `what`, one line of advice, nothing too wide but for paths.
    pub fn is_problem(&self, code: i32, what: &str) -> &Self {
        assert_eq!(self.code, code, "{self:#?}");
        let err = self.err.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(err.contains(what), "no \"{what}\" in {self:#?}");
        let tries = self.err.lines().map(str::trim_start);
        assert_eq!(
            tries.filter(|line| line.starts_with("try ")).count(),
            1,
            "{self:#?}"
        );
        self.is_narrow()
    }

    /// No line is wider than 80 columns, but for paths.
    pub fn is_narrow(&self) -> &Self {
        for line in self.out.lines().chain(self.err.lines()) {
            let fits = line.chars().count() <= 80 || line.contains(std::path::MAIN_SEPARATOR);
            assert!(fits, "too wide: {line}");
        }
        self
    }
}

/// The command in `folder`.
pub fn command(folder: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_scalewright"));
    command
        .args(arguments)
        .current_dir(folder)
        .stdin(Stdio::null())
        .env("LC_ALL", "C.UTF-8");
    command
}

/// Runs it to its end.
pub fn finish(mut command: Command) -> Run {
    let output = command.output().expect("it runs");
    let run = Run {
        code: output.status.code().unwrap_or(-1),
        out: String::from_utf8(output.stdout).expect("UTF-8"),
        err: String::from_utf8(output.stderr).expect("UTF-8"),
    };
    assert!(!run.err.contains("panicked"), "{run:#?}");
    run
}
