//! Where time goes by the turn: short loops, and what they call. A call put in there
//! would be made with every turn.

use std::collections::{HashMap, HashSet};

use super::effects::Way;
use super::program::{Function, Instruction, Line, Program};

/// Most lines of a loop that is left as it is.
const TIGHT: usize = 60;
/// Most lines of a loop that does little but call, and of what it calls: that is left
/// as it is, too.
const TURN: usize = 12;
const ERRAND: usize = 110;

/// The loops of a function: first and last line of each, from a label to a jump back
/// to it.
fn loops(function: &Function) -> Vec<(usize, usize)> {
    let mut labels = HashMap::new();
    let mut found = Vec::new();
    for (end, line) in function.lines.iter().enumerate() {
        let code = match line {
            Line::Label(label) => {
                labels.insert(label.as_str(), end);
                continue;
            }
            Line::Code(code) => code,
        };
        let to = code.operands().pop().and_then(|to| labels.get(to));
        let back = to.filter(|_| matches!(code.effects.way, Way::Branch | Way::Jump));
        found.extend(back.map(|begin| (*begin, end)));
    }
    found
}

fn calls(lines: &[Line]) -> impl Iterator<Item = &Instruction> {
    let codes = lines.iter().filter_map(Line::code);
    codes.filter(|code| code.effects.way == Way::Call)
}

/// Which lines stand in a short loop that calls nothing.
#[must_use]
pub fn tight_loops(function: &Function) -> Vec<bool> {
    let mut busy = vec![false; function.lines.len()];
    for (begin, end) in loops(function) {
        let inside = &function.lines[begin..=end];
        if inside.len() <= TIGHT && calls(inside).next().is_none() {
            busy[begin..=end].fill(true);
        }
    }
    busy
}

/// Functions, not long, that a very short loop calls: they are its turns.
#[must_use]
pub fn errands(program: &Program) -> HashSet<String> {
    let mut called = HashSet::new();
    for function in &program.functions {
        for (begin, end) in loops(function) {
            let inside = &function.lines[begin..=end];
            if inside.len() <= TURN {
                called.extend(calls(inside).filter_map(|call| call.operands().pop()));
            }
        }
    }
    (program.functions.iter())
        .filter(|one| one.lines.len() <= ERRAND && called.contains(one.name.as_str()))
        .map(|one| one.name.clone())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_short_loop_is_busy_unless_it_calls() {
        let tight = Function::written("f", &["inc r2", ".L1:", "dec r24", "brne .L1", "ret"]);
        assert_eq!(tight_loops(&tight), [false, true, true, true, false]);
        let calls = Function::written("f", &[".L1:", "call g", "brne .L1", "ret"]);
        assert!(!tight_loops(&calls).contains(&true));
        // What leads onward is no loop.
        let onward = Function::written("f", &["breq .L1", "inc r2", ".L1:", "ret"]);
        assert!(!tight_loops(&onward).contains(&true));
    }

    #[test]
    fn what_a_very_short_loop_calls_is_its_errand() {
        let many = ["inc r2"; ERRAND];
        let turns = [
            ".L1:",
            "call each",
            "rcall long",
            "brne .L1",
            "call once",
            "ret",
        ];
        let slow = [&[".L2:"], &many[..TURN], &["call once", "brne .L2", "ret"]].concat();
        let program = Program {
            rest: String::new(),
            functions: vec![
                Function::written("turns", &turns),
                Function::written("each", &["inc r2", "ret"]),
                Function::written("once", &["inc r2", "ret"]),
                Function::written("long", &[&many[..], &["ret"]].concat()),
                Function::written("slow", &slow),
            ],
        };
        assert_eq!(errands(&program), HashSet::from(["each".to_owned()]));
    }
}
