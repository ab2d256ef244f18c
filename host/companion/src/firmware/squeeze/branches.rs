//! Tests and jumps that need not be there.
//!
//! - A test for zero after an instruction that set the flag by its result.
//! - A branch around a jump, where the branch itself reaches the jump's target.
//! - A call right before the return becomes a jump.

use std::collections::HashMap;

use super::effects::{CARRY, SIGNS, Way};
use super::liveness::live_after;
use super::program::{Function, Instruction, Line};

/// Words a branch reaches either way ("AVR Instruction Set Manual", Microchip
/// DS40002198, BRBS), less some for what is put in later.
const REACH_BYTES: usize = 2 * 56;

/// Leaves such out of this function.
pub fn straighten(function: &mut Function) {
    drop_tests(function);
    while let Some(at) = around(function) {
        function.lines.remove(at + 1);
    }
    jump_to_last_call(function);
}

/// Names of instructions that set the zero flag by the result they leave in
/// their first operand.
const TELLING: [&str; 14] = [
    "and", "andi", "or", "ori", "eor", "sub", "subi", "add", "inc", "dec", "com", "neg", "lsr",
    "lsl",
];

fn drop_tests(function: &mut Function) {
    let live = live_after(function);
    let mut at = 0;
    let mut dropped = Vec::new();
    while at + 1 < function.lines.len() {
        let (one, two) = (&function.lines[at], &function.lines[at + 1]);
        if let (Some(one), Some(two)) = (one.code(), two.code()) {
            let operands = two.operands();
            let is_test = matches!(
                (two.name(), &operands[..]),
                ("cpi", [_, "0"]) | ("tst", [_])
            );
            let same = one.operands().first() == operands.first();
            // Only the zero flag is the same after both.
            let needed = live[at + 1] & (CARRY | SIGNS);
            let after_skip = at > 0 && skips(&function.lines[at - 1]);
            if is_test && same && TELLING.contains(&one.name()) && needed == 0 && !after_skip {
                dropped.push(at + 1);
            }
        }
        at += 1;
    }
    for at in dropped.into_iter().rev() {
        function.lines.remove(at);
    }
}

fn skips(line: &Line) -> bool {
    line.code()
        .is_some_and(|code| code.effects.way == Way::Skip)
}

/// The first branch around a jump that reaches the jump's target itself; it is
/// turned already, and the jump behind it is to go.
fn around(function: &mut Function) -> Option<usize> {
    let starts = starts(function);
    let labels: HashMap<&str, usize> = function
        .lines
        .iter()
        .enumerate()
        .filter_map(|(at, line)| match line {
            Line::Label(name) => Some((name.as_str(), starts[at])),
            Line::Code(_) => None,
        })
        .collect();
    for (at, start) in starts.iter().enumerate() {
        let Some([Line::Code(branch), Line::Code(jump), Line::Label(next)]) =
            function.lines.get(at..at + 3)
        else {
            continue;
        };
        let (branch_to, jump_to) = (branch.operands(), jump.operands());
        if branch.effects.way != Way::Branch
            || jump.effects.way != Way::Jump
            || branch_to[..] != [next.as_str()]
            || (at > 0 && skips(&function.lines[at - 1]))
        {
            continue;
        }
        let Some(turned) = opposite(branch) else {
            continue;
        };
        let Some(target) = jump_to.first().and_then(|label| labels.get(label)) else {
            continue;
        };
        if target.abs_diff(*start) > REACH_BYTES {
            continue;
        }
        let text = format!("{turned}\t{}", jump_to[0]);
        function.lines[at] = Line::new(&text);
        return Some(at);
    }
    None
}

fn opposite(branch: &Instruction) -> Option<&'static str> {
    Some(match branch.name() {
        "breq" => "brne",
        "brne" => "breq",
        "brlo" | "brcs" => "brsh",
        "brsh" | "brcc" => "brlo",
        "brmi" => "brpl",
        "brpl" => "brmi",
        "brlt" => "brge",
        "brge" => "brlt",
        _ => return None,
    })
}

/// Where each line starts, bytes, each branch at its longest.
fn starts(function: &Function) -> Vec<usize> {
    let mut sum = 0;
    let start = |line: &Line| {
        let start = sum;
        sum += line
            .code()
            .map_or(0, |code| usize::from(code.effects.bytes));
        start
    };
    function.lines.iter().map(start).collect()
}

fn jump_to_last_call(function: &mut Function) {
    for at in 0..function.lines.len().saturating_sub(1) {
        let (Some(call), Some(back)) = (function.lines[at].code(), function.lines[at + 1].code())
        else {
            continue;
        };
        if call.name() == "call"
            && back.name() == "ret"
            && !(at > 0 && skips(&function.lines[at - 1]))
        {
            let text = call.text.replacen("call", "jmp", 1);
            function.lines[at] = Line::new(&text);
            function.lines.remove(at + 1);
            return jump_to_last_call(function);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn straight(lines: &[&str]) -> Vec<String> {
        let mut function = Function::written("f", lines);
        straighten(&mut function);
        function.texts()
    }

    #[test]
    fn a_second_test_for_zero_goes() {
        let found = straight(&[
            "andi r24, 1",
            "cpi r24, 0",
            "breq .L",
            "inc r24",
            ".L:",
            "ret",
        ]);
        assert_eq!(found[..2], ["andi r24, 1", "breq .L"]);
    }

    #[test]
    fn a_test_stays_where_more_is_read_from_it_or_its_register_is_another() {
        for lines in [
            &["andi r24, 1", "cpi r24, 0", "brlo .L", ".L:", "ret"][..],
            &["andi r24, 1", "cpi r25, 0", "breq .L", ".L:", "ret"],
            &["andi r24, 1", "cpi r24, 3", "breq .L", ".L:", "ret"],
            &[
                "andi r24, 1",
                "cpi r24, 0",
                "cpc r25, r1",
                "breq .L",
                ".L:",
                "ret",
            ],
            &["sbc r24, r20", "cpi r24, 0", "breq .L", ".L:", "ret"],
            &[
                "sbrc r20, 1",
                "andi r24, 1",
                "cpi r24, 0",
                "breq .L",
                ".L:",
                "ret",
            ],
        ] {
            assert_eq!(straight(lines).len(), lines.len(), "{lines:?}");
        }
    }

    #[test]
    fn a_branch_around_a_jump_is_turned_where_it_reaches() {
        let near = ["brlo .A", "rjmp .B", ".A:", "inc r24", ".B:", "ret"];
        let found = straight(&near);
        assert_eq!(found, ["brsh .B", ".A:", "inc r24", ".B:", "ret"]);
        let mut far = near[..3].to_vec();
        far.extend(["inc r24"; 64]);
        far.extend([".B:", "ret"]);
        assert_eq!(straight(&far).len(), far.len());
    }

    #[test]
    fn a_last_call_is_a_jump_unless_it_is_skipped() {
        assert_eq!(straight(&["call g", "ret"]), ["jmp g"]);
        assert_eq!(straight(&["sbrc r24, 0", "call g", "ret"]).len(), 3);
    }
}
