//! The laptop's own clock, for dates and file names only.

use std::time::{SystemTime, UNIX_EPOCH};

use jiff::{Timestamp, Unit};

/// Date and time in UTC to the second, as "2026-11-25T10:46:19Z".
#[must_use]
pub fn date() -> String {
    let now = Timestamp::now();
    now.round(Unit::Second).unwrap_or(now).to_string()
}

/// Seconds since 1970-01-01 UTC; 0 where the clock stands before that.
#[must_use]
pub fn unix_s() -> u32 {
    u32::try_from(Timestamp::now().as_second()).unwrap_or(0)
}

/// Such seconds as "2026-11-26 10:05" UTC; none of 0.
#[must_use]
pub fn minute(unix_s: u32) -> Option<String> {
    let when = Timestamp::from_second(i64::from(unix_s)).ok()?;
    (unix_s > 0).then(|| when.strftime("%Y-%m-%d %H:%M").to_string())
}

/// A number that differs from run to run, to begin request numbers with.
#[must_use]
pub fn first_id() -> u16 {
    let nanos = SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .map_or(0, |since| since.subsec_nanos());
    (nanos >> 8) as u16
}
