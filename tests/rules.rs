//! The walls of the house: which crate and which module may know which.
//! Crate walls are read from `cargo metadata`, module walls from the sources.

mod support;

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;
use support::root;

/// Names of what `package` depends on, but for its tests.
fn dependencies(package: &str) -> BTreeSet<String> {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let output = Command::new(cargo)
        .args(["metadata", "--format-version", "1", "--no-deps"])
        .current_dir(root())
        .output()
        .expect("cargo runs");
    assert!(output.status.success());
    let found: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let packages = found["packages"].as_array().expect("packages");
    let one = packages
        .iter()
        .find(|one| one["name"] == package)
        .unwrap_or_else(|| panic!("no package {package}"));
    one["dependencies"]
        .as_array()
        .expect("dependencies")
        .iter()
        .filter(|one| one["kind"] != "dev")
        .map(|one| one["name"].as_str().expect("a name").to_string())
        .collect()
}

fn names(all: &[&str]) -> BTreeSet<String> {
    all.iter().map(ToString::to_string).collect()
}

/// Sources under a folder of the repository, or the one file named, without
/// comments and without the tests at their end, as (path from the root, line
/// number, line).
fn lines(place: &str) -> Vec<(String, usize, String)> {
    let mut files = Vec::new();
    gather(&root().join(place), &mut files);
    assert!(!files.is_empty(), "nothing under {place}");
    let mut all = Vec::new();
    for file in files {
        let text = fs::read_to_string(&file).expect("a source file");
        let text = text
            .split("#[cfg(test)]\nmod tests {")
            .next()
            .unwrap_or_default();
        let text = text
            .split("#[cfg(test)]\npub mod tests {")
            .next()
            .unwrap_or_default();
        let name = file
            .strip_prefix(root())
            .expect("below the root")
            .to_string_lossy()
            .replace('\\', "/");
        for (index, line) in text.lines().enumerate() {
            let code = line.split("//").next().unwrap_or_default();
            if !code.trim().is_empty() {
                all.push((name.clone(), index + 1, code.to_string()));
            }
        }
    }
    all
}

fn gather(place: &Path, files: &mut Vec<PathBuf>) {
    if place.is_file() {
        files.push(place.into());
        return;
    }
    let entries =
        fs::read_dir(place).unwrap_or_else(|error| panic!("{}: {error}", place.display()));
    for entry in entries {
        let path = entry.expect("an entry").path();
        if path.is_dir() || path.extension().is_some_and(|ending| ending == "rs") {
            gather(&path, files);
        }
    }
}

/// Whether `word` stands in `code` on its own, not as part of a longer name.
fn says(code: &str, word: &str) -> bool {
    let part = |c: char| c.is_alphanumeric() || c == '_';
    code.match_indices(word).any(|(at, _)| {
        !code[..at].chars().next_back().is_some_and(part)
            && !code[at + word.len()..].chars().next().is_some_and(part)
    })
}

/// Whether `name` stands in `code` as part of a path or of a list of imports,
/// not as the name of a value.
fn leads_to(code: &str, name: &str) -> bool {
    says(code, name)
        && (code.contains(&format!("{name}::"))
            || code.contains(&format!("::{name}"))
            || code.trim_start().starts_with("use ")
            || code.trim_start().starts_with("pub use "))
}

/// No path under `place` leads to one of `modules`.
fn never_through(place: &str, modules: &[&str]) {
    let broken: Vec<String> = lines(place)
        .iter()
        .filter(|(_, _, code)| modules.iter().any(|name| leads_to(code, name)))
        .map(|(file, line, code)| format!("{file}:{line}: {}", code.trim()))
        .collect();
    assert!(
        broken.is_empty(),
        "{place} must not lead to {modules:?}:\n{}",
        broken.join("\n")
    );
}

/// No code under `place` says any of `words`.
fn never(place: &str, words: &[&str]) {
    let broken: Vec<String> = lines(place)
        .iter()
        .filter(|(_, _, code)| words.iter().any(|word| says(code, word)))
        .map(|(file, line, code)| format!("{file}:{line}: {}", code.trim()))
        .collect();
    assert!(
        broken.is_empty(),
        "{place} must not say {words:?}:\n{}",
        broken.join("\n")
    );
}

/// Files under `place` in which `word` stands.
fn who_says(place: &str, word: &str) -> BTreeSet<String> {
    lines(place)
        .into_iter()
        .filter(|(_, _, code)| says(code, word))
        .map(|(file, _, _)| file)
        .collect()
}

#[test]
fn the_scan_finds_what_it_looks_for() {
    assert!(says("use crate::link::Line;", "link"));
    assert!(!says("let linked = 1;", "link"));
    assert!(!says("unlink()", "link"));
    assert!(leads_to("use crate::{link, record};", "link"));
    assert!(leads_to("let line = crate::link::serial::open();", "link"));
    assert!(!leads_to("match report {", "report"));
    assert!(!who_says("host/companion/src", "serialport").is_empty());
}

#[test]
fn protocol_depends_on_nothing_of_ours_and_knows_no_float() {
    let found = dependencies("scalewright-protocol");
    assert_eq!(found, names(&["crc", "heapless", "postcard", "serde"]));
    never("protocol/src", &["std", "alloc", "embedded_hal", "unsafe"]);
    // To refuse a float, serde's writer has to name it.
    for float in ["f32", "f64"] {
        let named = who_says("protocol/src", float);
        assert_eq!(named, names(&["protocol/src/pen/whole.rs"]));
    }
}

#[test]
fn core_knows_the_protocol_and_pins_only() {
    let found = dependencies("scalewright-core");
    assert_eq!(
        found,
        names(&["embedded-hal", "heapless", "scalewright-protocol"])
    );
    never(
        "firmware/core/src",
        &["alloc", "f32", "f64", "unsafe", "Instant"],
    );
    // For its tests only.
    let named = who_says("firmware/core/src", "std");
    assert_eq!(named, names(&["firmware/core/src/lib.rs"]));
    let cut: Vec<_> = lines("firmware/core/src")
        .into_iter()
        .filter(|(_, _, code)| code.contains("cfg(target"))
        .collect();
    assert!(cut.is_empty(), "core knows no chip: {cut:?}");
}

#[test]
fn bench_knows_nothing_of_the_host() {
    let found = dependencies("scalewright-bench");
    for other in ["scalewright", "scalewright-metrology"] {
        assert!(!found.contains(other), "bench depends on {other}");
    }
    never(
        "firmware/bench/src",
        &["scalewright", "scalewright_metrology"],
    );
}

#[test]
fn metrology_is_mathematics_only() {
    let found = dependencies("scalewright-metrology");
    assert_eq!(
        found,
        names(&["nalgebra", "rand_distr", "rand_xoshiro", "statrs"])
    );
    never(
        "host/metrology/src",
        &[
            "scalewright_protocol",
            "Instant",
            "SystemTime",
            "fs",
            "io",
            "net",
            // Generators come from the caller, seeded.
            "rand",
            "SysRng",
            "try_from_rng",
        ],
    );
}

#[test]
fn only_the_companion_knows_the_bench_and_only_in_one_file() {
    assert_eq!(
        who_says("host/companion/src", "scalewright_bench"),
        names(&["host/companion/src/cli/studio.rs"])
    );
    assert_eq!(
        who_says("host/companion/src", "scalewright_core"),
        BTreeSet::new()
    );
}

#[test]
fn session_has_no_terminal_no_port_and_no_files() {
    let place = "host/companion/src/session";
    never_through(
        place,
        &[
            "cli", "link", "web", "report", "drive", "fs", "io", "thread", "env",
        ],
    );
    never(
        place,
        &[
            "println",
            "eprintln",
            "print",
            "serialport",
            "Instant",
            "SystemTime",
        ],
    );
}

#[test]
fn report_takes_values_and_gives_text() {
    let place = "host/companion/src/report";
    never_through(place, &["cli", "link", "session", "drive", "fs", "env"]);
    never(
        place,
        &[
            "serialport",
            "Instant",
            "SystemTime",
            "Timestamp",
            "println",
            "scalewright_protocol",
        ],
    );
}

#[test]
fn below_the_command_nobody_knows_the_command() {
    for place in [
        "firmware",
        "inspect",
        "link",
        "record",
        "report",
        "review",
        "session",
        "certifying.rs",
        "changing.rs",
        "drive.rs",
        "quantise.rs",
        "population.rs",
    ] {
        let place = format!("host/companion/src/{place}");
        never_through(&place, &["cli", "web"]);
        never(&place, &["clap"]);
    }
    never_through("host/companion/src/link", &["session", "record", "report"]);
}

#[test]
fn ports_are_opened_in_one_folder() {
    for file in who_says("host/companion/src", "serialport") {
        assert!(file.starts_with("host/companion/src/link/"), "{file}");
    }
    assert_eq!(
        who_says("firmware/bench/src", "TTYPort"),
        names(&["firmware/bench/src/pty.rs"])
    );
}

#[test]
fn what_needs_a_unix_stands_where_it_may() {
    let mut found = BTreeSet::new();
    for place in [
        "protocol/src",
        "firmware/core/src",
        "firmware/bench/src",
        "host/metrology/src",
        "host/companion/src",
    ] {
        found.extend(who_says(place, "unix"));
    }
    let allowed = names(&[
        "firmware/bench/src/lib.rs",
        "host/companion/src/cli/bench.rs",
        "host/companion/src/cli/rehearse.rs",
        "host/companion/src/cli/studio.rs",
    ]);
    let more: Vec<_> = found.difference(&allowed).collect();
    assert!(more.is_empty(), "unix is spoken of in {more:?}");
}

/// A board is wiring: what a sample means is the core's.
#[test]
fn boards_have_no_arithmetic_of_their_own() {
    for board in ["rp2040", "atmega328p"] {
        let place = format!("firmware/{board}/src");
        never(&place, &["f32", "f64", "Table", "Moments", "Filter"]);
        never_through(&place, &["filter", "moments", "indication", "slots"]);
    }
}

/// A laptop tells by the firmware's version in which layout a scale stores, so
/// every board names the one version there is, and it knows the layout of it.
#[test]
fn every_board_names_the_one_version() {
    let packaged = env!("CARGO_PKG_VERSION");
    let (major, minor, patch) = scalewright_core::VERSION;
    assert_eq!(format!("{major}.{minor}.{patch}"), packaged);
    let root = root();
    for board in ["rp2040", "atmega328p"] {
        let text = fs::read_to_string(root.join("firmware").join(board).join("Cargo.toml"));
        let text = text.expect("a manifest");
        assert!(
            text.contains(&format!("version = \"{packaged}\"")),
            "{board}"
        );
    }
    let layout = scalewright::firmware::check::layout_of(scalewright_core::VERSION);
    assert_eq!(layout, Some(scalewright_protocol::passport::LAYOUT_VERSION));
}
