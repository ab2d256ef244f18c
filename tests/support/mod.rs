//! What the end-to-end tests share: the command as a user runs it, a folder of
//! its own for each run, and the bench in this process.
#![allow(dead_code)]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::OnceLock;
use std::sync::atomic::{AtomicU32, Ordering};

pub mod bench;
pub mod hands;
#[cfg(unix)]
pub mod port;

/// The `scalewright` command, built once in the profile of this test.
pub fn program() -> &'static Path {
    static PROGRAM: OnceLock<PathBuf> = OnceLock::new();
    PROGRAM.get_or_init(|| {
        // This test runs as TARGET/PROFILE/deps/NAME.
        let test = std::env::current_exe().expect("this test has a path");
        let folder = test
            .parent()
            .and_then(Path::parent)
            .expect("TARGET/PROFILE");
        let target = folder.parent().expect("TARGET");
        let profile = match folder.file_name().and_then(|name| name.to_str()) {
            Some("release") => "release",
            _ => "test",
        };
        let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
        let built = Command::new(cargo)
            .args(["build", "--quiet", "-p", "scalewright", "--bin"])
            .args(["scalewright", "--profile", profile, "--target-dir"])
            .arg(target)
            .current_dir(root())
            .status()
            .expect("cargo runs");
        assert!(built.success(), "the command does not build");
        folder.join(format!("scalewright{}", std::env::consts::EXE_SUFFIX))
    })
}

/// Root of the repository.
pub fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .parent()
        .expect("tests lie in the root")
}

/// A folder that goes when it is dropped.
pub struct Folder(PathBuf);

impl Folder {
    pub fn new() -> Self {
        static NUMBER: AtomicU32 = AtomicU32::new(0);
        let number = NUMBER.fetch_add(1, Ordering::Relaxed);
        let path =
            std::env::temp_dir().join(format!("scalewright-tests-{}-{number}", std::process::id()));
        fs::create_dir_all(&path).expect("a temporary folder");
        Self(path)
    }

    pub fn path(&self) -> &Path {
        &self.0
    }

    pub fn file(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }

    /// Writes a file and returns its path as text.
    pub fn with(&self, name: &str, content: impl AsRef<[u8]>) -> String {
        let path = self.file(name);
        fs::write(&path, content).expect("write");
        path.display().to_string()
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

/// The command in `folder`, away from this terminal's habits.
pub fn command(folder: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(program());
    command
        .args(arguments)
        .current_dir(folder)
        .stdin(Stdio::null())
        .env("LC_ALL", "C.UTF-8")
        .env("TERM", "xterm")
        .env("RUST_BACKTRACE", "0")
        // Whom a scale remembers.
        .env("USER", "ida")
        // What a run keeps for later goes with its folder.
        .env("XDG_DATA_HOME", folder)
        .env_remove("NO_COLOR")
        .env_remove("SCALEWRIGHT_PORT");
    command
}

/// What a finished run left.
#[derive(Debug)]
pub struct Run {
    pub code: i32,
    pub out: String,
    pub err: String,
}

impl From<Output> for Run {
    fn from(output: Output) -> Self {
        let run = Self {
            code: output.status.code().unwrap_or(-1),
            out: String::from_utf8(output.stdout).expect("standard output is UTF-8"),
            err: String::from_utf8(output.stderr).expect("standard error is UTF-8"),
        };
        assert!(!run.err.contains("panicked"), "{run:#?}");
        run
    }
}

/// Runs the command to its end.
pub fn run(folder: &Path, arguments: &[&str]) -> Run {
    command(folder, arguments).output().expect("it runs").into()
}

impl Run {
    /// A problem as people shall see it: exit code, one sentence that holds
    /// `what`, and a line that says what to try; nothing wider than 80 columns
    /// but for paths.
    pub fn is_problem(&self, code: i32, what: &str) -> &Self {
        assert_eq!(self.code, code, "exit code of {self:#?}");
        assert!(
            one_line(&self.err).contains(&one_line(what)),
            "no \"{what}\" in {self:#?}"
        );
        let tries = self
            .err
            .lines()
            .filter(|line| line.trim_start().starts_with("try "));
        assert_eq!(tries.count(), 1, "one line of advice in {self:#?}");
        self
    }
}

/// The text without escape sequences (ECMA-48 control sequences: `ESC [`,
/// parameters, one final byte from `@` to `~`).
pub fn plain(text: &str) -> String {
    let mut out = String::new();
    let mut characters = text.chars().peekable();
    while let Some(c) = characters.next() {
        if c == '\x1b' && characters.peek() == Some(&'[') {
            characters.next();
            for c in characters.by_ref() {
                if ('@'..='~').contains(&c) {
                    break;
                }
            }
        } else {
            out.push(c);
        }
    }
    out
}

/// Lines wider than 80 columns, after whatever rewrites them.
pub fn too_wide(text: &str) -> Vec<String> {
    plain(text)
        .split(['\n', '\r'])
        .filter(|line| line.chars().count() > 80)
        .map(ToString::to_string)
        .collect()
}

/// A weights file in order.
pub const GOOD_WEIGHTS: &str = r#"
[[weight]]
id = "W1"
nominal = "2 kg"
class = "M1"

[[weight]]
id = "W2"
nominal = "1 kg"
class = "M1"

[[weight]]
id = "jar"
nominal = "497.3 g"
uncertainty = "0.2 g"
"#;

/// A weights file with all it can say: a certificate beside a class, a density, a substitution load.
pub const RICH_WEIGHTS: &str = r#"[[weight]]
id = "W1"
nominal = "1 kg"
class = "M1"
certificate = "1000.012 g"
uncertainty = "0.4 mg"
density = "7950 kg/m3"
note = "from the lab"

[[weight]]
id = "W2"
nominal = "500 g"

[[weight]]
id = "W3"
nominal = "8 oz"

[[substitution]]
id = "jug"
about = "4 kg"
note = "water"
"#;

/// The session file of a rehearsal.
pub fn session_text() -> &'static str {
    static TEXT: OnceLock<String> = OnceLock::new();
    TEXT.get_or_init(|| {
        let folder = Folder::new();
        let run = run(folder.path(), &["rehearse", "--json", "--seed", "6"]);
        assert_eq!(run.code, 0);
        fs::read_to_string(folder.file("rehearsal/rehearsal.session.jsonl")).expect("the session")
    })
}

/// Text with every run of white space as one space: problems are wrapped.
fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
