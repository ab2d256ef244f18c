//! The `scalewright` command as a user sees it: help, exit codes, width,
//! colour, the files it leaves, and a whole calibration of a scale on a port.

mod support;

use std::fs;

use support::{Folder, command, plain, run, too_wide};

const COMMANDS: [&str; 8] = [
    "rehearse",
    "calibrate",
    "weights",
    "resume",
    "find",
    "moved",
    "table",
    "bench",
];

#[test]
fn help_is_narrow_and_has_examples() {
    let folder = Folder::new();
    let all = run(folder.path(), &["--help"]);
    assert_eq!(all.code, 0);
    assert!(all.out.contains("Exit codes: 0"), "{}", all.out);
    assert_eq!(too_wide(&all.out), [""; 0]);
    for name in COMMANDS {
        assert!(
            all.out.contains(&format!("\n  {name} ")),
            "{name} is not listed"
        );
        let help = run(folder.path(), &[name, "--help"]);
        assert_eq!(help.code, 0);
        assert!(help.out.contains("Example"), "{name}: {}", help.out);
        assert_eq!(too_wide(&help.out), [""; 0], "{name}");
    }
    let check = run(folder.path(), &["weights", "check", "--help"]);
    assert!(
        check.code == 0 && check.out.contains("Example"),
        "{check:#?}"
    );
    assert_eq!(too_wide(&check.out), [""; 0]);
}

#[test]
fn what_is_not_understood_ends_with_2() {
    let folder = Folder::new();
    for arguments in [
        &["weigh"][..],
        &[],
        &["rehearse", "--seed", "many"],
        &["rehearse", "--slow", "--speed", "3"],
        &["rehearse", "--ask", "--json"],
        &["calibrate"],
        &["find", "--baud", "9600"],
        &["weights"],
        &["moved", "--from", "48.1,520m"],
        &["moved", "--from", "48.1", "--to", "53.6", "--max", "6kg"],
        &["weights", "check"],
        &["weights", "check", "weights.toml", "--max", "6kg"],
        &["weights", "check", "weights.toml", "--class", "III"],
    ] {
        let run = run(folder.path(), arguments);
        assert_eq!(run.code, 2, "{arguments:?}: {run:#?}");
        assert!(
            run.err.contains("--help") || run.err.contains("Usage"),
            "{run:#?}"
        );
        assert_eq!(run.out, "", "{arguments:?}");
    }
    assert_eq!(fs::read_dir(folder.path()).expect("a folder").count(), 0);
}

#[test]
fn a_rehearsal_is_narrow_plain_when_piped_and_leaves_its_files() {
    let folder = Folder::new();
    for extra in [
        &["--seed", "1"][..],
        &["--clumsy"],
        &["--factory", "--seed", "2"],
    ] {
        let run = run(folder.path(), &[&["rehearse"], extra].concat());
        assert_eq!((run.code, run.err.as_str()), (0, ""), "{extra:?}");
        assert_eq!(too_wide(&run.out), [""; 0], "{extra:?}");
        assert!(!run.out.contains('\x1b'), "{extra:?}: colour into a pipe");
        assert!(run.out.contains("pass"), "{extra:?}");
    }
    let page = fs::read_to_string(folder.file("rehearsal/rehearsal.html")).expect("the page");
    is_self_contained(&page);
    let sessions = fs::read_dir(folder.file("rehearsal")).expect("the folder");
    let sessions = sessions
        .map(|entry| {
            entry
                .expect("an entry")
                .file_name()
                .into_string()
                .expect("UTF-8")
        })
        .filter(|name| name.ends_with(".session.jsonl"));
    assert_eq!(sessions.count(), 3, "no session was written over");
}

/// The page needs no other file and no network.
fn is_self_contained(page: &str) {
    assert!(page.starts_with("<!doctype html>") || page.starts_with("<!DOCTYPE html>"));
    assert!(page.matches("<svg").count() >= 3, "pictures are inside");
    for outside in [
        "<script", "<link", "<img", "<iframe", "@import", "src=", "xlink",
    ] {
        assert!(!page.contains(outside), "the page uses {outside}");
    }
    // A reference may lead to another place of the same page.
    assert_eq!(page.matches("url(").count(), page.matches("url(#").count());
    // Names of XML vocabularies look like addresses; nobody fetches them.
    let mut page = page.to_string();
    for name in ["www.w3.org/2000/svg", "www.w3.org/1999/xhtml"] {
        page = page.replace(&format!("xmlns=\"http://{name}\""), "");
    }
    assert!(!page.contains("://"), "a link leads out");
}

#[test]
fn ascii_locales_get_ascii() {
    let folder = Folder::new();
    let output = command(folder.path(), &["rehearse"])
        .env("LC_ALL", "C")
        .output()
        .expect("it runs");
    let run: support::Run = output.into();
    assert_eq!(run.code, 0);
    let strange: Vec<&str> = run.out.lines().filter(|line| !line.is_ascii()).collect();
    assert_eq!(strange, [""; 0]);
}

#[test]
fn a_reader_that_leaves_early_is_no_accident() {
    use std::io::{BufRead, BufReader, Read};
    use std::process::Stdio;
    let folder = Folder::new();
    let mut child = command(folder.path(), &["rehearse"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it runs");
    let mut out = BufReader::new(child.stdout.take().expect("piped"));
    let mut line = String::new();
    out.read_line(&mut line).expect("a line");
    drop(out);
    let mut err = String::new();
    child
        .stderr
        .take()
        .expect("piped")
        .read_to_string(&mut err)
        .expect("UTF-8");
    child.wait().expect("it ends");
    assert!(!err.contains("panicked"), "{err}");
}

#[cfg(unix)]
mod on_a_terminal {
    use super::*;
    use std::fs::OpenOptions;
    use std::io::Read;
    use std::time::Duration;

    use serialport::{SerialPort, TTYPort};

    /// What the command shows on a terminal, with escape sequences.
    fn shown(arguments: &[&str], no_colour: &str) -> String {
        let folder = Folder::new();
        let (mut master, slave) = TTYPort::pair().expect("a pseudo-terminal");
        let path = slave.name().expect("it has a name");
        let end = OpenOptions::new()
            .read(true)
            .write(true)
            .open(path)
            .expect("its end");
        let mut child = command(folder.path(), arguments)
            .env("NO_COLOR", no_colour)
            .stdout(end)
            .spawn()
            .expect("it runs");
        let mut shown = Vec::new();
        let mut chunk = [0; 4096];
        master
            .set_timeout(Duration::from_millis(50))
            .expect("a timeout");
        loop {
            match master.read(&mut chunk) {
                Ok(count) if count > 0 => shown.extend_from_slice(&chunk[..count]),
                _ if child.try_wait().expect("its state").is_some() => break,
                _ => {}
            }
        }
        drop(slave);
        assert_eq!(child.wait().expect("it ended").code(), Some(0));
        String::from_utf8(shown).expect("UTF-8")
    }

    /// Whether any sequence sets a colour or weight (ECMA-48 SGR, final `m`).
    fn coloured(text: &str) -> bool {
        text.split("\x1b[").skip(1).any(|rest| {
            rest.find(|c: char| c.is_ascii_alphabetic())
                .is_some_and(|at| rest[at..].starts_with('m'))
        })
    }

    #[test]
    fn a_terminal_gets_colour_within_80_columns_unless_it_says_no() {
        let rich = shown(&["rehearse", "--speed", "0"], "");
        assert!(coloured(&rich));
        assert_eq!(too_wide(&rich), [""; 0]);
        // no-color.org: any value that is not empty means no colour.
        let plain_one = shown(&["rehearse", "--speed", "0"], "1");
        assert!(!coloured(&plain_one), "NO_COLOR is honoured");
        assert_eq!(too_wide(&plain_one), [""; 0]);
        assert!(plain(&plain_one).contains("pass"));
    }
}

#[cfg(unix)]
mod at_a_port {
    use super::*;
    use std::process::{Command, Stdio};
    use std::time::{Duration, Instant};

    use scalewright_bench::{BenchHandle, BenchSpec, LoadOrder, Pan, pty};
    use serde_json::Value;
    use support::hands::{weights_file, with_hands};

    fn json(folder: &Folder, bench: &BenchHandle, arguments: &[&str]) -> Value {
        let all = [arguments, &["--port", bench.path(), "--json"]].concat();
        let run = run(folder.path(), &all);
        assert_eq!((run.code, run.err.as_str()), (0, ""), "{arguments:?}");
        serde_json::from_str(&run.out).expect("one object")
    }

    #[test]
    fn a_scale_on_a_port_is_found_calibrated_shown_and_rolled_back() {
        let folder = Folder::new();
        let bench = pty::open(BenchSpec::studio(14)).expect("a bench");
        let desk = bench.desk();
        let weights = folder.with("weights.toml", weights_file(&desk.weights()));

        let found = json(&folder, &bench, &["find"]);
        assert_eq!(found["scale"]["max"], 6000.0);
        let before = json(&folder, &bench, &["table"]);
        assert_eq!(before["points"].as_array().map(Vec::len), Some(2));
        let missing = run(
            folder.path(),
            &["table", "--roll-back", "--port", bench.path()],
        );
        missing.is_problem(3, "holds no table before this one");

        let (code, out, err) = with_hands(
            &folder,
            &desk.weights(),
            &mut |ids| desk.ask(LoadOrder::of(ids)),
            &[
                "calibrate",
                "--max",
                "6kg",
                "--e",
                "2g",
                "--d",
                "1g",
                "--weights",
                &weights,
                "--port",
                bench.path(),
                "--yes",
            ],
        );
        assert_eq!((code, err.as_str()), (0, ""), "{out}");
        assert_eq!(too_wide(&out.replace(bench.path(), "PORT")), [""; 0]);
        assert!(folder.file("calibration.html").exists());
        assert!(folder.file("calibration.session.jsonl").exists());

        let after = json(&folder, &bench, &["table"]);
        assert!(after["points"].as_array().is_some_and(|all| all.len() > 2));
        assert_ne!(after["checksum"], before["checksum"]);
        assert_eq!(after["history"][0]["text"], "ida: calibrated");
        let back = json(&folder, &bench, &["table", "--roll-back", "--yes"]);
        assert_eq!(back["checksum"], before["checksum"]);
        assert_eq!(back["points"], before["points"]);
    }

    /// Ctrl-C loses nothing and says how to go on.
    #[test]
    fn an_interrupted_calibration_says_how_it_goes_on() {
        let bench = pty::open(BenchSpec::studio(5)).expect("a bench");
        let folder = Folder::new();
        let weights = "2kg,2kg,1kg,500g,200g,200g,100g";
        let child = command(
            folder.path(),
            &[
                "calibrate",
                "--port",
                bench.path(),
                "--max",
                "6kg",
                "--e",
                "2g",
                "--weights",
                weights,
            ],
        )
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it starts");
        let journal = folder.file("calibration.session.jsonl");
        let began = Instant::now();
        // With its first entry it is under way.
        while fs::metadata(&journal).map_or(0, |file| file.len()) == 0 {
            assert!(began.elapsed() < Duration::from_secs(30), "no session");
            std::thread::sleep(Duration::from_millis(20));
        }
        let id = child.id().to_string();
        let sent = Command::new("kill").args(["-INT", &id]).status();
        assert!(sent.is_ok_and(|status| status.success()));
        let ended = child.wait_with_output().expect("it ends");
        assert_eq!(ended.status.code(), Some(5), "{ended:#?}");
        let said = String::from_utf8_lossy(&ended.stderr);
        assert!(said.contains("every capture so far is kept"), "{said}");
        assert!(
            said.contains("scalewright resume calibration.session.jsonl --port"),
            "{said}"
        );
    }
}
