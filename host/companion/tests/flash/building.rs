//! Building, with scripts that play rustc, cargo and a linker: which toolchain
//! is taken and how, what is written, and what is said when it fails.

use std::fs;
use std::os::unix::fs::PermissionsExt;

use scalewright::firmware::board::Board;
use scalewright::firmware::image::Image;

use crate::made::{Folder, Run, Section, command, elf, finish, pass, raw, raw_with, sealed};

/// What the compiler writes: two tests for the same.
const WRITTEN: &str = "\\t.section\\t.text.f,\"ax\",@progbits\\nf:\\n\\tandi\\tr24, 1\\n\
    \\tcpi\\tr24, 0\\n\\tbreq\\t.L\\n\\tinc\\tr24\\n.L:\\n\\tret\\n";

/// A source with two boards, and a machine with a toolchain.
struct Machine {
    source: Folder,
    tools: Folder,
}

impl Machine {
    /// The toolchain holds what `has` names below lib/rustlib; its cargo makes
    /// `program` and ends with `code`.
    fn new(release: &str, has: &[&str], program: &[u8], code: u8) -> Self {
        let (source, tools) = (Folder::new(), Folder::new());
        for room in ["core", "rp2040", "atmega328p"] {
            let folder = source.path().join("firmware").join(room);
            fs::create_dir_all(&folder).expect("a folder");
            fs::write(folder.join("Cargo.toml"), "").expect("a file");
        }
        let here = tools.path().display().to_string();
        for name in has {
            let path = tools.path().join("lib/rustlib").join(name);
            fs::create_dir_all(path.parent().expect("a folder")).expect("folders");
            fs::write(path, "").expect("a file");
        }
        tools.with("program", program);
        let machine = Self { source, tools };
        machine.script(
            "rustc",
            &format!("case $1 in --print) echo '{here}';; *) echo 'release: {release}';; esac"),
        );
        machine.script(
            "cargo",
            &format!(
                "case $* in *metadata*)\n\
                     echo '{{\"target_directory\":\"{here}/target\",\"version\":1}}'; exit;;\n\
                 esac\n\
                 mkdir -p '{here}/target'\n\
                 for word in \"$@\"; do case $word in\n\
                     --emit=asm=*) printf '{WRITTEN}' > \"${{word#--emit=asm=}}\";;\n\
                 esac; done\n\
                 echo \"$@\" > '{here}/asked'\n\
                 echo \"${{RUSTC_BOOTSTRAP-no}} ${{RUSTFLAGS-no}} $RUSTC $(pwd)\" > '{here}/given'\n\
                 echo '   Compiling scale v0.1.0' >&2\n\
                 [ {code} = 0 ] || echo 'error[E0425]: cannot find value' >&2\n\
                 echo '{{\"reason\":\"compiler-artifact\",\"executable\":\"{here}/program\"}}'\n\
                 exit {code}"
            ),
        );
        machine.script("rust-lld", "");
        machine.linker_ends_with(0, "");
        machine
    }

    /// The small board's linker keeps what it is given, and makes the program.
    fn linker_ends_with(&self, code: u8, words: &str) {
        let here = self.tools.path().display().to_string();
        self.script(
            "avr-gcc",
            &format!(
                "while [ $# -gt 0 ]; do case $1 in\n\
                     -o) cp '{here}/program' \"$2\"; shift;;\n\
                     *.s) cp \"$1\" '{here}/linked';;\n\
                 esac; shift; done\n\
                 echo '{words}' >&2\n\
                 exit {code}"
            ),
        );
    }

    fn script(&self, name: &str, words: &str) {
        let path = self.tools.with(name, format!("#!/bin/sh\n{words}\n"));
        fs::set_permissions(path, fs::Permissions::from_mode(0o755)).expect("executable");
    }

    fn build(&self, arguments: &[&str]) -> Run {
        let mut command = command(
            self.source.path(),
            &[&["build-firmware"], arguments].concat(),
        );
        // The scripts need what /bin has; a toolchain there would be found
        // after ours, which is all that is asked of the order.
        let path = format!("{}:/bin", self.tools.path().display());
        command.env("PATH", path).env("TMPDIR", self.tools.path());
        command.env("RUSTFLAGS", "-D warnings");
        finish(command)
    }

    fn kept(&self, name: &str) -> String {
        fs::read_to_string(self.tools.path().join(name)).expect("it was called")
    }

    fn image(&self, name: &str) -> Vec<u8> {
        fs::read(self.source.path().join("firmware/images").join(name)).expect("an image")
    }
}

fn program(at: u32, code: &[u8]) -> Vec<u8> {
    elf(&[Section {
        runs_at: at,
        loads_at: Some(at),
        bytes: code,
        zeros: 0,
    }])
}

const FLASH: u32 = 0x1000_0000;

#[test]
fn an_installed_target_is_used_as_it_is() {
    let code = raw("rp2040", 3000);
    let has = ["thumbv6m-none-eabi/lib/libcore-12ab.rlib"];
    let machine = Machine::new("1.95.0", &has, &program(FLASH, &code), 0);
    let run = machine.build(&["--board", "rp2040", "--locked"]);
    assert_eq!((run.code, run.err.as_str()), (0, ""), "{run:#?}");
    for part in [
        "with      Rust 1.95.0, the target is installed",
        "flash     3000 bytes of 2028 KiB",
        "next      scalewright flash --board rp2040",
    ] {
        assert!(run.out.contains(part), "no \"{part}\" in {run:#?}");
    }
    run.is_narrow();
    let asked = machine.kept("asked");
    assert!(asked.contains("rustc --release"), "{asked}");
    assert!(asked.contains("--target thumbv6m-none-eabi"), "{asked}");
    assert!(
        asked.contains("--locked") && !asked.contains("-Z"),
        "{asked}"
    );
    let given = machine.kept("given");
    assert!(
        given.starts_with("no no "),
        "flags that win over the board's: {given}"
    );
    assert!(given.trim().ends_with("firmware/rp2040"), "{given}");
    let code = sealed(&code);
    assert_eq!(machine.image("rp2040.bin"), code);
    assert_eq!(machine.image("rp2040.elf"), program(FLASH, &code));
    let (_, blocks) = Image::read(&machine.image("rp2040.uf2"), 0).expect("UF2");
    assert_eq!(blocks.flat(&Board::Rp2040.room())[..3000], code);
    assert_eq!(machine.image(".gitignore"), b"*\n");
}

#[test]
fn the_library_is_built_along_where_only_its_source_is() {
    let code = raw("atmega328p", 3000);
    let has = ["src/rust/library/core/Cargo.toml"];
    for (release, bootstrap, words) in [
        ("1.96.0", "1 ", "library from source"),
        ("1.99.0-nightly", "no ", "nightly, library from source"),
    ] {
        let machine = Machine::new(release, &has, &program(0, &code), 0);
        machine
            .source
            .with("firmware/atmega328p/budget.toml", "flash_bytes = 2999\n");
        let run = machine.build(&["--board", "atmega328p", "--json"]);
        assert_eq!(run.code, 0, "{run:#?}");
        let told: serde_json::Value = serde_json::from_str(&run.out).expect("one object");
        assert_eq!(told["images"][0]["flash_bytes"], 3000);
        assert!(machine.kept("asked").contains("-Z build-std=core"));
        assert!(machine.kept("given").starts_with(bootstrap));
        // Squeezed on the way to the linker: one test is enough.
        let linked = machine.kept("linked");
        assert!(
            linked.contains("\tbreq\t.L\n") && !linked.contains("cpi"),
            "{linked}"
        );
        let (_, lines) = Image::read(&machine.image("atmega328p.hex"), 0).expect("HEX");
        assert_eq!(lines.flat(&Board::Atmega328p.room()), sealed(&code));
        let run = machine.build(&["--board", "atmega328p"]);
        assert!(run.out.contains(words), "{run:#?}");
        assert!(
            run.out.contains("OVER its budget of 2999 bytes"),
            "{run:#?}"
        );
    }
}

#[test]
fn a_program_that_does_not_link_is_no_image() {
    let has = ["src/rust/library/core/Cargo.toml"];
    let good = program(0, &raw("atmega328p", 3000));
    let machine = Machine::new("1.96.0", &has, &good, 0);
    machine.linker_ends_with(1, "ld: region text overflowed by 12 bytes");
    let why = "it is too large, memory region text overflowed by 12 bytes";
    machine.build(&["--board", "atmega328p"]).is_problem(4, why);
    machine.linker_ends_with(1, "undefined reference to `a_panic_can_be_reached");
    let run = machine.build(&["--board", "atmega328p"]);
    run.is_problem(4, "avr-gcc cannot link it");
    assert!(
        run.err.contains("scalewright-build-atmega328p.log"),
        "{run:#?}"
    );
    assert!(!machine.source.path().join("firmware/images").exists());
}

#[test]
fn what_was_built_can_be_flashed_without_naming_it() {
    let has = ["thumbv6m-none-eabi/lib/libcore-12ab.rlib"];
    let image = program(FLASH, &raw("rp2040", 3000));
    let machine = Machine::new("1.95.0", &has, &image, 0);
    assert_eq!(machine.build(&["--board", "rp2040"]).code, 0);
    let inside = machine.source.path().join("firmware/core");
    let drive = machine.tools.path().display().to_string();
    let arguments = ["flash", "--board", "rp2040", "--drive", &drive];
    let run = finish(command(&inside, &arguments));
    // It is found and sound: the next thing that lacks is the drive.
    run.is_problem(3, "this is no boot drive");
}

#[test]
fn what_is_printed_can_be_typed_where_it_is_printed() {
    let has = ["src/rust/library/core/Cargo.toml"];
    let image = program(0, &raw("atmega328p", 3000));
    let machine = Machine::new("1.96.0", &has, &image, 0);
    let source = fs::canonicalize(machine.source.path()).expect("it is there");
    let board = ["--board", "atmega328p"];
    let inside = machine.build(&board);
    let next = "next      scalewright flash --board atmega328p --port PORT";
    for part in ["image     firmware/images/atmega328p.hex", next] {
        assert!(inside.out.contains(part), "no \"{part}\" in {inside:#?}");
    }
    assert!(!inside.out.contains("--image"), "{inside:#?}");
    assert!(
        !inside.out.contains("compiler"),
        "the only one: {inside:#?}"
    );

    let elsewhere = Folder::new();
    let older = elsewhere.with("rustc", "#!/bin/sh\n");
    let path = format!(
        "{}:{}:/bin",
        elsewhere.path().display(),
        machine.tools.path().display()
    );
    let given = source.display().to_string();
    let mut command = command(
        elsewhere.path(),
        &["build-firmware", "--source", &given, board[0], board[1]],
    );
    command.env("PATH", path);
    let run = finish(command);
    assert_eq!(run.code, 0, "{run:#?}");
    for part in [
        format!("image     {given}/firmware/images/atmega328p.hex\n"),
        format!("{next} --image {given}/firmware/images/atmega328p.hex\n"),
        format!("compiler  {}/rustc\n", machine.tools.path().display()),
    ] {
        assert!(run.out.contains(&part), "no \"{part}\" in {run:#?}");
    }
    assert!(!run.out.contains(&older), "{run:#?}");
}

#[test]
fn failures_say_what_to_do() {
    let has = ["thumbv6m-none-eabi/lib/libcore-12ab.rlib"];
    let good = program(FLASH, &raw("rp2040", 3000));
    let machine = Machine::new("1.95.0", &has, &good, 101);
    let run = machine.build(&["--board", "rp2040"]);
    run.is_problem(4, "does not build: error[E0425]: cannot find value");
    assert!(run.err.contains("scalewright-build-rp2040.log"), "{run:#?}");
    assert!(!machine.source.path().join("firmware/images").exists());

    let stranger = program(FLASH, &raw_with(3000, &pass("other", 1, 1)));
    Machine::new("1.95.0", &has, &stranger, 0)
        .build(&["--board", "rp2040"])
        .is_problem(4, "what was built cannot be used: this image is for other");

    let machine = Machine::new("1.95.0", &has, &good, 0);
    machine
        .source
        .with("firmware/rp2040/budget.toml", "flash_bytes = many\n");
    machine
        .build(&["--board", "rp2040"])
        .is_problem(4, "budget.toml");
    let gone = machine.source.path().join("firmware/atmega328p");
    fs::remove_dir_all(gone).expect("removed");
    machine
        .build(&["--board", "atmega328p"])
        .is_problem(4, "this source has no firmware for that board");

    let machine = Machine::new("1.60.0", &has, &good, 0);
    let mut command = command(machine.source.path(), &["build-firmware"]);
    command.env("PATH", machine.tools.path());
    let run = finish(command);
    assert_eq!(run.code, 3, "too old: {run:#?}");
    let advice = run.err.split_whitespace().collect::<Vec<_>>().join(" ");
    for part in [
        "no Rust toolchain here can build for this board",
        "`rustup target add thumbv6m-none-eabi`",
        "`sudo apt install rustc-web cargo-web rust-web-src binutils-arm-none-eabi`",
    ] {
        assert!(advice.contains(part), "no \"{part}\" in {run:#?}");
    }
}
