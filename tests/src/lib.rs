//! End-to-end runs and outside checks live in the test files beside this; what
//! more than one of them needs is here.

pub mod captures;
pub mod certificates;
pub mod chip;
pub mod near;
pub mod pontius;
pub mod proofs;
pub mod schema;
pub mod sessions;
pub mod structure;
pub mod traced;
pub mod walks;
