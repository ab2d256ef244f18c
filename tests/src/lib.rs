//! End-to-end runs and outside checks live in the test files beside this.
