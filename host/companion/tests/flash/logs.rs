//! A log's stream to lines, with a made ELF file and a made stream.
//!
//! The file is what the defmt book calls the interning of strings: each text is
//! the name of a symbol in section `.defmt`, its number the symbol's address.
//! The stream is rzCOBS, as the crate of that name documents it.

use object::write::{Object, Symbol, SymbolSection};
use object::{Architecture, BinaryFormat, Endianness, SectionKind};
use object::{SymbolFlags, SymbolKind, SymbolScope};
use scalewright::firmware::log_lines::{Book, BookFault};
use scalewright_protocol::passport::LAYOUT_VERSION;

use crate::made::pass;

/// An ELF file with these texts, numbered from 1, and a passport.
pub fn elf(texts: &[(&str, &str)]) -> Vec<u8> {
    elf_for("rp2040", texts)
}

fn elf_for(board: &str, texts: &[(&str, &str)]) -> Vec<u8> {
    let mut file = Object::new(BinaryFormat::Elf, Architecture::Arm, Endianness::Little);
    let place = file.add_section(vec![], b".passport".to_vec(), SectionKind::ReadOnlyData);
    let wire = scalewright_protocol::WIRE_VERSION;
    file.append_section_data(place, &pass(board, wire, LAYOUT_VERSION), 4);
    let symbol = |name: String, value: u64, section: SymbolSection| Symbol {
        name: name.into_bytes(),
        value,
        size: 1,
        kind: SymbolKind::Data,
        scope: SymbolScope::Linkage,
        weak: false,
        section,
        flags: SymbolFlags::None,
    };
    if !texts.is_empty() {
        let defmt = file.add_section(vec![], b".defmt".to_vec(), SectionKind::Other);
        file.append_section_data(defmt, &[0; 16], 1);
        for name in ["_defmt_version_ = 4", "_defmt_encoding_ = rzcobs"] {
            file.add_symbol(symbol(name.into(), 0, SymbolSection::Absolute));
        }
        for (number, (tag, text)) in (1..).zip(texts) {
            let name = serde_json::json!({
                "package": "scale", "disambiguator": "0", "crate_name": "scale",
                "tag": format!("defmt_{tag}"), "data": text,
            });
            let section = SymbolSection::Section(defmt);
            file.add_symbol(symbol(name.to_string(), number, section));
        }
    }
    file.write().expect("an ELF file")
}

const TEXTS: [(&str, &str); 3] = [
    ("info", "table of {=u8} points in force"),
    ("warn", "no conversion for {=u16} ms"),
    ("error", "storage: {=str}"),
];

/// One line of at most seven bytes: those that are not zero, a byte with a bit
/// for each of seven places that is zero or behind the end, and a delimiter.
fn line(bytes: &[u8]) -> Vec<u8> {
    let mut coded: Vec<u8> = bytes.iter().copied().filter(|byte| *byte != 0).collect();
    let zero = |place: usize| bytes.get(place).is_none_or(|byte| *byte == 0);
    let marks = (0..7).filter(|place| zero(*place));
    coded.push(marks.fold(0, |marks, place| marks | 1 << place));
    coded.push(0);
    coded
}

/// "table of 16 points", "no conversion for 513 ms", "storage: no" in turn.
pub fn stream() -> Vec<u8> {
    let table = line(&[1, 0, 16]);
    let silent = line(&[2, 0, 0x01, 0x02]);
    [table.clone(), silent.clone(), table, silent].concat()
}

fn texts(book: &Book, pieces: &[&[u8]]) -> (Vec<String>, usize) {
    let mut reader = book.reader();
    let mut texts = Vec::new();
    for piece in pieces {
        for line in reader.take(piece) {
            texts.push(format!("{} {}", line.level.unwrap_or("none"), line.text));
        }
    }
    (texts, reader.broken())
}

#[test]
fn lines_come_back_however_the_stream_is_cut() {
    let book = Book::read(&elf(&TEXTS)).expect("texts");
    assert_eq!(book.passport.board(), "rp2040");
    let stream = stream();
    for size in 1..stream.len() {
        let pieces: Vec<&[u8]> = stream.chunks(size).collect();
        let (found, broken) = texts(&book, &pieces);
        let (table, silent) = (
            "info table of 16 points in force",
            "warn no conversion for 513 ms",
        );
        assert_eq!(found, [table, silent, table, silent], "pieces of {size}");
        assert_eq!(broken, 0);
    }
}

#[test]
fn a_lost_piece_costs_no_more_than_the_lines_it_was_of() {
    let book = Book::read(&elf(&TEXTS)).expect("texts");
    let stream = stream();
    for lost in 0..stream.len() - 1 {
        let (found, _) = texts(&book, &[&stream[..lost], &stream[lost + 1..]]);
        let silent = found.iter().filter(|text| text.ends_with("513 ms")).count();
        assert!(found.len() >= 2 && silent >= 1, "byte {lost}: {found:?}");
    }
}

#[test]
fn texts_of_another_firmware_are_noticed() {
    let book = Book::read(&elf(&TEXTS)).expect("texts");
    let mut reader = book.reader();
    for _ in 0..10 {
        assert_eq!(reader.take(&line(&[77, 1])), []);
    }
    assert!(reader.is_strange());
    assert_eq!(reader.broken(), 10);
}

#[test]
fn files_without_texts_are_told_apart() {
    let fault = |content: &[u8]| Book::read(content).err();
    assert_eq!(fault(b"no ELF file"), Some(BookFault::NotOurs));
    assert_eq!(fault(b""), Some(BookFault::NotOurs));
    let board = String::from("rp2040");
    assert_eq!(fault(&elf(&[])), Some(BookFault::NoTexts { board }));
    let mut cut = elf(&TEXTS);
    cut.truncate(cut.len() / 2);
    assert!(matches!(fault(&cut), Some(BookFault::Unreadable { .. })));
}

#[cfg(unix)]
mod command {
    use super::{TEXTS, elf, elf_for, stream};
    use crate::far_end::{FarEnd, Persona};
    use crate::made::{Folder, Run, command, finish};

    fn logs(elf: &[u8], scale: Persona, extra: &[&str]) -> Run {
        let folder = Folder::new();
        let elf = folder.with("scale.elf", elf);
        let far = FarEnd::new(Some(scale), None, folder.path().join("never"));
        let arguments = [
            "logs",
            "--elf",
            &elf,
            "--port",
            far.path(),
            "--seconds",
            "2",
        ];
        finish(command(folder.path(), &[&arguments, extra].concat()))
    }

    fn noting() -> Persona {
        Persona {
            log: stream().leak(),
            ..Persona::calibrated("rp2040")
        }
    }

    #[test]
    fn the_log_is_shown_and_a_damaged_frame_survived() {
        let run = logs(&elf(&TEXTS), noting(), &[]);
        assert_eq!((run.code, run.err.as_str()), (0, ""), "{run:#?}");
        let lines: Vec<&str> = run.is_narrow().out.lines().collect();
        assert!(lines[0].starts_with("log of scale 4F2A on "), "{run:#?}");
        assert!(
            run.out.contains("  info  table of 16 points in force"),
            "{run:#?}"
        );
        assert!(
            run.out.contains("  warn  no conversion for 513 ms"),
            "{run:#?}"
        );
        let last = lines.last().expect("a line");
        assert!(last.contains("did not come whole"), "{run:#?}");
    }

    #[test]
    fn scripts_get_an_object_a_line() {
        let run = logs(&elf(&TEXTS), noting(), &["--json"]);
        assert_eq!(run.code, 0, "{run:#?}");
        for line in run.out.lines() {
            let told: serde_json::Value = serde_json::from_str(line).expect("an object");
            assert!(told["level"] == "info" || told["level"] == "warn", "{line}");
        }
    }

    #[test]
    fn a_board_that_keeps_no_log_is_named() {
        let small = elf_for("atmega328p", &[]);
        let run = logs(&small, Persona::calibrated("atmega328p"), &[]);
        run.is_problem(4, "this firmware for atmega328p keeps no log");
        assert!(!run.err.contains("build-firmware"), "{run:#?}");
        let run = logs(&elf(&[]), noting(), &[]);
        run.is_problem(4, "this firmware for rp2040 keeps no log");
        assert!(run.err.contains("build-firmware"), "{run:#?}");
    }

    #[test]
    fn the_bench_is_told_from_another_firmware() {
        let run = logs(&elf(&TEXTS), Persona::calibrated("bench"), &[]);
        run.is_problem(3, "is the built-in bench: it keeps no log");
        assert!(!run.err.contains("flash"), "{run:#?}");
    }

    #[test]
    fn a_file_that_does_not_fit_is_refused() {
        let other = Persona {
            firmware: (0, 9, 0),
            ..noting()
        };
        logs(&elf(&TEXTS), other, &[]).is_problem(4, "is not that of the firmware on the scale");
        let strange = Persona {
            log: super::line(&[77, 1]).repeat(20).leak(),
            ..noting()
        };
        logs(&elf(&TEXTS), strange, &[]).is_problem(4, "is not that of the firmware on the scale");
        logs(b"no ELF file", noting(), &[]).is_problem(4, "no ELF file of a scale's firmware");
    }
}
