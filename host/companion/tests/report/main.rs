//! The reports against outcomes good and bad.
mod fixture;
