//! Makes an AVR program smaller, between compiler and assembler.
//!
//! The compiler's AVR side does little for size beyond choosing instructions.
//! On a chip with 30 KB of room that decides whether the firmware fits, so its
//! text is read here, and written again so that it does the same in less.
//! Nothing here knows what the program is about.

mod branches;
mod effects;
mod layout;
mod liveness;
mod near;
mod outline;
mod program;
mod saves;
mod turns;

use std::collections::HashSet;

use program::Program;

/// How eagerly the steps take what they find. Which of these ends shortest is a matter
/// of luck, another one with every program, so that all are tried.
#[derive(Clone, Copy)]
struct Way {
    saves: saves::Terms,
    /// Tenths of what a repeat promised that must be left of it.
    patience: isize,
}

fn ways() -> Vec<Way> {
    let mut all = Vec::new();
    for least_gain in [4, 6] {
        for least_bare in [10, 12, 14] {
            let saves = saves::Terms {
                least_gain,
                least_bare,
            };
            all.extend([7, 8, 9].map(|patience| Way { saves, patience }));
        }
    }
    all
}

/// The same program in fewer bytes.
#[must_use]
pub fn squeeze(text: &str) -> String {
    let program = Program::read(text);
    let takers = saves::takers(&program);
    let all = ways();
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let each = all.len().div_ceil(threads).max(1);
    let found: Vec<(usize, Program)> = std::thread::scope(|scope| {
        let workers: Vec<_> = all
            .chunks(each)
            .map(|ways| {
                let one = |way: &Way| squeezed(program.clone(), &takers, *way);
                scope.spawn(move || ways.iter().map(one).min_by_key(|(bytes, _)| *bytes))
            })
            .collect();
        let ends = workers
            .into_iter()
            .map(|worker| worker.join().ok().flatten());
        ends.flatten().collect()
    });
    let shortest = found.into_iter().min_by_key(|(bytes, _)| *bytes);
    shortest.map_or_else(|| program.write(), |(_, program)| program.write())
}

/// The program squeezed in one way, and about how many bytes it takes.
fn squeezed(mut program: Program, takers: &HashSet<String>, way: Way) -> (usize, Program) {
    saves::share(&mut program, way.saves);
    for function in &mut program.functions {
        if !function.is_interrupt() {
            near::reach(function);
            branches::straighten(function);
        }
    }
    outline::share(&mut program, takers, way.patience);
    let bytes = layout::order(&mut program);
    (bytes, program)
}
