//! The RP2040's way, with a folder that plays the drive of its ROM.

use std::fs;
use std::path::Path;
use std::time::Duration;

use scalewright::firmware::boot_drive::{BootDrive, look_at};
use scalewright::firmware::image::Image;
use scalewright_protocol::WIRE_VERSION;
use scalewright_protocol::message::Flags;
use scalewright_protocol::passport::LAYOUT_VERSION;

use crate::far_end::{FarEnd, Persona};
use crate::made::{Folder, Run, command, finish, pass, raw, raw_with};

/// As the ROM writes it ("RP2040 Datasheet", chapter on the bootrom; the text
/// itself from memory).
const INFO: &str = "UF2 Bootloader v3.0\r\nModel: any\r\nBoard-ID: RPI-RP2\r\n";

const LENGTH: usize = 20_000;
const BLOCKS: usize = LENGTH.div_ceil(256);

/// Plays the ROM: takes the drive away when the file is complete, and so shows
/// that the board restarts.
fn rom(drive: &Path, blocks: usize) -> std::thread::JoinHandle<()> {
    let drive = drive.to_path_buf();
    std::thread::spawn(move || {
        for _ in 0..2000 {
            let stored = fs::metadata(drive.join("firmware.uf2"));
            if stored.is_ok_and(|file| file.len() as usize == blocks * 512) {
                fs::rename(drive.join("INFO_UF2.TXT"), drive.join("gone")).expect("it goes");
                return;
            }
            std::thread::sleep(Duration::from_millis(5));
        }
    })
}

/// Flashes a raw image to a drive that is there, with a scale on a port.
fn flash(image: &[u8], before: Option<Persona>, after: Option<Persona>, extra: &[&str]) -> Run {
    let (folder, drive) = (Folder::new(), Folder::new());
    drive.with("INFO_UF2.TXT", INFO);
    let image = folder.with("scale.bin", image);
    let scale = FarEnd::new(before, after, drive.path().join("gone"));
    let rom = rom(drive.path(), BLOCKS);
    let drive_path = drive.path().display().to_string();
    let arguments = [
        "flash",
        "--board",
        "rp2040",
        "--image",
        &image,
        "--drive",
        &drive_path,
        "--port",
        scale.path(),
    ];
    let run = finish(command(folder.path(), &[&arguments, extra].concat()));
    if run.code != 5 {
        rom.join().expect("the board restarts");
        let written = fs::read(drive.path().join("firmware.uf2")).expect("the file");
        let (_, there) = Image::read(&written, 0).expect("UF2");
        assert_eq!(there.bytes(), BLOCKS * 256);
    }
    run
}

#[test]
fn it_is_known_by_its_information_file() {
    let folder = Folder::new();
    assert_eq!(look_at(folder.path()), None);
    folder.with("INFO_UF2.TXT", "no fields at all");
    assert_eq!(look_at(folder.path()), None);
    folder.with("INFO_UF2.TXT", INFO);
    let found = look_at(folder.path()).expect("a boot drive");
    assert!(found.is_rp2040());
    folder.with("INFO_UF2.TXT", "Board-ID: ANOTHER-CHIP\n");
    assert!(
        !look_at(folder.path())
            .as_ref()
            .is_some_and(BootDrive::is_rp2040)
    );
    folder.with("INFO_UF2.TXT", vec![b'x'; 100_000]);
    assert_eq!(look_at(folder.path()), None);
}

#[test]
fn a_board_takes_the_image_restarts_and_says_hello() {
    let scale = Persona::calibrated("rp2040");
    let run = flash(&raw("rp2040", LENGTH), None, Some(scale), &[]);
    assert_eq!((run.code, run.err.as_str()), (0, ""), "{run:#?}");
    let text = run.is_narrow().out.split_whitespace().collect::<Vec<_>>();
    let text = text.join(" ");
    for part in [
        "firmware 0.3.0 for rp2040",
        &format!("(raw), 19.5 KiB, wire version {WIRE_VERSION}, layout {LAYOUT_VERSION}"),
        &format!("written {BLOCKS} blocks; the board took them and restarted"),
        "verified by the hello below",
        "its bytes were not compared",
        "hello from scale 4F2A on",
        "table 16 points, checksum 10101010; what was in it before was not asked",
        "next scalewright table",
    ] {
        assert!(text.contains(part), "no \"{part}\" in {run:#?}");
    }
}

#[test]
fn scripts_get_one_object() {
    let scale = Persona::empty("rp2040");
    let run = flash(&raw("rp2040", LENGTH), None, Some(scale), &["--json"]);
    assert_eq!((run.code, run.err.as_str()), (0, ""), "{run:#?}");
    let told: serde_json::Value = serde_json::from_str(&run.out).expect("one object");
    assert_eq!(told["verified_by"], "hello");
    assert_eq!(told["calibration"], "unknown");
    assert_eq!(told["before"], serde_json::Value::Null);
    assert_eq!(told["after"]["device"], "4F2A");
    assert_eq!(told["image"]["layout_version"], LAYOUT_VERSION);
}

#[test]
fn silence_after_the_restart_is_told() {
    let run = flash(&raw("rp2040", LENGTH), None, None, &[]);
    run.is_problem(3, "the image is written, but the scale has not said hello");
    let text = run.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("verified only by the restart"), "{run:#?}");
}

#[test]
fn another_firmware_than_the_one_written_is_told() {
    let old = Persona {
        firmware: (0, 0, 9),
        ..Persona::calibrated("rp2040")
    };
    flash(&raw("rp2040", LENGTH), None, Some(old), &[])
        .is_problem(3, "does not run the firmware that was written");
}

#[test]
fn a_layout_that_is_not_read_is_explained() {
    let after = Persona {
        flags: Flags::OTHER_LAYOUT,
        ..Persona::empty("rp2040")
    };
    let run = flash(&raw("rp2040", LENGTH), None, Some(after), &[]);
    assert_eq!(run.code, 0, "{run:#?}");
    assert!(
        run.out.contains("lies in memory in another layout"),
        "{run:#?}"
    );
}

/// The scale runs, is asked, and only then goes into its boot mode.
fn flash_a_running_one(image: &[u8], after: Persona, extra: &[&str]) -> Run {
    let (folder, drive) = (Folder::new(), Folder::new());
    let image = folder.with("scale.bin", image);
    let before = Persona::calibrated("rp2040");
    let scale = FarEnd::new(Some(before), Some(after), drive.path().join("gone"));
    let rom = rom(drive.path(), BLOCKS);
    let place = drive.path().to_path_buf();
    let button = std::thread::spawn(move || {
        std::thread::sleep(Duration::from_millis(1500));
        let _ = fs::write(place.join("INFO_UF2.TXT"), INFO);
    });
    let drive_path = drive.path().display().to_string();
    let arguments = [
        "flash",
        "--board",
        "rp2040",
        "--image",
        &image,
        "--drive",
        &drive_path,
        "--port",
        scale.path(),
        "--wait",
        "10",
    ];
    let run = finish(command(folder.path(), &[&arguments, extra].concat()));
    button.join().expect("it was pressed");
    if run.code != 5 {
        rom.join().expect("the board restarts");
    }
    run
}

#[test]
fn a_calibration_that_stays_is_said_to_stay() {
    let after = Persona::calibrated("rp2040");
    let run = flash_a_running_one(&raw("rp2040", LENGTH), after, &[]);
    assert_eq!((run.code, run.err.as_str()), (0, ""), "{run:#?}");
    for part in [
        "now       scale 4F2A on ",
        "now you   hold the board's BOOTSEL button",
        "kept      the calibration: 16 points, checksum 10101010, as before",
    ] {
        assert!(run.out.contains(part), "no \"{part}\" in {run:#?}");
    }
}

#[test]
fn a_calibration_that_is_gone_is_a_problem() {
    let run = flash_a_running_one(&raw("rp2040", LENGTH), Persona::empty("rp2040"), &[]);
    run.is_problem(3, "the calibration is not the one from before");
}

#[test]
fn another_layout_wants_consent() {
    let wire = scalewright_protocol::WIRE_VERSION;
    let image = raw_with(LENGTH, &pass("rp2040", wire, LAYOUT_VERSION + 1));
    let after = Persona {
        flags: Flags::OTHER_LAYOUT,
        ..Persona::empty("rp2040")
    };
    let run = flash_a_running_one(&image, after, &[]);
    run.is_problem(
        5,
        "stores its data in another layout than the scale does now",
    );
    assert!(run.err.contains("nothing was written"), "{run:#?}");
    let run = flash_a_running_one(&image, after, &["--yes"]);
    assert_eq!(run.code, 0, "{run:#?}");
    assert!(
        run.out.contains("lies in memory in another layout"),
        "{run:#?}"
    );
}

#[test]
fn drives_that_are_none_or_anothers_or_stay() {
    let folder = Folder::new();
    let image = folder.with("scale.bin", raw("rp2040", LENGTH));
    let place = folder.path().display().to_string();
    let run = || {
        let arguments = [
            "flash", "--board", "rp2040", "--image", &image, "--drive", &place, "--port", "none",
        ];
        finish(command(folder.path(), &arguments))
    };
    run().is_problem(3, "this is no boot drive: it has no INFO_UF2.TXT");
    folder.with("INFO_UF2.TXT", "Board-ID: ANOTHER-CHIP\n");
    run().is_problem(3, "the board that waits for firmware has another chip");
    folder.with("INFO_UF2.TXT", INFO);
    let stays = run();
    stays.is_problem(
        3,
        "the boot drive is still there: the board has not taken the image",
    );
    assert!(
        stays.err.contains("holds the image as it was sent"),
        "{stays:#?}"
    );
}

#[test]
fn a_board_of_the_other_kind_on_the_named_port_stops_it() {
    let (folder, drive) = (Folder::new(), Folder::new());
    let image = folder.with("scale.bin", raw("rp2040", LENGTH));
    let other = Persona::calibrated("atmega328p");
    let scale = FarEnd::new(Some(other), None, folder.path().join("never"));
    let place = drive.path().display().to_string();
    let arguments = [
        "flash",
        "--board",
        "rp2040",
        "--image",
        &image,
        "--drive",
        &place,
        "--wait",
        "1",
        "--port",
        scale.path(),
    ];
    finish(command(folder.path(), &arguments)).is_problem(3, "is not on such a board");
}

/// `flash` with a drive that may become one later.
fn waiting(folder: &Folder, drive: &str, wait: &str) -> std::process::Command {
    let image = folder.with("scale.bin", crate::made::sealed(&raw("rp2040", LENGTH)));
    let arguments = [
        "flash", "--board", "rp2040", "--image", &image, "--drive", drive, "--port", "none",
        "--wait", wait,
    ];
    command(folder.path(), &arguments)
}

#[test]
fn a_folder_that_is_not_there_is_not_waited_for() {
    let folder = Folder::new();
    let began = std::time::Instant::now();
    let run = finish(waiting(&folder, "no-such-drive", "60"));
    run.is_problem(3, "the folder named with --drive does not exist");
    assert!(run.err.contains("drive  no-such-drive"), "{run:#?}");
    finish(waiting(&folder, "scale.bin", "60")).is_problem(3, "--drive names is a file");
    assert!(began.elapsed() < Duration::from_secs(30));
}

#[test]
fn an_empty_folder_is_waited_for_by_name() {
    let (folder, drive) = (Folder::new(), Folder::new());
    let place = drive.path().display().to_string();
    let run = finish(waiting(&folder, &place, "1"));
    run.is_problem(3, "this is no boot drive: it has no INFO_UF2.TXT");
    for (text, part) in [
        (&run.out, format!("awaited   INFO_UF2.TXT in {place}")),
        (&run.err, format!("drive  {place}")),
    ] {
        assert!(text.contains(&part), "no \"{part}\" in {run:#?}");
    }
}

#[test]
fn an_interrupted_wait_says_that_nothing_was_written() {
    let (folder, drive) = (Folder::new(), Folder::new());
    let place = drive.path().display().to_string();
    let mut command = waiting(&folder, &place, "60");
    command
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped());
    let mut child = command.spawn().expect("it starts");
    // It waits from when it asks for the button.
    let mut shown = std::io::BufReader::new(child.stdout.take().expect("its output"));
    let mut line = String::new();
    while !line.contains("awaited") {
        line.clear();
        let read = std::io::BufRead::read_line(&mut shown, &mut line);
        assert!(read.is_ok_and(|count| count > 0), "it ended early");
    }
    let interrupt = ["-INT", &child.id().to_string()];
    let sent = std::process::Command::new("kill").args(interrupt).status();
    assert!(sent.is_ok_and(|status| status.success()));
    let output = child.wait_with_output().expect("it ends");
    let err = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(5), "{err}");
    assert!(err.starts_with("stopped: nothing was written\n"), "{err}");
}
