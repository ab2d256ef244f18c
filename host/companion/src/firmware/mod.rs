//! Firmware images: reading them, judging whether one may go on a board,
//! putting it there, and building it.
//!
//! [`image`] and its formats turn a file into bytes at addresses; [`check`]
//! decides whether they are an image of ours for this board; [`boot_drive`]
//! and [`serial_loader`] write it; [`survival`] tells whether the calibration
//! came through; [`toolchain`] and [`build`] make the image, [`squeeze`] the
//! AVR's smaller, [`sources`] notes what of; [`log_lines`] reads what it notes while it runs. Nothing here
//! prints or asks: progress leaves as values, causes as errors.

pub mod board;
pub mod boot_drive;
pub mod build;
pub mod check;
pub mod elf;
pub mod hex;
pub mod image;
pub mod log_lines;
pub mod seal;
pub mod serial_loader;
pub mod sources;
pub mod squeeze;
pub mod survival;
pub mod toolchain;
pub mod uf2;
