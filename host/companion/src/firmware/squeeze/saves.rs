//! Saving registers and making room on the stack, shared by all functions.
//!
//! The compiler writes out up to eighteen pushes, the move of the stack's end
//! and their reverse in every function. Here a function calls one piece of code
//! that does it from its lowest register number up, and leaves by another. A
//! function may come to save more registers than it needs. One without a frame has
//! a shorter way in and out, which leaves the stack's end and Y alone.
//!
//! Calling convention: "AVR-GCC", GCC wiki, section "Calling Convention". On
//! entry r0, X and Z are free; on leaving they are, too; Y keeps the frame.

use std::collections::{BTreeSet, HashSet};

use super::effects::Way;
use super::program::{Function, Instruction, Line, Program};

/// Which functions share this work: what is best depends on what comes after, and is
/// found out by trying.
#[derive(Clone, Copy, Debug)]
pub struct Terms {
    /// Bytes from where sharing pays.
    pub least_gain: usize,
    /// The lowest register from which a way without a frame is worth its room.
    pub least_bare: u8,
}

/// Bytes of stack a function may use beyond what it needs.
const MOST_WASTE: usize = 4;
/// How the ways without a frame differ in name.
const BARE: &str = "bare_";
/// Number that stands for "only the frame's pointer" among registers 2 to 17.
const NONE: u8 = 18;

/// What a function does first and last.
#[derive(Debug)]
struct Frame {
    /// Lines at the head that do it.
    head: usize,
    /// Lowest register to save; [`NONE`] for none.
    lowest: u8,
    /// Bytes of the frame; `None` without one.
    room: Option<u8>,
    /// Each way out: first line, how many lines, how many of them give the
    /// frame back.
    ways_out: Vec<(usize, usize, usize)>,
}

/// Lets the functions of the program share this work where that is shorter.
pub fn share(program: &mut Program, terms: Terms) {
    let (mut framed, mut bare) = (BTreeSet::new(), BTreeSet::new());
    for function in &mut program.functions {
        if let Some(frame) = frame(function, terms.least_bare)
            && gain(&frame) >= terms.least_gain
        {
            let used = match frame.room {
                Some(_) => &mut framed,
                None => &mut bare,
            };
            used.insert(frame.lowest);
            rewrite(function, &frame);
        }
    }
    if !framed.is_empty() {
        program.functions.push(enter(&framed));
        program.functions.push(leave(&framed));
    }
    if !bare.is_empty() {
        program.functions.push(enter_bare(&bare));
        program.functions.push(leave_bare(&bare));
    }
}

/// Whether this is the call that saves registers and makes a frame.
#[must_use]
pub fn enters(code: &Instruction) -> bool {
    code.text.starts_with("call\tenter_")
}

fn gain(frame: &Frame) -> usize {
    // `ldi`, if there is a frame, and a call of either length; a jump and what gives
    // the frame back.
    let head = if frame.room.is_some() { 5 } else { 3 };
    let out = frame
        .ways_out
        .iter()
        .map(|(_, lines, kept)| 2 * (lines - kept));
    (2 * frame.head + out.clone().sum::<usize>()).saturating_sub(head + 3 * out.count())
}

fn rewrite(function: &mut Function, frame: &Frame) {
    for (first, count, kept) in frame.ways_out.iter().rev() {
        let end = first + count;
        let way = if frame.room.is_some() { "" } else { BARE };
        let jump = Line::new(&format!("jmp\tleave_{way}{}", frame.lowest));
        function.lines.splice(first + kept..end, [jump]);
    }
    let head = match frame.room {
        Some(room) => vec![
            Line::new(&format!("ldi\tr26, {room}")),
            Line::new(&format!("call\tenter_{}", frame.lowest)),
        ],
        None => vec![Line::new(&format!("call\tenter_{BARE}{}", frame.lowest))],
    };
    function.lines.splice(..frame.head, head);
}

/// The instruction at this line; empty where there is none.
fn text_of(function: &Function, at: usize) -> &str {
    function
        .lines
        .get(at)
        .and_then(Line::code)
        .map_or("", |code| code.text.as_str())
}

fn frame(function: &Function, least_bare: u8) -> Option<Frame> {
    let mut at = 0;
    let mut saved = Vec::new();
    while let Some(number) = text_of(function, at).strip_prefix("push\tr") {
        saved.push(number.parse::<u8>().ok()?);
        at += 1;
    }
    let has_frame =
        [text_of(function, at), text_of(function, at + 1)] == ["in\tr28, 61", "in\tr29, 62"];
    let mut room = 0;
    if has_frame {
        let (bytes, lines) = moved(function, at + 2)?;
        room = u8::try_from(-bytes).ok()?;
        at += 2 + lines;
        at += stored(function, at)?;
    }
    if saved.is_empty() || has_frame != saved.ends_with(&[28, 29]) {
        return None;
    }
    let own: Vec<u8> = saved
        .iter()
        .copied()
        .filter(|r| (2..18).contains(r))
        .collect();
    if own.len() + if has_frame { 2 } else { 0 } != saved.len() || !own.is_sorted() {
        return None;
    }
    let lowest = match own.first() {
        // It never returns, so nobody will miss what was in them.
        _ if never_returns(function) => NONE,
        Some(lowest) => *lowest,
        None => NONE,
    };
    let bare = !has_frame && (least_bare..NONE).contains(&lowest);
    let bytes = if bare { 0 } else { 2 } + usize::from(NONE - lowest);
    // Arguments on the stack lie beyond what is saved, so nothing may move there.
    let waste = bytes.saturating_sub(saved.len());
    if waste > MOST_WASTE || (bytes != saved.len() && looks_beyond(function, room)) {
        return None;
    }
    let mut ways_out = Vec::new();
    for (end, line) in function.lines.iter().enumerate() {
        let Some(code) = line.code() else { continue };
        match code.effects.way {
            Way::Back => ways_out.push(way_out(function, end, &saved, has_frame.then_some(room))?),
            // Out of the function, by a way that is not understood here.
            Way::Unknown => return None,
            Way::Jump if !stays(code) => return None,
            Way::On | Way::Branch | Way::Jump | Way::Call | Way::Skip => {}
        }
    }
    Some(Frame {
        head: at,
        lowest,
        room: (!bare).then_some(room),
        ways_out,
    })
}

/// Whether a jump leads to a label of its own function.
fn stays(jump: &Instruction) -> bool {
    jump.operands()
        .first()
        .is_some_and(|to| to.starts_with('.'))
}

/// Whether nothing leads out of the function but calls.
fn never_returns(function: &Function) -> bool {
    function
        .lines
        .iter()
        .filter_map(Line::code)
        .all(|code| match code.effects.way {
            Way::Back | Way::Unknown => false,
            Way::Jump => stays(code),
            Way::On | Way::Branch | Way::Call | Way::Skip => true,
        })
}

/// Bytes by which the frame's pointer is moved at this place, and lines used.
fn moved(function: &Function, at: usize) -> Option<(i32, usize)> {
    let number = |text: &str, start: &str| text.strip_prefix(start)?.parse::<i32>().ok();
    let (one, two) = (text_of(function, at), text_of(function, at + 1));
    if let Some(bytes) = number(one, "adiw\tr28, ") {
        return Some((bytes, 1));
    }
    if let Some(bytes) = number(one, "sbiw\tr28, ") {
        return Some((-bytes, 1));
    }
    let low = number(one, "subi\tr28, ")?;
    let high = number(two, "sbci\tr29, ")?;
    let both = (low & 0xff) | (high & 0xff) << 8;
    Some((-i32::from(both as u16 as i16), 2))
}

/// Lines that make the frame's pointer the stack's end, if they are here.
fn stored(function: &Function, at: usize) -> Option<usize> {
    const LINES: [&str; 5] = [
        "in\tr0, 63",
        "cli",
        "out\t62, r29",
        "out\t63, r0",
        "out\t61, r28",
    ];
    let same = (0..5).all(|n| text_of(function, at + n) == LINES[n]);
    same.then_some(LINES.len())
}

/// The way out that ends with the `ret` at this line: where it begins, how many
/// lines it has, and how many give the frame back.
fn way_out(
    function: &Function,
    end: usize,
    saved: &[u8],
    room: Option<u8>,
) -> Option<(usize, usize, usize)> {
    let mut first = end;
    for number in saved {
        first = first.checked_sub(1)?;
        if text_of(function, first) != format!("pop\tr{number}") {
            return None;
        }
    }
    let mut kept = 0;
    if let Some(room) = room {
        let before = first.checked_sub(5)?;
        stored(function, before)?;
        let found = [1, 2].into_iter().find(|lines| {
            before
                .checked_sub(*lines)
                .and_then(|at| moved(function, at))
                == Some((room.into(), *lines))
        });
        kept = found?;
        first = before - kept;
    }
    Some((first, end + 1 - first, kept))
}

/// Names of functions that may find arguments on the stack, right above the way
/// back: nothing may come between. Asked before anything is shared.
#[must_use]
pub fn takers(program: &Program) -> HashSet<String> {
    let takes = |function: &&Function| {
        let at = function
            .lines
            .iter()
            .position(|line| line.code().is_some_and(|code| code.text == "in\tr28, 61"));
        // Who does not know where the stack is takes nothing from it.
        at.is_some_and(|at| {
            let room = moved(function, at + 2).and_then(|(bytes, _)| u8::try_from(-bytes).ok());
            room.is_none_or(|room| looks_beyond(function, room))
        })
    };
    let named = program.functions.iter().filter(takes);
    named.map(|function| function.name.clone()).collect()
}

/// Whether the function may look at what lies beyond its frame of `room` bytes,
/// or does with the frame's pointer what is not understood here.
fn looks_beyond(function: &Function, room: u8) -> bool {
    let codes: Vec<_> = function.lines.iter().filter_map(Line::code).collect();
    for (at, code) in codes.iter().enumerate() {
        for operand in code.operands() {
            if let Some(place) = operand.strip_prefix("Y+")
                && !place.parse::<u8>().is_ok_and(|place| place <= room)
            {
                return true;
            }
        }
        let [to, "r28" | "r29"] = code.operands()[..] else {
            continue;
        };
        let is_copy = matches!(code.name(), "mov" | "movw");
        let number = |at: usize, name: &str| -> Option<u8> {
            let next = codes.get(at).filter(|code| code.name() == name)?;
            let [_, number] = next.operands()[..] else {
                return None;
            };
            number.parse().ok()
        };
        let of_it = codes
            .get(at + 1)
            .is_some_and(|next| next.operands().first() == Some(&to));
        let added = number(at + 1, "adiw").or_else(|| {
            // A small sum, written as a difference of two bytes.
            let low = number(at + 1, "subi")?;
            (number(at + 2, "sbci") == Some(255)).then(|| low.wrapping_neg())
        });
        let near = of_it && added.is_some_and(|added| added <= room);
        if is_copy && !near {
            return true;
        }
    }
    false
}

/// Saves registers from the highest entry's down, then takes r26 bytes of stack
/// as frame. The way back lies where the first push has to go: it waits in Z.
fn enter(used: &BTreeSet<u8>) -> Function {
    let mut lines = pushes(used, "");
    let end = [
        "push\tr28",
        "push\tr29",
        "in\tr28, 61",
        "in\tr29, 62",
        "sub\tr28, r26",
        "sbc\tr29, r1",
        "in\tr0, 63",
        "cli",
        "out\t62, r29",
        "out\t63, r0",
        "out\t61, r28",
        "ijmp",
    ];
    lines.extend(end.map(Line::new));
    Function::made("enter", lines)
}

/// Brings back what `enter` saved and returns. The frame is given back already,
/// so that what was saved lies right above Y.
fn leave(used: &BTreeSet<u8>) -> Function {
    let mut lines = Vec::new();
    let lowest = used.first().copied().unwrap_or(NONE);
    for entry in used.iter().rev() {
        lines.push(Line::Label(format!("leave_{entry}")));
        lines.push(Line::new(&format!("ldi\tr30, {}", 2 + NONE - entry)));
        if *entry != lowest {
            lines.push(Line::new(&format!("rjmp\t.Lload_{entry}")));
        }
    }
    for number in lowest..NONE {
        if used.contains(&number) && number != lowest {
            lines.push(Line::Label(format!(".Lload_{number}")));
        }
        lines.push(Line::new(&format!(
            "ldd\tr{number}, Y+{}",
            2 + NONE - number
        )));
    }
    if used.contains(&NONE) && lowest != NONE {
        lines.push(Line::Label(format!(".Lload_{NONE}")));
    }
    let end = [
        "ldd\tr26, Y+2",
        "ldd\tr27, Y+1",
        "add\tr28, r30",
        "adc\tr29, r1",
        "in\tr0, 63",
        "cli",
        "out\t62, r29",
        "out\t63, r0",
        "out\t61, r28",
        "movw\tr28, r26",
        "ret",
    ];
    lines.extend(end.map(Line::new));
    Function::made("leave", lines)
}

/// Saves registers from the entry's up, and nothing else.
fn enter_bare(used: &BTreeSet<u8>) -> Function {
    let mut lines = pushes(used, BARE);
    lines.push(Line::new("ijmp"));
    Function::made("enter_bare", lines)
}

/// Every entry of one kind, and the pushes behind them, each from its register up.
fn pushes(used: &BTreeSet<u8>, kind: &str) -> Vec<Line> {
    let mut lines = Vec::new();
    let lowest = used.first().copied().unwrap_or(NONE);
    for entry in used.iter().rev() {
        lines.push(Line::Label(format!("enter_{kind}{entry}")));
        lines.extend(["pop\tr31", "pop\tr30"].map(Line::new));
        if *entry != lowest {
            lines.push(Line::new(&format!("rjmp\t.Lpush_{kind}{entry}")));
        }
    }
    for number in lowest..=NONE {
        if used.contains(&number) && number != lowest {
            lines.push(Line::Label(format!(".Lpush_{kind}{number}")));
        }
        if number != NONE {
            lines.push(Line::new(&format!("push\tr{number}")));
        }
    }
    lines
}

/// Brings back what `enter_bare` saved and returns.
///
/// What is popped last differs, so that nothing of it can be shared.
fn leave_bare(used: &BTreeSet<u8>) -> Function {
    let mut lines = Vec::new();
    for entry in used {
        lines.push(Line::Label(format!("leave_{BARE}{entry}")));
        let pops = (*entry..NONE).rev();
        lines.extend(pops.map(|number| Line::new(&format!("pop\tr{number}"))));
        lines.push(Line::new("ret"));
    }
    Function::made("leave_bare", lines)
}

#[cfg(test)]
mod tests {
    use super::*;

    const TERMS: Terms = Terms {
        least_gain: 4,
        least_bare: 12,
    };
    const MOVE: [&str; 5] = [
        "in r0, 63",
        "cli",
        "out 62, r29",
        "out 63, r0",
        "out 61, r28",
    ];

    /// A function that saves these registers and has a frame of six bytes.
    fn framed(saved: &[u8], body: &[&str]) -> Function {
        let mut texts: Vec<String> = saved.iter().map(|r| format!("push r{r}")).collect();
        let all = |texts: &mut Vec<String>, more: &[&str]| {
            texts.extend(more.iter().map(ToString::to_string));
        };
        all(&mut texts, &["in r28, 61", "in r29, 62", "sbiw r28, 6"]);
        all(&mut texts, &MOVE);
        all(&mut texts, body);
        all(&mut texts, &["adiw r28, 6"]);
        all(&mut texts, &MOVE);
        texts.extend(saved.iter().rev().map(|r| format!("pop r{r}")));
        all(&mut texts, &["ret"]);
        let lines: Vec<&str> = texts.iter().map(String::as_str).collect();
        Function::written("f", &lines)
    }

    fn shared(function: Function) -> (Vec<String>, usize) {
        let mut program = Program::default();
        program.functions.push(function);
        share(&mut program, TERMS);
        (program.functions[0].texts(), program.functions.len())
    }

    #[test]
    fn a_frame_is_entered_and_left_by_the_shared_code() {
        let (texts, functions) = shared(framed(&[16, 17, 28, 29], &["std Y+6, r24"]));
        let wanted = [
            "ldi r26, 6",
            "call enter_16",
            "std Y+6, r24",
            "adiw r28, 6",
            "jmp leave_16",
        ];
        assert_eq!(texts, wanted);
        assert_eq!(functions, 3);
    }

    /// Without a frame Y and the stack's end are left alone.
    #[test]
    fn without_a_frame_only_registers_are_saved() {
        let texts = [
            "push r14", "push r15", "push r16", "push r17", "call g", "pop r17", "pop r16",
            "pop r15", "pop r14", "ret",
        ];
        let mut program = Program::default();
        program.functions.push(Function::written("f", &texts));
        share(&mut program, TERMS);
        let each: Vec<_> = program.functions.iter().map(Function::texts).collect();
        assert_eq!(
            each[0],
            ["call enter_bare_14", "call g", "jmp leave_bare_14"]
        );
        // The way back is taken off before, and jumped to after the last push.
        assert_eq!(
            each[1],
            [
                "enter_bare_14:",
                "pop r31",
                "pop r30",
                "push r14",
                "push r15",
                "push r16",
                "push r17",
                "ijmp"
            ]
        );
        assert_eq!(
            each[2],
            [
                "leave_bare_14:",
                "pop r17",
                "pop r16",
                "pop r15",
                "pop r14",
                "ret"
            ]
        );
    }

    #[test]
    fn a_few_registers_more_may_be_saved_but_not_under_arguments_on_the_stack() {
        let with_gaps = [12, 13, 14, 16, 17, 28, 29];
        let (texts, _) = shared(framed(&with_gaps, &["ldd r24, Y+6"]));
        assert_eq!(texts[1], "call enter_12");
        for body in [
            &["ldd r24, Y+14"][..],
            &["movw r24, r28", "adiw r24, 9"],
            &["movw r24, r28", "mov r20, r24"],
        ] {
            let (texts, functions) = shared(framed(&with_gaps, body));
            assert_eq!((texts[0].as_str(), functions), ("push r12", 1), "{body:?}");
        }
    }

    #[test]
    fn who_reads_beyond_its_frame_takes_arguments_from_the_stack() {
        let mut program = Program::default();
        let bodies: [&[&str]; 5] = [
            &["ldd r24, Y+6"],
            &["ldd r24, Y+11"],
            &["movw r24, r28", "subi r24, 251", "sbci r25, 255"],
            &["movw r24, r28", "subi r24, 240", "sbci r25, 255"],
            &["mov r24, r28"],
        ];
        for (at, body) in bodies.iter().enumerate() {
            let mut function = framed(&[17, 28, 29], body);
            function.name = format!("f{at}");
            program.functions.push(function);
        }
        program.functions.push(Function::written("plain", &["ret"]));
        let wanted = ["f1", "f3", "f4"].map(String::from);
        assert_eq!(takers(&program), HashSet::from(wanted));
    }

    #[test]
    fn who_never_returns_saves_nothing() {
        let framed = framed(&[14, 15, 16, 17, 28, 29], &[]);
        let head = 6 + 3 + MOVE.len();
        let mut for_ever = framed.clone();
        for_ever.lines.truncate(head);
        let back = Function::written("g", &[".L:", "call h", "rjmp .L"]);
        for_ever.lines.extend(back.lines);
        let (texts, _) = shared(for_ever);
        assert_eq!(texts[..2], ["ldi r26, 6", "call enter_18"]);
        let (texts, _) = shared(framed);
        assert_eq!(texts[1], "call enter_14");
    }

    #[test]
    fn a_way_out_that_is_not_the_reverse_leaves_all_as_it_is() {
        let mut odd = framed(&[14, 15, 16, 17, 28, 29], &["inc r24"]);
        let last_pop = odd.lines.len() - 2;
        odd.lines.remove(last_pop);
        assert_eq!(shared(odd).1, 1);
        for other in ["jmp g", "ijmp", "reti"] {
            let mut odd = framed(&[14, 15, 16, 17, 28, 29], &["inc r24"]);
            odd.lines.extend(Function::written("g", &[other]).lines);
            assert_eq!(shared(odd).1, 1, "{other}");
        }
    }

    /// What `enter` pushes, `leave` loads from where it lies: the frame's
    /// pointer below all, each register a byte above the one pushed after it.
    #[test]
    fn what_is_pushed_last_lies_lowest() {
        let used = BTreeSet::from([4, NONE]);
        let entered = enter(&used).texts();
        let pushed: Vec<&str> = entered
            .iter()
            .filter_map(|t| t.strip_prefix("push "))
            .collect();
        let left = leave(&used).texts();
        for (depth, register) in pushed.iter().rev().enumerate() {
            // Y itself comes by way of X.
            let into = match *register {
                "r28" => "r26",
                "r29" => "r27",
                other => other,
            };
            let wanted = format!("ldd {into}, Y+{}", depth + 1);
            assert!(left.contains(&wanted), "{wanted} of {left:?}");
        }
        let bytes = format!("ldi r30, {}", pushed.len());
        assert!(left.contains(&bytes), "{bytes} of {left:?}");
    }
}
