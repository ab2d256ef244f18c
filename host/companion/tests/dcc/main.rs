//! The digital calibration certificate: read back number by number, refused
//! where it must be, and held to the schema where that is at hand.

mod fixture;
mod hostile;
mod read;
mod schema;
