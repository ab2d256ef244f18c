//! Which registers and flags still matter after each instruction of a function.
//!
//! Errs to the side of mattering: calls and returns count as reading every
//! register, and no call as overwriting one.

use std::collections::HashMap;

use super::effects::{CARRY, FLAGS, REGISTERS, Set, Way};
use super::program::{Function, Line};

/// For each line of the function, what matters right after it.
#[must_use]
pub fn live_after(function: &Function) -> Vec<Set> {
    let lines = &function.lines;
    let labels: HashMap<&str, usize> = lines
        .iter()
        .enumerate()
        .filter_map(|(at, line)| match line {
            Line::Label(name) => Some((name.as_str(), at)),
            Line::Code(_) => None,
        })
        .collect();
    let mut before = vec![0; lines.len() + 2];
    let mut after = vec![0; lines.len()];
    loop {
        let mut changed = false;
        for (at, line) in lines.iter().enumerate().rev() {
            let next = before.get(at + 1).copied().unwrap_or_default();
            let (out, into) = match line {
                Line::Label(_) => (next, next),
                Line::Code(code) => {
                    let target = || {
                        let label = code.operands().pop().and_then(|l| labels.get(l).copied());
                        // Out of the function: whatever is there may read all.
                        label.map_or(REGISTERS, |to| before[to])
                    };
                    let out = match code.effects.way {
                        Way::On => next,
                        Way::Branch => next | target(),
                        Way::Jump => target(),
                        Way::Call => next & !FLAGS,
                        Way::Back => REGISTERS,
                        Way::Skip => next | before.get(at + 2).copied().unwrap_or_default(),
                        Way::Unknown => REGISTERS | FLAGS,
                    };
                    (out, (out & !code.effects.writes) | code.effects.reads)
                }
            };
            if before[at] != into || after[at] != out {
                (before[at], after[at]) = (into, out);
                changed = true;
            }
        }
        if !changed {
            return after;
        }
    }
}

/// Whether the carry matters in this set.
#[must_use]
pub const fn has_carry(set: Set) -> bool {
    set & CARRY != 0
}
