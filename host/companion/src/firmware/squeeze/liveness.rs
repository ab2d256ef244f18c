//! Which registers and flags still matter after each instruction of a function.
//!
//! Errs to the side of mattering: calls and returns count as reading every
//! register, and no call as overwriting one.

use std::collections::HashMap;

use super::effects::{FLAGS, REGISTERS, Set, Way};
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

#[cfg(test)]
mod tests {
    use super::super::effects::{CARRY, Z, ZERO};
    use super::*;

    fn live(lines: &[&str]) -> Vec<Set> {
        live_after(&Function::written("f", lines))
    }

    #[test]
    fn a_register_matters_until_it_is_written() {
        let lines = [
            "ldi r30, 1",
            "mov r20, r30",
            "ldi r30, 2",
            "mov r21, r30",
            "ldi r30, 3",
        ];
        let after = live(&lines);
        let z = |at: usize| after[at] & Z;
        assert_eq!([z(0), z(1), z(2), z(3)], [1 << 30, 0, 1 << 30, 0]);
    }

    #[test]
    fn what_a_loop_reads_at_its_head_matters_at_its_end() {
        let after = live(&[".L:", "add r20, r30", "dec r24", "brne .L", "ldi r30, 0"]);
        assert_eq!(after[3] & Z, 1 << 30);
        assert_eq!(after[2] & (CARRY | ZERO), ZERO);
    }

    /// Each byte of a wide subtraction hands its carry and "all zero" on.
    #[test]
    fn flags_matter_across_a_wide_comparison() {
        let after = live(&["cp r20, r22", "cpc r21, r23", "brlo .L", ".L:", "ret"]);
        assert_eq!(after[0] & (CARRY | ZERO), CARRY | ZERO);
        assert_eq!(after[1] & (CARRY | ZERO), CARRY);
    }

    #[test]
    fn what_is_not_understood_may_read_everything() {
        let after = live(&["ldi r30, 1", "spm", "ldi r30, 2", "ret"]);
        assert_eq!(after[0] & Z, Z);
        assert_eq!(after[0] & FLAGS, FLAGS);
    }
}
