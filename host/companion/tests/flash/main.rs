//! Firmware images and what puts them on a board: formats, refusals, the boot
//! drive, the serial bootloader, and what is said of the calibration after.

#[cfg(unix)]
mod building;
#[cfg(unix)]
mod far_end;
mod formats;
mod logs;
mod made;
#[cfg(unix)]
mod on_drive;
#[cfg(unix)]
mod over_serial;
mod refusals;
