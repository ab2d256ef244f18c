//! Sequences of instructions that occur several times are kept once.
//!
//! Where a sequence leaves the stack alone it becomes a function that is called;
//! where it ends a function, what the others have in common with it is jumped
//! to. Calls, jumps and returns of the AVR touch no register and no flag, so
//! nothing else changes but time.
//!
//! Repeats are found by sorting all suffixes of the program: U. Manber and
//! G. Myers, "Suffix arrays: a new method for on-line string searches", SIAM
//! J. Comput. 22 (1993) 935-948.

use std::collections::{HashMap, HashSet};

use super::effects::Way;
use super::program::{Function, Instruction, Line, Program};
use super::saves;
use super::turns::{errands, tight_loops};

/// What a call or jump to a shared sequence takes on average, bytes: two where
/// it is near, four elsewhere.
const CALL_BYTES: usize = 2;
/// Fewest bytes a shared sequence has to save.
const LEAST_GAIN: isize = 2;
/// Longest sequence looked for, instructions.
const LONGEST: usize = 64;

/// Keeps such sequences once, again and again while that saves anything.
pub fn share(program: &mut Program, takers: &HashSet<String>, patience: isize) {
    let mut number = 0;
    let errands = errands(program);
    while share_once(program, takers, &errands, patience, &mut number) {}
}

/// An instruction's part in a sequence.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Part {
    /// May stand anywhere in one.
    Free,
    /// May stand only in one that is jumped to: it handles the stack.
    Stack,
    /// Ends one that is jumped to.
    End,
    /// Stands in none.
    None,
}

struct Token {
    function: usize,
    line: usize,
    /// Alike for instructions that are; its own for what stands in no sequence.
    kind: u32,
    part: Part,
    bytes: usize,
}

/// Sequences that are alike: where they begin, among all tokens.
struct Repeat {
    starts: Vec<usize>,
    length: usize,
    gain: isize,
}

fn share_once(
    program: &mut Program,
    takers: &HashSet<String>,
    errands: &HashSet<String>,
    patience: isize,
    number: &mut usize,
) -> bool {
    let tokens = tokens(program, takers, errands);
    let mut repeats = repeats(&tokens);
    repeats.sort_by_key(|repeat| (-repeat.gain, repeat.starts.first().copied()));
    let mut touched: Vec<bool> = vec![false; tokens.len()];
    let mut edits: Vec<(usize, usize, usize, String)> = Vec::new();
    let mut made = Vec::new();
    for repeat in &repeats {
        let is_free = |start: &usize| !touched[*start..start + repeat.length].contains(&true);
        let starts: Vec<usize> = repeat.starts.iter().copied().filter(is_free).collect();
        let gain = gain(&tokens, &starts, repeat.length);
        // What is left of it may be worth less than what another round finds.
        if gain < LEAST_GAIN || gain * 10 < repeat.gain * patience {
            continue;
        }
        let name = format!("shared_{number}");
        *number += 1;
        let Some(first) = starts.first().map(|at| &tokens[*at]) else {
            continue;
        };
        let lines = &program.functions[first.function].lines;
        let body = lines[first.line..first.line + repeat.length].to_vec();
        let is_tail = tokens[starts[0] + repeat.length - 1].part == Part::End;
        for start in starts {
            touched[start..start + repeat.length].fill(true);
            let token = &tokens[start];
            let way = if is_tail { "jmp" } else { "call" };
            let text = format!("{way}\t{name}");
            edits.push((token.function, token.line, repeat.length, text));
        }
        made.push(Function::made(&name, closed(body, is_tail)));
    }
    edits.sort_unstable();
    for (function, line, length, text) in edits.into_iter().rev() {
        let lines = &mut program.functions[function].lines;
        lines.splice(line..line + length, [Line::new(&text)]);
    }
    let any = !made.is_empty();
    program.functions.extend(made);
    any
}

/// The sequence as a function: it returns at its end unless it does already.
fn closed(mut body: Vec<Line>, is_tail: bool) -> Vec<Line> {
    if is_tail {
        return body;
    }
    let last = body.last().and_then(Line::code).map(|code| {
        let to = code.text.strip_prefix("call\t").map(str::to_string);
        (code.effects.way, to)
    });
    if let Some((Way::Call, Some(to))) = last {
        body.pop();
        body.push(Line::new(&format!("jmp\t{to}")));
    } else {
        body.push(Line::new("ret"));
    }
    body
}

fn part(code: &Instruction, takers: &HashSet<String>) -> Part {
    let effects = &code.effects;
    // The way back from a shared sequence would lie above what such a function
    // takes for its arguments.
    let to = code.operands().first().copied().unwrap_or_default();
    if effects.way == Way::Call && (to.is_empty() || takers.contains(to)) {
        return Part::None;
    }
    // Pulses on pins keep their length; and the code that saves registers puts
    // them where its caller's frame is to be, so that caller is the function.
    if matches!(code.name(), "sbi" | "cbi") || saves::enters(code) {
        return Part::None;
    }
    match effects.way {
        Way::On if effects.stack => Part::Stack,
        Way::On | Way::Call => Part::Free,
        Way::Back => Part::End,
        Way::Jump if !code.text.contains("\t.") => Part::End,
        _ => Part::None,
    }
}

fn tokens(program: &Program, takers: &HashSet<String>, errands: &HashSet<String>) -> Vec<Token> {
    let mut kinds: HashMap<&str, u32> = HashMap::new();
    let mut tokens = Vec::new();
    let mut own = u32::MAX;
    for (function, content) in program.functions.iter().enumerate() {
        let closed = content.is_interrupt() || matches!(content.name.as_str(), "enter" | "leave");
        let mut busy = tight_loops(content);
        if errands.contains(&content.name) {
            busy.fill(true);
        }
        let mut after_skip = false;
        for (line, code) in content.lines.iter().enumerate() {
            let mut token = Token {
                function,
                line,
                kind: own,
                part: Part::None,
                bytes: 0,
            };
            own -= 1;
            if let Some(code) = code.code() {
                let part = part(code, takers);
                if !closed && !after_skip && !busy[line] && part != Part::None {
                    let next = u32::try_from(kinds.len()).unwrap_or(0);
                    token.kind = *kinds.entry(&code.text).or_insert(next);
                    token.part = part;
                }
                token.bytes = code.effects.bytes.into();
                after_skip = code.effects.way == Way::Skip;
            }
            tokens.push(token);
        }
        // Between functions.
        tokens.push(Token {
            function,
            line: content.lines.len(),
            kind: own,
            part: Part::None,
            bytes: 0,
        });
        own -= 1;
    }
    tokens
}

fn repeats(tokens: &[Token]) -> Vec<Repeat> {
    let kinds: Vec<u32> = tokens.iter().map(|token| token.kind).collect();
    let window = |at: usize| &kinds[at..kinds.len().min(at + LONGEST)];
    let mut order: Vec<usize> = (0..tokens.len())
        .filter(|at| tokens[*at].part != Part::None)
        .collect();
    order.sort_unstable_by(|a, b| window(*a).cmp(window(*b)).then(a.cmp(b)));
    let common = |pair: &[usize]| {
        let both = window(pair[0]).iter().zip(window(pair[1]));
        both.take_while(|(a, b)| a == b).count()
    };
    let alike: Vec<usize> = order.windows(2).map(common).chain([0]).collect();
    // Each stretch of neighbours with at least `length` in common, closed when
    // less is.
    let mut open: Vec<(usize, usize)> = Vec::new();
    let mut found = Vec::new();
    for (at, length) in alike.into_iter().enumerate() {
        let mut first = at;
        while let Some((begun, had)) = open.last().copied()
            && had > length
        {
            open.pop();
            let less = open.last().map_or(0, |(_, had)| *had).max(length);
            collect(tokens, &order[begun..=at], less, had, &mut found);
            first = begun;
        }
        if length > 0 && open.last().is_none_or(|(_, had)| *had < length) {
            open.push((first, length));
        }
    }
    found
}

/// The lengths above `less` and up to `most` worth looking at: the longest one
/// that leaves the stack alone, and the longest that ends a function.
fn collect(tokens: &[Token], starts: &[usize], less: usize, most: usize, found: &mut Vec<Repeat>) {
    let Some(first) = starts.first() else { return };
    let parts = || tokens[*first..first + most].iter().map(|token| token.part);
    let free = parts().take_while(|part| *part == Part::Free).count();
    let tail = parts().position(|part| part == Part::End).map(|at| at + 1);
    for length in [Some(free), tail].into_iter().flatten() {
        if length <= less || length < 2 {
            continue;
        }
        let mut sorted: Vec<usize> = starts.to_vec();
        sorted.sort_unstable();
        let mut end = 0;
        sorted.retain(|start| {
            let fits = *start >= end;
            if fits {
                end = start + length;
            }
            fits
        });
        let gain = gain(tokens, &sorted, length);
        if gain >= LEAST_GAIN {
            found.push(Repeat {
                starts: sorted,
                length,
                gain,
            });
        }
    }
}

/// Bytes saved by keeping the sequence once.
fn gain(tokens: &[Token], starts: &[usize], length: usize) -> isize {
    let Some(first) = starts.first() else {
        return 0;
    };
    let body = &tokens[*first..first + length];
    let bytes: usize = body.iter().map(|token| token.bytes).sum();
    let back = if body.last().is_some_and(|token| token.part == Part::End) {
        0
    } else {
        2
    };
    let gone = isize::try_from(starts.len() * bytes).unwrap_or(0);
    let come = isize::try_from(starts.len() * CALL_BYTES + bytes + back).unwrap_or(0);
    gone - come
}

#[cfg(test)]
mod tests {
    use super::*;

    fn program(functions: &[&[&str]]) -> Program {
        let made = functions.iter().enumerate();
        let made = made.map(|(at, lines)| Function::written(&format!("f{at}"), lines));
        Program {
            rest: String::new(),
            functions: made.collect(),
        }
    }

    const BODY: [&str; 4] = ["lds r24, a", "lds r25, a+1", "adiw r24, 1", "sts a, r24"];

    #[test]
    fn what_two_functions_do_is_called() {
        let one = [&BODY[..], &["push r24", "ret"]].concat();
        let two = [&["inc r20"], &BODY[..], &["pop r24", "ret"]].concat();
        let mut both = program(&[&one, &two]);
        share(&mut both, &HashSet::new(), 8);
        assert_eq!(
            both.functions[0].texts(),
            ["call shared_0", "push r24", "ret"]
        );
        assert_eq!(
            both.functions[1].texts(),
            ["inc r20", "call shared_0", "pop r24", "ret"]
        );
        assert_eq!(both.functions[2].texts().last().unwrap(), "ret");
        assert_eq!(both.functions[2].lines.len(), BODY.len() + 1);
    }

    #[test]
    fn how_two_functions_end_is_jumped_to_even_where_it_moves_the_stack() {
        let end = ["pop r5", "pop r4", "pop r3", "pop r2", "ret"];
        let one = [&["inc r20"], &end[..]].concat();
        let two = [&["dec r20"], &end[..]].concat();
        let mut both = program(&[&one, &two]);
        share(&mut both, &HashSet::new(), 8);
        assert_eq!(both.functions[0].texts(), ["inc r20", "jmp shared_0"]);
        assert_eq!(both.functions[2].lines.len(), end.len());
    }

    #[test]
    fn what_moves_the_stack_or_can_be_jumped_into_is_not_called() {
        let pushes = [
            "push r2", "push r3", "push r4", "push r5", "push r6", "inc r9",
        ];
        let one = [&pushes[..], &["ret"]].concat();
        let two = [&pushes[..], &["reti"]].concat();
        let mut both = program(&[&one, &two]);
        let before = both.clone();
        share(&mut both, &HashSet::new(), 8);
        assert_eq!(both, before);
        let halves = ["lds r24, a", "lds r25, b", ".L1:", "sts c, r24", "rjmp .L1"];
        let mut both = program(&[&halves, &halves]);
        share(&mut both, &HashSet::new(), 8);
        let kept = both.functions[0].texts();
        assert!(kept.contains(&".L1:".to_string()), "{kept:?}");
        assert!(
            both.functions[2..]
                .iter()
                .all(|f| !f.texts().iter().any(|t| t.contains(".L")))
        );
    }

    /// The frame would be that of the shared sequence, and gone with it.
    #[test]
    fn entering_a_function_stays_in_it() {
        let lines = ["ldi r26, 4", "call enter_14", "movw r14, r24", "inc r9"];
        let mut both = program(&[&lines, &lines]);
        share(&mut both, &HashSet::new(), 8);
        assert_eq!(both.functions[0].texts()[..2], lines[..2]);
    }

    #[test]
    fn calls_that_hand_arguments_over_on_the_stack_stay() {
        let lines = [
            "lds r24, a",
            "call g",
            "sts b, r24",
            "icall",
            "inc r9",
            "inc r9",
        ];
        let mut both = program(&[&lines, &lines, &lines]);
        share(&mut both, &HashSet::from(["g".to_string()]), 8);
        let kept = both.functions[0].texts();
        assert_eq!(kept[1], "call g");
        assert!(kept.contains(&"icall".to_string()), "{kept:?}");
        assert!(
            both.functions[3..]
                .iter()
                .all(|f| !f.texts().contains(&lines[1].into()))
        );
    }

    /// A call in two words cannot take the place of what is skipped: the skip
    /// would end in its middle, or run what belonged to both ways.
    #[test]
    fn what_a_skip_decides_about_stays_where_it_is() {
        let one = [&["sbrc r24, 0"], &BODY[..], &["ret"]].concat();
        let mut both = program(&[&one, &one]);
        share(&mut both, &HashSet::new(), 8);
        let kept = both.functions[0].texts();
        assert_eq!(kept[..2], ["sbrc r24, 0", "lds r24, a"]);
    }

    #[test]
    fn a_tight_loop_is_left_as_it_is() {
        let loop_of = |register: &'static str| {
            let head = [".L:"];
            [&head[..], &BODY[..], &[register, "brne .L", "ret"]].concat()
        };
        let (one, two) = (loop_of("dec r20"), loop_of("dec r21"));
        let mut both = program(&[&one, &two]);
        let before = both.clone();
        share(&mut both, &HashSet::new(), 8);
        assert_eq!(both, before);
    }

    #[test]
    fn a_repeat_may_not_overlap_itself() {
        let lines: Vec<&str> = ["lds r24, a", "sts b, r24"].repeat(5);
        let lines = [&lines[..], &["ret"]].concat();
        let mut one = program(&[&lines]);
        let bytes = one.functions[0].bytes();
        share(&mut one, &HashSet::new(), 8);
        let calls = one.functions[0].texts();
        assert!(
            calls.iter().any(|text| text.starts_with("call")),
            "{calls:?}"
        );
        assert!(one.functions.iter().map(Function::bytes).sum::<usize>() < bytes);
    }
}
