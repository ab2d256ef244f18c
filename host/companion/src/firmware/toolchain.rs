//! Which of this machine's Rust toolchains can build for a chip.
//!
//! In this order: one in which the chip's target is installed; a nightly with
//! the library's source, which is then built along; any other with the source,
//! asked to behave as a nightly. Distributions ship the last kind.

use std::env;
use std::path::{Path, PathBuf};
use std::process::Command;

/// A toolchain, as far as building for a chip goes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Toolchain {
    /// How to call its cargo: program and first arguments.
    pub cargo: Vec<PathBuf>,
    /// Its compiler, where cargo would not find the right one by itself.
    pub rustc: Option<PathBuf>,
    /// Where it lives.
    pub sysroot: PathBuf,
    /// Its version, as it says it: "1.96.0", "1.97.0-nightly".
    pub release: String,
    /// Whether the chip's target is installed.
    pub has_target: bool,
    /// Whether the library's source is.
    pub has_source: bool,
}

impl Toolchain {
    /// The linker it brings along, if it does.
    #[must_use]
    pub fn lld(&self) -> Option<PathBuf> {
        let hosts = std::fs::read_dir(self.sysroot.join("lib/rustlib")).ok()?;
        let name = format!("rust-lld{}", env::consts::EXE_SUFFIX);
        hosts
            .flatten()
            .map(|host| host.path().join("bin").join(&name))
            .find(|path| path.is_file())
    }

    /// Its compiler.
    #[must_use]
    pub fn compiler(&self) -> PathBuf {
        let own = || executable(&self.sysroot.join("bin"), "rustc");
        self.rustc.clone().unwrap_or_else(own)
    }

    fn is_nightly(&self) -> bool {
        self.release.contains("nightly")
    }

    fn is_recent(&self, oldest: (u32, u32)) -> bool {
        let mut parts = self.release.split(['.', '-']).map(str::parse::<u32>);
        match (parts.next(), parts.next()) {
            (Some(Ok(major)), Some(Ok(minor))) => (major, minor) >= oldest,
            _ => false,
        }
    }
}

/// How a toolchain builds for the chip.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Means {
    /// With the target that is installed.
    Target,
    /// With the library built along, as a nightly may.
    Nightly,
    /// With the library built along, allowed by RUSTC_BOOTSTRAP.
    Source,
}

impl Means {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Target => "the target is installed",
            Self::Nightly => "nightly, library from source",
            Self::Source => "library from source",
        }
    }
}

/// Oldest compiler that builds the firmware.
fn oldest() -> (u32, u32) {
    let mut parts = env!("CARGO_PKG_RUST_VERSION").split('.').map(str::parse);
    match (parts.next(), parts.next()) {
        (Some(Ok(major)), Some(Ok(minor))) => (major, minor),
        _ => (0, 0),
    }
}

/// The toolchain to use, and how.
#[must_use]
pub fn choose(found: &[Toolchain]) -> Option<(&Toolchain, Means)> {
    let oldest = oldest();
    let recent = || found.iter().filter(|one| one.is_recent(oldest));
    let target = recent().find(|one| one.has_target);
    let nightly = recent().find(|one| one.is_nightly() && one.has_source);
    let source = recent().find(|one| one.has_source);
    target
        .map(|one| (one, Means::Target))
        .or(nightly.map(|one| (one, Means::Nightly)))
        .or(source.map(|one| (one, Means::Source)))
}

/// The toolchains of this machine: each pair of cargo and rustc on the path,
/// and rustup's nightly. `folder` is where the build will run.
#[must_use]
pub fn search(target: &str, folder: &Path) -> Vec<Toolchain> {
    let mut found: Vec<Toolchain> = Vec::new();
    let mut add = |one: Option<Toolchain>| {
        if let Some(one) = one
            && !found.iter().any(|other| other.sysroot == one.sysroot)
        {
            found.push(one);
        }
    };
    for place in env::split_paths(&env::var_os("PATH").unwrap_or_default()) {
        let [cargo, rustc] = ["cargo", "rustc"].map(|name| executable(&place, name));
        if cargo.is_file() && rustc.is_file() {
            add(look_at(vec![cargo], Some(rustc), target, folder));
        }
    }
    if on_path("rustup") {
        let cargo = ["rustup", "run", "nightly", "cargo"];
        add(look_at(
            cargo.map(PathBuf::from).to_vec(),
            None,
            target,
            folder,
        ));
    }
    found
}

fn executable(place: &Path, name: &str) -> PathBuf {
    place.join(format!("{name}{}", env::consts::EXE_SUFFIX))
}

/// Whether a program of this name is on the path.
#[must_use]
pub fn on_path(name: &str) -> bool {
    env::split_paths(&env::var_os("PATH").unwrap_or_default())
        .any(|place| executable(&place, name).is_file())
}

fn look_at(
    cargo: Vec<PathBuf>,
    rustc: Option<PathBuf>,
    target: &str,
    folder: &Path,
) -> Option<Toolchain> {
    let mut words = match &rustc {
        Some(rustc) => vec![rustc.clone()],
        None => cargo.clone(),
    };
    if rustc.is_none() {
        words.pop();
        words.push("rustc".into());
    }
    let sysroot = PathBuf::from(say(&words, &["--print", "sysroot"], folder)?.trim());
    let about = say(&words, &["-vV"], folder)?;
    let release = about
        .lines()
        .find_map(|line| line.strip_prefix("release: "))?;
    let lib = sysroot.join("lib/rustlib");
    Some(Toolchain {
        has_target: holds_core(&lib.join(target).join("lib")),
        has_source: lib.join("src/rust/library/core/Cargo.toml").is_file(),
        release: release.trim().into(),
        cargo,
        rustc,
        sysroot,
    })
}

/// Whether a compiled core library lies in `folder`.
fn holds_core(folder: &Path) -> bool {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    entries
        .filter_map(|entry| entry.file_name().into_string().ok())
        .any(|name| name.starts_with("libcore-"))
}

fn say(words: &[PathBuf], arguments: &[&str], folder: &Path) -> Option<String> {
    let (program, first) = words.split_first()?;
    let output = Command::new(program)
        .args(first)
        .args(arguments)
        .current_dir(folder)
        .output()
        .ok()?;
    let text = String::from_utf8(output.stdout).ok()?;
    output.status.success().then_some(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn toolchain(release: &str, has_target: bool, has_source: bool) -> Toolchain {
        Toolchain {
            cargo: vec!["cargo".into()],
            rustc: None,
            sysroot: release.into(),
            release: release.into(),
            has_target,
            has_source,
        }
    }

    fn chosen(found: &[Toolchain]) -> Option<(&str, Means)> {
        choose(found).map(|(one, means)| (one.release.as_str(), means))
    }

    #[test]
    fn an_installed_target_comes_first_then_nightly_then_any_source() {
        let source = toolchain("1.96.0", false, true);
        let nightly = toolchain("1.99.0-nightly", false, true);
        let target = toolchain("1.95.0", true, false);
        let bare = toolchain("1.97.0", false, false);
        let all = [bare.clone(), source.clone(), nightly.clone(), target];
        assert_eq!(chosen(&all), Some(("1.95.0", Means::Target)));
        assert_eq!(chosen(&all[..3]), Some(("1.99.0-nightly", Means::Nightly)));
        assert_eq!(chosen(&all[..2]), Some(("1.96.0", Means::Source)));
        assert_eq!(chosen(&all[..1]), None);
        assert_eq!(chosen(&[]), None);
    }

    #[test]
    fn a_compiler_that_is_too_old_is_passed_over() {
        let old = toolchain("1.63.0", true, true);
        let strange = toolchain("unknown", true, true);
        assert_eq!(chosen(&[old, strange]), None);
    }
}
