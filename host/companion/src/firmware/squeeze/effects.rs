//! What each instruction of the AVR reads, writes and where it leads.
//!
//! Source: "AVR Instruction Set Manual", Microchip DS40002198. What is not in
//! the list counts as reading and writing everything.

/// A set of registers and flags: bit n stands for register n, the rest for
/// flags.
pub type Set = u64;

/// The carry flag.
pub const CARRY: Set = 1 << 32;
/// The zero flag.
pub const ZERO: Set = 1 << 33;
/// All other flags of arithmetic.
pub const SIGNS: Set = 1 << 34;
/// The bit copy flag.
pub const COPY: Set = 1 << 35;
/// All of them.
pub const FLAGS: Set = CARRY | ZERO | SIGNS | COPY;
/// Every register.
pub const REGISTERS: Set = 0xffff_ffff;
/// Pointer Z.
pub const Z: Set = 1 << 30 | 1 << 31;
const X: Set = 1 << 26 | 1 << 27;
const Y: Set = 1 << 28 | 1 << 29;

/// Where an instruction leads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// To the next one.
    On,
    /// To the next one or to the label that is its last operand.
    Branch,
    /// To the label that is its operand, never to the next.
    Jump,
    /// To a function and back.
    Call,
    /// Back to the caller.
    Back,
    /// To the next or to the one after.
    Skip,
    /// Unknown.
    Unknown,
}

/// What an instruction does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Effects {
    /// What it reads.
    pub reads: Set,
    /// What it writes.
    pub writes: Set,
    /// Where it leads.
    pub way: Way,
    /// Whether it moves or looks at the stack's end, or lets interrupts in or
    /// keeps them out.
    pub stack: bool,
    /// Its length; of jumps and calls the longer one.
    pub bytes: u8,
}

const fn plain(reads: Set, writes: Set) -> Effects {
    Effects {
        reads,
        writes,
        way: Way::On,
        stack: false,
        bytes: 2,
    }
}

/// What the instruction written like this does.
#[must_use]
pub fn effects(text: &str) -> Effects {
    let (name, operands) = text.split_once('\t').unwrap_or((text, ""));
    let mut words = operands.split(',').map(str::trim);
    let (first, second) = (
        words.next().unwrap_or_default(),
        words.next().unwrap_or_default(),
    );
    let (one, two) = (register(first), register(second));
    known(name, first, second, one, two).unwrap_or(Effects {
        reads: REGISTERS | FLAGS,
        writes: REGISTERS | FLAGS,
        way: Way::Unknown,
        stack: true,
        bytes: 4,
    })
}

fn known(name: &str, first: &str, second: &str, one: Set, two: Set) -> Option<Effects> {
    const RESULT: Set = ZERO | SIGNS;
    let led = |way, reads, bytes| Effects {
        way,
        bytes,
        ..plain(reads, 0)
    };
    Some(match name {
        "mov" => plain(two, one),
        "movw" => plain(two | two << 1, one | one << 1),
        "ldi" => plain(0, one),
        "ser" => plain(0, one),
        "lds" => Effects {
            bytes: 4,
            ..plain(0, one)
        },
        "sts" => Effects {
            bytes: 4,
            ..plain(two, 0)
        },
        "ld" | "ldd" | "lpm" => {
            let (pointer, moved) = pointer(second)?;
            plain(pointer, one | if moved { pointer } else { 0 })
        }
        "st" | "std" => {
            let (pointer, moved) = pointer(first)?;
            plain(pointer | two, if moved { pointer } else { 0 })
        }
        "in" => {
            let port: u8 = second.parse().ok()?;
            Effects {
                stack: matches!(port, 61 | 62),
                ..plain(if port == 63 { FLAGS } else { 0 }, one)
            }
        }
        "out" => {
            let port: u8 = first.parse().ok()?;
            Effects {
                stack: matches!(port, 61..=63),
                ..plain(two, if port == 63 { FLAGS } else { 0 })
            }
        }
        "sbi" | "cbi" | "nop" | "wdr" | "sleep" => plain(0, 0),
        "add" | "sub" => plain(one | two, one | CARRY | RESULT),
        "adc" => plain(one | two | CARRY, one | CARRY | RESULT),
        "sbc" => plain(one | two | CARRY | ZERO, one | CARRY | RESULT),
        "subi" => plain(one, one | CARRY | RESULT),
        "sbci" => plain(one | CARRY | ZERO, one | CARRY | RESULT),
        "and" | "or" | "eor" => plain(one | two, one | RESULT),
        "andi" | "ori" | "inc" | "dec" => plain(one, one | RESULT),
        "com" | "neg" | "lsr" | "asr" | "lsl" => plain(one, one | CARRY | RESULT),
        "ror" | "rol" => plain(one | CARRY, one | CARRY | RESULT),
        "clr" => plain(0, one | RESULT),
        "tst" => plain(one, RESULT),
        "swap" => plain(one, one),
        "cp" => plain(one | two, CARRY | RESULT),
        "cpc" => plain(one | two | CARRY | ZERO, CARRY | RESULT),
        "cpi" => plain(one, CARRY | RESULT),
        "adiw" | "sbiw" => plain(one | one << 1, one | one << 1 | CARRY | RESULT),
        "mul" | "muls" | "mulsu" => plain(one | two, 0b11 | CARRY | ZERO),
        "bst" => plain(one, COPY),
        "bld" => plain(one | COPY, one),
        "cli" | "sei" => Effects {
            stack: true,
            ..plain(0, 0)
        },
        "push" => Effects {
            stack: true,
            ..plain(one, 0)
        },
        "pop" => Effects {
            stack: true,
            ..plain(0, one)
        },
        "breq" | "brne" => led(Way::Branch, ZERO, 2),
        "brlo" | "brsh" | "brcs" | "brcc" => led(Way::Branch, CARRY, 2),
        "brmi" | "brpl" | "brlt" | "brge" => led(Way::Branch, SIGNS, 2),
        "brts" | "brtc" => led(Way::Branch, COPY, 2),
        "rjmp" | "jmp" => led(Way::Jump, 0, if first.starts_with('.') { 2 } else { 4 }),
        "rcall" | "call" => led(Way::Call, REGISTERS, 4),
        "icall" => led(Way::Call, REGISTERS, 2),
        "ret" => Effects {
            stack: true,
            ..led(Way::Back, REGISTERS, 2)
        },
        "sbrc" | "sbrs" => led(Way::Skip, one, 2),
        "cpse" => led(Way::Skip, one | two, 2),
        "sbic" | "sbis" => led(Way::Skip, 0, 2),
        _ => return None,
    })
}

/// The register named, as a set of one; empty where none is.
fn register(word: &str) -> Set {
    let number = word.strip_prefix('r').and_then(|n| n.parse::<u32>().ok());
    number.filter(|n| *n < 32).map_or(0, |n| 1 << n)
}

/// The pointer of an address like `Z+3`, and whether it is moved by the access.
fn pointer(word: &str) -> Option<(Set, bool)> {
    let plain = word.trim_start_matches('-');
    let set = match plain.get(..1)? {
        "X" => X,
        "Y" => Y,
        "Z" => Z,
        _ => return None,
    };
    let moved = word.starts_with('-') || word.ends_with('+');
    Some((set, moved))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Instruction set manual, status register column: carry and zero written,
    /// carry and zero read.
    #[test]
    fn flags_are_as_the_manual_lists_them() {
        for (text, written, read) in [
            ("add\tr1, r2", CARRY | ZERO, 0),
            ("adc\tr1, r2", CARRY | ZERO, CARRY),
            ("sbc\tr1, r2", CARRY | ZERO, CARRY | ZERO),
            ("cpc\tr1, r2", CARRY | ZERO, CARRY | ZERO),
            ("inc\tr1", ZERO, 0),
            ("dec\tr1", ZERO, 0),
            ("andi\tr16, 1", ZERO, 0),
            ("com\tr1", CARRY | ZERO, 0),
            ("ror\tr1", CARRY | ZERO, CARRY),
            ("asr\tr1", CARRY | ZERO, 0),
            ("swap\tr1", 0, 0),
            ("mov\tr1, r2", 0, 0),
            ("mul\tr1, r2", CARRY | ZERO, 0),
            ("adiw\tr24, 1", CARRY | ZERO, 0),
            ("ldi\tr16, 1", 0, 0),
            ("push\tr1", 0, 0),
        ] {
            let effects = effects(text);
            assert_eq!(effects.writes & (CARRY | ZERO), written, "{text}");
            assert_eq!(effects.reads & (CARRY | ZERO), read, "{text}");
        }
    }

    #[test]
    fn pairs_and_pointers_count_whole() {
        assert_eq!(effects("movw\tr24, r30").reads, Z);
        assert_eq!(effects("st\tZ+, r5").writes, Z);
        assert_eq!(effects("std\tZ+4, r5").writes, 0);
        assert_eq!(effects("ld\tr5, -X").writes, X | 1 << 5);
        assert_eq!(effects("adiw\tr30, 1").writes & REGISTERS, Z);
        assert_eq!(effects("mul\tr20, r21").writes & REGISTERS, 0b11);
    }

    #[test]
    fn the_unknown_may_do_anything() {
        let unknown = effects("des\t3");
        assert_eq!(unknown.way, Way::Unknown);
        assert_eq!(unknown.reads & REGISTERS, REGISTERS);
        assert!(unknown.stack);
    }
}
