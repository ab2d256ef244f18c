//! The order of functions in memory: calls and jumps that stay within four
//! kilobytes take two bytes instead of four.
//!
//! Source: "AVR Instruction Set Manual", Microchip DS40002198, RCALL and RJMP:
//! 2048 words either way. The linker shortens what is near.

use std::collections::HashMap;

use super::effects::Way;
use super::program::{Function, Line, Program};

/// How far a short call reaches, bytes, less some for what is not counted here.
const REACH: usize = 4000;
/// Times every function is tried at every place.
const ROUNDS: usize = 6;

/// Brings functions near those that call them.
pub fn order(program: &mut Program) {
    let links = links(program);
    let sizes: Vec<usize> = program.functions.iter().map(Function::bytes).collect();
    let mut order: Vec<usize> = (0..sizes.len()).collect();
    let mut best = (far(&order, &sizes, &links), order.clone());
    for _ in 0..ROUNDS {
        for (function, own) in links.iter().enumerate() {
            place(function, &mut order, &sizes, own);
        }
        let count = far(&order, &sizes, &links);
        if count < best.0 {
            best = (count, order.clone());
        }
    }
    let mut functions: Vec<Option<Function>> = std::mem::take(&mut program.functions)
        .into_iter()
        .map(Some)
        .collect();
    program.functions = best
        .1
        .into_iter()
        .filter_map(|at| functions[at].take())
        .collect();
}

/// For each function, the others it calls or is called by, and how often.
fn links(program: &Program) -> Vec<Vec<(usize, usize)>> {
    let mut names: HashMap<&str, usize> = HashMap::new();
    for (at, function) in program.functions.iter().enumerate() {
        names.insert(&function.name, at);
        for line in &function.lines {
            if let Line::Label(label) = line {
                names.insert(label, at);
            }
        }
    }
    let mut counts: HashMap<(usize, usize), usize> = HashMap::new();
    for (at, function) in program.functions.iter().enumerate() {
        for code in function.lines.iter().filter_map(Line::code) {
            if !matches!(code.effects.way, Way::Call | Way::Jump) {
                continue;
            }
            if let Some(to) = code.operands().first().and_then(|name| names.get(name))
                && *to != at
            {
                *counts.entry((at, *to)).or_default() += 1;
                *counts.entry((*to, at)).or_default() += 1;
            }
        }
    }
    let mut links = vec![Vec::new(); program.functions.len()];
    for ((from, to), count) in counts {
        links[from].push((to, count));
    }
    for list in &mut links {
        list.sort_unstable();
    }
    links
}

/// Middle of each function in this order.
fn middles(order: &[usize], sizes: &[usize]) -> Vec<usize> {
    let mut middles = vec![0; sizes.len()];
    let mut sum = 0;
    for at in order {
        middles[*at] = sum + sizes[*at] / 2;
        sum += sizes[*at];
    }
    middles
}

/// Links that are too far for the short form.
fn far(order: &[usize], sizes: &[usize], links: &[Vec<(usize, usize)>]) -> usize {
    let middles = middles(order, sizes);
    let of = |from: usize| far_from(middles[from], &middles, &links[from]);
    (0..sizes.len()).map(of).sum()
}

fn far_from(place: usize, middles: &[usize], links: &[(usize, usize)]) -> usize {
    let is_far = |other: usize| middles[other].abs_diff(place) > REACH;
    links
        .iter()
        .filter(|(other, _)| is_far(*other))
        .map(|(_, count)| count)
        .sum()
}

/// Moves one function to where most of its links are near.
fn place(function: usize, order: &mut Vec<usize>, sizes: &[usize], links: &[(usize, usize)]) {
    if links.is_empty() {
        return;
    }
    let Some(was) = order.iter().position(|at| *at == function) else {
        return;
    };
    order.remove(was);
    let middles = middles(order, sizes);
    let own = sizes[function] / 2;
    let (mut best, mut least) = (was, usize::MAX);
    let mut start = 0;
    for gap in 0..=order.len() {
        let count = far_from(start + own, &middles, links);
        // Where it was is as good as any other that is no better.
        if count < least || (count == least && gap == was) {
            (best, least) = (gap, count);
        }
        start += order.get(gap).map_or(0, |at| sizes[*at]);
    }
    order.insert(best, function);
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A function of about `bytes` bytes that calls others.
    fn function(name: &str, bytes: usize, calls: &[&str]) -> Function {
        let mut lines = vec![Line::new("nop"); bytes / 2];
        lines.extend(calls.iter().map(|to| Line::new(&format!("call {to}"))));
        Function::made(name, lines)
    }

    #[test]
    fn callers_come_near_and_nothing_is_lost() {
        let mut program = Program {
            rest: String::new(),
            functions: vec![
                function("a", 100, &["z", "z", "z"]),
                function("large", 9000, &[]),
                function("z", 100, &[]),
            ],
        };
        order(&mut program);
        let names: Vec<&str> = program.functions.iter().map(|f| f.name.as_str()).collect();
        let place = |name| names.iter().position(|n| *n == name).unwrap();
        assert_eq!(place("a").abs_diff(place("z")), 1, "{names:?}");
        assert_eq!(names.len(), 3);
    }
}
