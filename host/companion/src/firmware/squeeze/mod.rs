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

use program::Program;

/// The same program in fewer bytes.
#[must_use]
pub fn squeeze(text: &str) -> String {
    let mut program = Program::read(text);
    let takers = saves::takers(&program);
    saves::share(&mut program);
    for function in &mut program.functions {
        if !function.is_interrupt() {
            near::reach(function);
            branches::straighten(function);
        }
    }
    outline::share(&mut program, &takers);
    layout::order(&mut program);
    program.write()
}
