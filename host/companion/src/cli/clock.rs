//! The laptop's own clock, for dates and file names only.

use std::time::{SystemTime, UNIX_EPOCH};

use jiff::{Timestamp, Unit};

/// Date and time in UTC to the second, as "2026-11-25T10:46:19Z".
#[must_use]
pub fn date() -> String {
    let now = Timestamp::now();
    now.round(Unit::Second).unwrap_or(now).to_string()
}

/// A number that differs from run to run, to begin request numbers with.
#[must_use]
pub fn first_id() -> u16 {
    let nanos = SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .map_or(0, |since| since.subsec_nanos());
    (nanos >> 8) as u16
}
