//! Images that must not reach a board: each is refused before anything is
//! looked for or written.

use scalewright::firmware::board::Board;
use scalewright::firmware::image::{Image, Piece};
use scalewright::firmware::{hex, uf2};
use scalewright_protocol::WIRE_VERSION;
use scalewright_protocol::passport::LAYOUT_VERSION;

use crate::made::{Folder, Run, command, finish, pass, raw, raw_with, sealed};

/// Runs `flash` with an image; the only drive it could write is a folder that
/// must stay as it is.
fn flash(board: &str, image: &[u8]) -> Run {
    let folder = Folder::new();
    let image = folder.with("image", image);
    let drive = Folder::new();
    drive.with("INFO_UF2.TXT", "Board-ID: RPI-RP2\n");
    let drive_path = drive.path().display().to_string();
    let arguments = [
        "flash",
        "--board",
        board,
        "--image",
        &image,
        "--drive",
        &drive_path,
        "--port",
        "nowhere",
    ];
    let run = finish(command(folder.path(), &arguments));
    let left = std::fs::read_dir(drive.path()).expect("the drive").count();
    assert_eq!(left, 1, "something was written");
    run
}

fn as_uf2(at: u32, bytes: Vec<u8>) -> Vec<u8> {
    uf2::write(&Image::of(vec![Piece { at, bytes }]).expect("an image"))
}

#[test]
fn what_is_not_ours() {
    let strangers = [
        raw_with(2000, &[0; 40]),
        as_uf2(0x1000_0000, raw_with(2000, &[0; 40])),
        b"<!doctype html><p>Not found".to_vec(),
    ];
    for image in strangers {
        flash("rp2040", &image).is_problem(4, "this is no firmware image of a scale");
    }
    let mut broken = raw("rp2040", 2000);
    broken[0x200 + 12] ^= 1;
    flash("rp2040", &broken).is_problem(4, "this is no firmware image of a scale");
}

/// A loader that reads back what it wrote would notice none of these.
#[test]
fn what_was_cut_or_changed_since_it_was_built() {
    let whole = sealed(&raw("rp2040", 3000));
    let mut changed = whole.clone();
    changed[2500] ^= 0x20;
    let gap: Vec<u8> = [&whole[..1000], &[0xFF; 100], &whole[1100..]].concat();
    for image in [&whole[..2000], &changed, &gap] {
        flash("rp2040", image).is_problem(4, "this image is damaged");
        let file = as_uf2(0x1000_0000, image.to_vec());
        flash("rp2040", &file).is_problem(4, "this image is damaged");
    }
}

#[test]
fn the_other_board() {
    flash("rp2040", &raw("atmega328p", 2000))
        .is_problem(4, "this image is for atmega328p, not for rp2040");
    flash("atmega328p", &raw("rp2040", 2000))
        .is_problem(4, "this image is for rp2040, not for atmega328p");
    let image = as_uf2(0x1000_0000, raw("rp2040", 2000));
    flash("atmega328p", &image).is_problem(4, "for rp2040, not for atmega328p");
}

#[test]
fn another_wire_version() {
    let other = pass("rp2040", WIRE_VERSION + 1, LAYOUT_VERSION);
    flash("rp2040", &raw_with(2000, &other)).is_problem(
        4,
        &format!(
            "speaks wire version {}, this program version {WIRE_VERSION}",
            WIRE_VERSION + 1
        ),
    );
}

/// Room: 2 MiB without five sectors of 4 KiB; 32 KiB without 2 KiB.
#[test]
fn what_does_not_fit() {
    for (board, room) in [("rp2040", 2_097_152 - 20_480), ("atmega328p", 30_720)] {
        let kind: Board = board.parse().expect("a board");
        assert_eq!(kind.room().len(), room);
        flash(board, &raw(board, room + 1)).is_problem(
            4,
            &format!(
                "too large for the board: {} bytes, room is for {room}",
                room + 1
            ),
        );
    }
}

#[test]
fn what_does_not_begin_where_the_board_starts() {
    flash("rp2040", &as_uf2(0x2000_0000, raw("rp2040", 2000))).is_problem(
        4,
        "begins at 0x20000000, which is not where the board starts",
    );
    let bytes = raw("atmega328p", 2000);
    let image = Image::of(vec![Piece { at: 0x7E00, bytes }]).expect("an image");
    flash("atmega328p", hex::write(&image).as_bytes())
        .is_problem(4, "begins at 0x7e00, which is not where the board starts");
}

#[test]
fn files_that_are_damaged_missing_or_none() {
    let mut cut = as_uf2(0x1000_0000, raw("rp2040", 2000));
    cut.pop();
    flash("rp2040", &cut).is_problem(4, "this UF2 file is damaged: its last block is cut off");
    flash("rp2040", b"").is_problem(4, "this is no firmware image: there is nothing in it");
    let folder = Folder::new();
    let run = |arguments: &[&str]| finish(command(folder.path(), arguments));
    run(&["flash", "--board", "rp2040", "--image", "none.uf2"])
        .is_problem(4, "cannot read the image");
    run(&["flash", "--board", "rp2040", "--image", "."])
        .is_problem(4, "cannot read the image: it is no file");
    run(&["flash", "--board", "rp2040"]).is_problem(4, "there is no image to flash yet");
    run(&["build-firmware"]).is_problem(4, "the firmware's source is not here");
    for (named, what) in [
        (
            ".",
            "the folder named with --source holds no firmware source",
        ),
        ("none", "there is no folder of the name given with --source"),
    ] {
        let told = run(&["build-firmware", "--source", named]);
        told.is_problem(4, what);
        assert!(
            told.err.contains(&format!("folder  {named}\n")),
            "{told:#?}"
        );
    }
}

#[test]
fn boards_that_are_not() {
    let folder = Folder::new();
    let run = finish(command(folder.path(), &["flash", "--board", "toaster"]));
    assert_eq!(run.code, 2);
    assert!(run.err.contains("rp2040 and atmega328p"), "{run:#?}");
}
