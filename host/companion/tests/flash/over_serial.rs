//! The `ATmega328P`'s way, with a script that plays avrdude. Its words are
//! those of avrdude 7.1, which was run against a made bootloader on a
//! pseudo-terminal (device protocol of Atmel's application note AVR061) and
//! against ports that are not there.

use std::fs;
use std::os::unix::fs::PermissionsExt;

use scalewright::firmware::board::Board;
use scalewright::firmware::image::Image;

use crate::far_end::{FarEnd, Persona};
use crate::made::{Folder, Run, command, finish, raw};

const LENGTH: usize = 3000;

const GREETING: &str = "
avrdude: AVR device initialized and ready to accept instructions
avrdude: device signature = 0x1e950f (probably m328p)
avrdude: reading input file flash.hex for flash
         with 3000 bytes in 1 section within [0, 0xbb7]
         using 24 pages and 72 pad bytes
avrdude: writing 3000 bytes flash ...

Writing | ################################################## | 100% 0.00s

avrdude: 3000 bytes of flash written
avrdude: verifying flash memory against flash.hex

Reading | ################################################## | 100% 0.00s

";

const GOOD: &str = "avrdude: 3000 bytes of flash verified

avrdude done.  Thank you.
";

/// A folder with an avrdude that says `words` on standard error, keeps what it
/// was asked and the file it was given, and ends with `code`.
fn fake(words: &str, code: u8) -> Folder {
    let folder = Folder::new();
    let here = folder.path().display().to_string();
    folder.with("words", words);
    let script = format!(
        "#!/bin/sh\nprintf '%s\\n' \"$@\" > '{here}/asked'\n\
         for word in \"$@\"; do case \"$word\" in flash:w:*:i)\n\
         file=\"${{word#flash:w:}}\"; cp \"${{file%:i}}\" '{here}/given';; esac; done\n\
         cat '{here}/words' >&2\ntouch '{here}/flashed'\nexit {code}\n"
    );
    let path = folder.with("avrdude", script);
    fs::set_permissions(path, fs::Permissions::from_mode(0o755)).expect("executable");
    folder
}

fn flash(tool: &Folder, port: &str, extra: &[&str]) -> Run {
    let folder = Folder::new();
    let image = folder.with("scale.bin", raw("atmega328p", LENGTH));
    let arguments = [
        "flash",
        "--board",
        "atmega328p",
        "--image",
        &image,
        "--port",
        port,
    ];
    let mut command = command(folder.path(), &[&arguments, extra].concat());
    let path = format!("{}:/usr/bin:/bin", tool.path().display());
    command.env("PATH", path).env("TMPDIR", tool.path());
    finish(command)
}

#[test]
fn it_is_asked_for_the_flash_only_and_the_calibration_stays() {
    let tool = fake(&format!("{GREETING}{GOOD}"), 0);
    let scale = Persona::calibrated("atmega328p");
    let port = FarEnd::new(Some(scale), Some(scale), tool.path().join("flashed"));
    let run = flash(&tool, port.path(), &[]);
    assert_eq!((run.code, run.err.as_str()), (0, ""), "{run:#?}");
    for part in [
        "now       scale 4F2A on ",
        "written   3000 bytes, read back by avrdude and found the same",
        "verified  by reading the flash back",
        "hello     from scale 4F2A on ",
        "kept      the calibration: 16 points, checksum 10101010, as before",
    ] {
        assert!(run.out.contains(part), "no \"{part}\" in {run:#?}");
    }
    run.is_narrow();
    let asked = fs::read_to_string(tool.path().join("asked")).expect("it was asked");
    let asked: Vec<&str> = asked.lines().collect();
    let expected = [
        "-c",
        "arduino",
        "-p",
        "m328p",
        "-P",
        port.path(),
        "-b",
        "115200",
        "-D",
        "-U",
    ];
    assert_eq!(asked[..10], expected);
    assert_eq!(asked.len(), 11);
    assert!(!asked.iter().any(|word| word.contains("eeprom")));
    let given = fs::read(tool.path().join("given")).expect("a file");
    let (_, image) = Image::read(&given, 0).expect("Intel HEX");
    assert_eq!(
        image.flat(&Board::Atmega328p.room()),
        raw("atmega328p", LENGTH)
    );
}

#[test]
fn programmer_and_speed_can_be_named() {
    let tool = fake(&format!("{GREETING}{GOOD}"), 0);
    let scale = Persona::empty("atmega328p");
    let port = FarEnd::new(Some(scale), Some(scale), tool.path().join("flashed"));
    let extra = ["--programmer", "stk500v1", "--baud", "57600", "--json"];
    let run = flash(&tool, port.path(), &extra);
    assert_eq!(run.code, 0, "{run:#?}");
    let told: serde_json::Value = serde_json::from_str(&run.out).expect("one object");
    assert_eq!(told["verified_by"], "read_back");
    assert_eq!(told["calibration"], "none");
    let asked = fs::read_to_string(tool.path().join("asked")).expect("it was asked");
    assert!(asked.starts_with("-c\nstk500v1\n") && asked.contains("\n57600\n"));
}

/// A board whose firmware is silent is flashed all the same.
#[test]
fn each_failure_is_translated_and_its_log_kept() {
    let sync = "avrdude error: programmer is not responding\n\
        avrdude warning: attempt 10 of 10: not in sync: resp=0x00\n\
        avrdude error: unable to open programmer arduino on port P\n\navrdude done.  Thank you.\n";
    let chip = "avrdude: device signature = 0x1e9514 (probably m328)\n\
        avrdude error: expected signature for ATmega328P is 1E 95 0F\n\
        \x20       double check chip or use -F to override this check\n";
    let mismatch = format!(
        "{GREETING}avrdude warning: verification mismatch\n\
         \x20       device 0xc9 != input 0xc8 at addr 0x0000 (error)\n\
         avrdude error: verification mismatch\n\navrdude done.  Thank you.\n"
    );
    let gone = "avrdude OS error: cannot open port P: No such file or directory\n";
    let busy = "avrdude OS error: cannot open port P: Device or resource busy\n";
    let closed = "avrdude OS error: cannot open port P: Permission denied\n";
    let kind = "avrdude error: cannot find programmer id arduino\n\nValid programmers are:\n";
    let odd = "avrdude error: the sky fell\n\navrdude done.  Thank you.\n";
    let cases = [
        (sync, "the board's bootloader does not answer"),
        (
            chip,
            "the chip on this port is another one: its signature is 0x1e9514",
        ),
        (&mismatch, "the board does not hold what was written to it"),
        (gone, "there is no such port"),
        (busy, "another program is using the port"),
        (closed, "this user may not use serial ports"),
        (kind, "avrdude does not know this programmer"),
        (odd, "avrdude gave up: the sky fell"),
        ("", "avrdude gave up without a word"),
    ];
    // Each waits for an answer that never comes; all at once.
    std::thread::scope(|scope| {
        for (words, what) in cases {
            scope.spawn(move || is_translated(words, what));
        }
    });
}

fn is_translated(words: &str, what: &str) {
    let silent = FarEnd::new(None, None, "/never".into());
    let tool = fake(words, 1);
    let run = flash(&tool, silent.path(), &[]);
    run.is_problem(3, what);
    let (_, rest) = run.err.split_once("log ").expect("a log is named");
    let path = rest.trim().lines().next().expect("its path").trim();
    let log = fs::read_to_string(path).expect("the log");
    assert!(log.starts_with("avrdude -c arduino"), "{log}");
    assert!(log.contains(words), "{log}");
}

#[test]
fn a_missing_tool_is_named_with_what_to_install() {
    let empty = Folder::new();
    let folder = Folder::new();
    let image = folder.with("scale.bin", raw("atmega328p", LENGTH));
    let silent = FarEnd::new(None, None, "/never".into());
    let arguments = [
        "flash",
        "--board",
        "atmega328p",
        "--image",
        &image,
        "--port",
        silent.path(),
    ];
    let mut command = command(folder.path(), &arguments);
    command.env("PATH", empty.path());
    let run = finish(command);
    run.is_problem(3, "avrdude, which writes this board, is not installed");
    assert!(run.err.contains("apt install avrdude"), "{run:#?}");
}

#[test]
fn a_port_that_is_not_there_is_told_before_the_tool_is_asked() {
    let tool = fake("", 0);
    flash(&tool, "/dev/none-such", &[]).is_problem(3, "there is no port /dev/none-such");
    assert!(!tool.path().join("asked").exists());
}

#[test]
fn firmware_of_another_wire_version_wants_consent() {
    let tool = fake(&format!("{GREETING}{GOOD}"), 0);
    let old = Persona {
        wire_version: 250,
        ..Persona::calibrated("atmega328p")
    };
    let new = Persona::empty("atmega328p");
    let port = FarEnd::new(Some(old), Some(new), tool.path().join("flashed"));
    let run = flash(&tool, port.path(), &[]);
    run.is_problem(5, "of another generation: its layout is not known");
    assert!(!tool.path().join("asked").exists());
    let run = flash(&tool, port.path(), &["--yes"]);
    assert_eq!(run.code, 0, "{run:#?}");
}
