//! Variables that lie near each other are reached from one pointer.
//!
//! The compiler names a variable by its whole address, four bytes an access.
//! Where pointer Z is free for a while, it is set once, and accesses within 63
//! bytes of it take two.
//!
//! Source: "AVR Instruction Set Manual", Microchip DS40002198: LDS, STS, LDD.

use super::effects::{Set, Way, Z};
use super::liveness::live_after;
use super::program::{Function, Line};

/// Farthest a displacement reaches.
const REACH: i32 = 63;
/// Fewest accesses that pay for setting the pointer, which takes four bytes.
const FEWEST: usize = 3;

/// An access by whole address.
#[derive(Debug)]
struct Access {
    line: usize,
    symbol: String,
    offset: i32,
}

/// Reaches what it can from a pointer.
pub fn reach(function: &mut Function) {
    let live = live_after(function);
    let mut runs = Vec::new();
    let mut at = 0;
    while at < function.lines.len() {
        let end = stretch(function, &live, at);
        runs.extend(runs_in(function, at, end));
        at = end.max(at) + 1;
    }
    // From the end, so that lines put in move nothing that is still to be done.
    for run in runs.iter().rev() {
        let base = run.iter().map(|access| access.offset).min().unwrap_or(0);
        for access in run {
            shorten(&mut function.lines[access.line], access.offset - base);
        }
        let Some(first) = run.first() else { continue };
        let place = format!("{}+{base}", first.symbol);
        let set = [
            Line::new(&format!("ldi\tr30, lo8({place})")),
            Line::new(&format!("ldi\tr31, hi8({place})")),
        ];
        function.lines.splice(first.line..first.line, set);
    }
}

/// End of the lines from `from` on through which the pointer is free: nobody
/// comes in from elsewhere and nothing there touches or needs it.
fn stretch(function: &Function, live: &[Set], from: usize) -> usize {
    let is_free = |at: usize| {
        function.lines[at].code().is_some_and(|code| {
            let effects = &code.effects;
            matches!(effects.way, Way::On | Way::Branch)
                && (effects.reads | effects.writes | live[at]) & Z == 0
        })
    };
    (from..function.lines.len())
        .find(|at| !is_free(*at))
        .unwrap_or(function.lines.len())
}

/// Runs of accesses in these lines that pay; none overlaps another.
fn runs_in(function: &Function, from: usize, end: usize) -> Vec<Vec<Access>> {
    let mut accesses: Vec<Access> = (from..end)
        .filter_map(|line| access(&function.lines[line], line))
        .collect();
    let mut runs = Vec::new();
    while let Some(first) = accesses.first() {
        // The window may lie either way of the first access.
        let best = accesses
            .iter()
            .filter(|one| one.symbol == first.symbol)
            .map(|one| one.offset)
            .filter(|base| (*base..=base + REACH).contains(&first.offset))
            .max_by_key(|base| inside(&accesses, &first.symbol, *base).count());
        let symbol = first.symbol.clone();
        let found: Vec<usize> = best
            .map(|base| inside(&accesses, &symbol, base).collect())
            .unwrap_or_default();
        if found.len() < FEWEST {
            accesses.remove(0);
            continue;
        }
        let last = found[found.len() - 1];
        let taken: Vec<Access> = accesses.drain(..=last).collect();
        let of_run = |(at, access)| found.contains(&at).then_some(access);
        runs.push(taken.into_iter().enumerate().filter_map(of_run).collect());
    }
    runs
}

/// Positions of the accesses that one pointer to `base` reaches.
fn inside<'a>(
    accesses: &'a [Access],
    symbol: &'a str,
    base: i32,
) -> impl Iterator<Item = usize> + 'a {
    let reached = move |access: &Access| {
        access.symbol == symbol && (base..=base + REACH).contains(&access.offset)
    };
    let all = accesses.iter().enumerate();
    all.filter(move |(_, access)| reached(access))
        .map(|(at, _)| at)
}

fn access(line: &Line, at: usize) -> Option<Access> {
    let code = line.code()?;
    let operands = code.operands();
    let place = match code.name() {
        "lds" => operands.get(1)?,
        "sts" => operands.first()?,
        _ => return None,
    };
    let (symbol, offset) = match place.rsplit_once('+') {
        Some((symbol, offset)) => (symbol, offset.parse().ok()?),
        None => (*place, 0),
    };
    let is_name = symbol.starts_with(|c: char| c.is_alphabetic() || c == '_' || c == '.');
    is_name.then(|| Access {
        line: at,
        symbol: symbol.into(),
        offset,
    })
}

fn shorten(line: &mut Line, displacement: i32) {
    let Some(code) = line.code() else { return };
    let operands = code.operands();
    let text = match (code.name(), &operands[..]) {
        ("lds", [register, _]) => format!("ldd\t{register}, Z+{displacement}"),
        ("sts", [_, register]) => format!("std\tZ+{displacement}, {register}"),
        _ => return,
    };
    *line = Line::new(&text);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reached(lines: &[&str]) -> Vec<String> {
        let mut function = Function::written("f", lines);
        reach(&mut function);
        function.texts()
    }

    #[test]
    fn three_in_reach_are_reached_from_one_pointer() {
        let found = reached(&[
            "lds r24, s+70",
            "sts s+7, r24",
            "lds r25, other",
            "sts s+8, r25",
        ]);
        let wanted = [
            "ldi r30, lo8(s+7)",
            "ldi r31, hi8(s+7)",
            "ldd r24, Z+63",
            "std Z+0, r24",
            "lds r25, other",
            "std Z+1, r25",
        ];
        assert_eq!(found, wanted);
    }

    #[test]
    fn two_do_not_pay_and_what_is_out_of_reach_does_not_count() {
        for lines in [
            &["lds r24, s", "lds r25, s+1", "ret"][..],
            &["lds r24, s", "lds r25, s+1", "lds r20, s+64", "ret"],
        ] {
            assert_eq!(reached(lines).len(), lines.len());
        }
    }

    #[test]
    fn a_pointer_in_use_is_left_alone() {
        let accesses = ["lds r24, s", "lds r25, s+1", "lds r20, s+2"];
        let used = [&accesses[..], &["ld r21, Z"]].concat();
        assert_eq!(reached(&used).len(), used.len());
        let written = ["lds r24, s", "lds r25, s+1", "ldi r30, 4", "lds r20, s+2"];
        assert_eq!(reached(&written).len(), written.len());
        // Who comes in at the label has not set it; nor is it set after a call.
        for between in [".L:", "call g"] {
            let lines = [
                "lds r24, s",
                "lds r25, s+1",
                between,
                "lds r20, s+2",
                "brne .L",
            ];
            assert_eq!(reached(&lines).len(), lines.len());
        }
    }

    /// A register number's place is no variable's name.
    #[test]
    fn numbered_addresses_stay() {
        let lines = ["lds r24, 192", "lds r25, 193", "lds r20, 194"];
        assert_eq!(reached(&lines).len(), lines.len());
    }
}
