//! An outcome, a plan, a review as JSON: one object, keys in the order of the
//! record.
//!
//! Guarantees: numbers carry at most ten significant digits, which is more
//! than a 24-bit converter can tell apart, and none of the noise of binary
//! fractions; what is not a number is `null`.

use serde::Serialize;
use serde_json::ser::{CompactFormatter, Formatter, PrettyFormatter};
use std::io::{self, Write};

/// Digits kept after the first one.
const DIGITS_AFTER_FIRST: usize = 9;

/// What is to be told as one JSON object, `pretty` over many lines or on one.
///
/// # Errors
/// What the JSON library reports; no outcome is known to cause it.
pub fn json(told: &impl Serialize, pretty: bool) -> Result<String, serde_json::Error> {
    let mut bytes = Vec::new();
    if pretty {
        write(told, &mut bytes, PrettyFormatter::new())?;
    } else {
        write(told, &mut bytes, CompactFormatter)?;
    }
    String::from_utf8(bytes)
        .map_err(|error| serde_json::Error::io(io::Error::new(io::ErrorKind::InvalidData, error)))
}

fn write<F: Formatter>(
    told: &impl Serialize,
    bytes: &mut Vec<u8>,
    layout: F,
) -> Result<(), serde_json::Error> {
    let mut out = serde_json::Serializer::with_formatter(bytes, Rounded(layout));
    told.serialize(&mut out)
}

/// A layout whose fractions are rounded before they are written.
struct Rounded<F>(F);

fn rounded(value: f64) -> f64 {
    // The very largest numbers would round up to infinity; they stay.
    match format!("{value:.DIGITS_AFTER_FIRST$e}").parse() {
        Ok(short) if f64::is_finite(short) => short,
        _ => value,
    }
}

impl<F: Formatter> Formatter for Rounded<F> {
    fn write_f64<W: ?Sized + Write>(&mut self, out: &mut W, value: f64) -> io::Result<()> {
        self.0.write_f64(out, rounded(value))
    }

    // The rest is the layout's own business.
    fn begin_array<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.begin_array(out)
    }
    fn end_array<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.end_array(out)
    }
    fn begin_array_value<W: ?Sized + Write>(&mut self, out: &mut W, first: bool) -> io::Result<()> {
        self.0.begin_array_value(out, first)
    }
    fn end_array_value<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.end_array_value(out)
    }
    fn begin_object<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.begin_object(out)
    }
    fn end_object<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.end_object(out)
    }
    fn begin_object_key<W: ?Sized + Write>(&mut self, out: &mut W, first: bool) -> io::Result<()> {
        self.0.begin_object_key(out, first)
    }
    fn begin_object_value<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.begin_object_value(out)
    }
    fn end_object_value<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.end_object_value(out)
    }
}
