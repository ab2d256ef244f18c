//! Numbers as a reader should see them: a unit with each, as many digits as
//! are true, and the word "unknown" where there is no number.
//!
//! Guarantees: no locale, never "NaN" or "inf", never "-0", and never more
//! than a few dozen characters whatever the value. Refuses: to round for
//! judgement; what is judged was judged before it came here.

/// What stands in place of a number that is not there.
pub const UNKNOWN: &str = "unknown";

/// The finest fraction of e that an error of indication is worth printing to.
/// OIML R 76-1:2006, A.4.4.3, resolves the change-over point with loads of
/// e/10; a tenth of that is the last digit that can mean anything. (The clause
/// number is from memory.)
const FRACTION_OF_E: f64 = 0.01;

/// From here on a number is written as a power of ten.
const LONGEST: f64 = 1e9;

/// No number gets more decimals than this.
const MOST_DECIMALS: usize = 9;

/// Decimals needed to write multiples of `resolution`, as 2 for 0.02.
///
/// ```
/// use scalewright::report::number::decimals;
/// assert_eq!(decimals(0.02), 2);
/// assert_eq!(decimals(1.0), 0);
/// assert_eq!(decimals(f64::NAN), 0);
/// ```
pub fn decimals(resolution: f64) -> usize {
    if !resolution.is_finite() || resolution <= 0.0 {
        return 0;
    }
    // 1e-9 forgives the last bit of log10, so that 0.01 needs 2 and not 3.
    let needed = (-resolution.log10() - 1e-9).ceil().max(0.0);
    (needed as usize).min(MOST_DECIMALS)
}

/// Resolution in g to which masses and errors of a scale are written: e/100.
pub fn resolution_g(e_g: f64) -> f64 {
    e_g * FRACTION_OF_E
}

/// A number with a fixed count of decimals; no sign on a zero.
pub fn fixed(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return UNKNOWN.to_owned();
    }
    if value.abs() >= LONGEST {
        return format!("{value:.3e}");
    }
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|b| matches!(b, b'0' | b'.')) => rest.to_owned(),
        _ => text,
    }
}

/// The same with a plus sign on what is above zero.
pub fn signed(value: f64, decimals: usize) -> String {
    let text = fixed(value, decimals);
    let nothing = text.bytes().all(|b| matches!(b, b'0' | b'.'));
    if value > 0.0 && value.is_finite() && !nothing {
        format!("+{text}")
    } else {
        text
    }
}

/// The same without trailing zeros, as "1.5".
pub fn trimmed(value: f64, decimals: usize) -> String {
    let text = fixed(value, decimals);
    if !text.contains('.') || text.contains('e') {
        return text;
    }
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A load in the unit that suits it, as "250 g" or "1.5 kg", to `resolution_g`.
///
/// ```
/// use scalewright::report::number::mass;
/// assert_eq!(mass(1500.0, 0.02), "1.5 kg");
/// assert_eq!(mass(250.0, 0.02), "250 g");
/// assert_eq!(mass(f64::INFINITY, 0.02), "unknown");
/// ```
pub fn mass(mass_g: f64, resolution_g: f64) -> String {
    if !mass_g.is_finite() {
        return UNKNOWN.to_owned();
    }
    if mass_g.abs() >= 1000.0 {
        let places = decimals(resolution_g / 1000.0);
        format!("{} kg", trimmed(mass_g / 1000.0, places))
    } else {
        format!("{} g", trimmed(mass_g, decimals(resolution_g)))
    }
}

/// An error of indication in e with its sign, two decimals: "+0.31".
pub fn error_e(error_e: f64) -> String {
    signed(error_e, decimals(FRACTION_OF_E))
}

/// A magnitude in e without sign: "0.31".
pub fn size_e(size_e: f64) -> String {
    fixed(size_e.abs(), decimals(FRACTION_OF_E))
}

/// An error of indication in g with its sign, to e/100: "+0.62".
pub fn error_g(error_g: f64, e_g: f64) -> String {
    signed(error_g, decimals(resolution_g(e_g)))
}

/// A magnitude in g without sign, to e/100: "0.62".
pub fn size_g(size_g: f64, e_g: f64) -> String {
    fixed(size_g.abs(), decimals(resolution_g(e_g)))
}

/// An expanded uncertainty in e: two significant digits, but none finer than
/// e/100 and none left out before the point.
pub fn uncertainty_e(expanded_e: f64) -> String {
    fixed(expanded_e.abs(), places_of_uncertainty(expanded_e))
}

/// A value in e with its expanded uncertainty, both to the same digit, as
/// "+0.31 ± 0.12". Two significant digits of an uncertainty are what the GUM
/// allows at most (JCGM 100:2008, 7.2.6).
///
/// ```
/// use scalewright::report::number::with_uncertainty_e;
/// assert_eq!(with_uncertainty_e(0.3142, 0.1234), "+0.31 ± 0.12");
/// assert_eq!(with_uncertainty_e(31.42, 12.34), "+31 ± 12");
/// ```
pub fn with_uncertainty_e(error_e: f64, expanded_e: f64) -> String {
    if !expanded_e.is_finite() {
        return self::error_e(error_e);
    }
    let places = places_of_uncertainty(expanded_e);
    format!(
        "{} ± {}",
        signed(error_e, places),
        fixed(expanded_e.abs(), places)
    )
}

fn places_of_uncertainty(expanded_e: f64) -> usize {
    let finest = decimals(FRACTION_OF_E);
    let size = expanded_e.abs();
    if !size.is_finite() || size == 0.0 {
        return finest;
    }
    let first_digit = size.log10().floor();
    ((1.0 - first_digit).max(0.0) as usize).min(finest)
}

/// A small quantity to `digits` significant digits, as "0.083" or "12".
pub fn significant(value: f64, digits: usize) -> String {
    if !value.is_finite() {
        return UNKNOWN.to_owned();
    }
    if value == 0.0 {
        return "0".to_owned();
    }
    let exponent = value.abs().log10().floor();
    let places = (digits as f64 - 1.0 - exponent).max(0.0);
    if places > MOST_DECIMALS as f64 {
        return format!("{value:.*e}", digits.saturating_sub(1));
    }
    fixed(value, places as usize)
}

/// An uncertainty or tolerance of a mass to `digits` significant digits, in the
/// unit that needs fewest zeros. Two digits are what the GUM allows a standard
/// uncertainty at most (JCGM 100:2008, 7.2.6).
///
/// ```
/// use scalewright::report::number::spread;
/// assert_eq!(spread(0.0577, 2), "58 mg");
/// assert_eq!(spread(0.0002, 2), "0.2 mg");
/// assert_eq!(spread(400.0, 2), "0.4 kg");
/// ```
pub fn spread(spread_g: f64, digits: usize) -> String {
    if !spread_g.is_finite() {
        return UNKNOWN.to_owned();
    }
    if spread_g == 0.0 {
        return "0 g".to_owned();
    }
    // Rounded first: 99.7 mg to two digits is 0.1 g.
    let exponent = digits as i32 - 1 - spread_g.abs().log10().floor() as i32;
    let step = 10f64.powi(exponent);
    let rounded = (spread_g * step).round() / step;
    let value = if rounded.is_finite() {
        rounded
    } else {
        spread_g
    };
    let (factor, unit) = match value.abs() * (1.0 + 1e-9) {
        100.0.. => (1e-3, "kg"),
        0.1..100.0 => (1.0, "g"),
        1e-4..0.1 => (1e3, "mg"),
        _ => (1e6, "µg"),
    };
    let text = significant(value * factor, digits);
    if !text.contains('.') || text.contains('e') {
        return format!("{text} {unit}");
    }
    let text = text.trim_end_matches('0').trim_end_matches('.');
    format!("{text} {unit}")
}

/// A length of time in words, as "18 min 20 s".
pub fn duration(seconds: f64) -> String {
    if !seconds.is_finite() || seconds < 0.0 {
        return UNKNOWN.to_owned();
    }
    if seconds < 10.0 {
        return format!("{seconds:.1} s");
    }
    if seconds >= LONGEST {
        return format!("{seconds:.1e} s");
    }
    let whole = seconds.round() as u64;
    let (hours, minutes, rest) = (whole / 3600, whole / 60 % 60, whole % 60);
    match (hours, minutes) {
        (0, 0) => format!("{rest} s"),
        (0, _) => format!("{minutes} min {rest} s"),
        _ => format!("{hours} h {minutes} min"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_stop_at_a_hundredth_of_e() {
        assert_eq!(error_g(0.618, 2.0), "+0.62");
        assert_eq!(error_g(0.0618, 0.1), "+0.062");
        assert_eq!(error_g(-1234.4, 1000.0), "-1234");
        assert_eq!(error_e(-0.004), "0.00");
        assert_eq!(error_e(12.345), "+12.35");
    }

    #[test]
    fn loads_carry_the_unit_that_suits() {
        assert_eq!(mass(0.0, 0.02), "0 g");
        assert_eq!(mass(-0.001, 0.02), "0 g");
        assert_eq!(mass(999.98, 0.02), "999.98 g");
        assert_eq!(mass(6000.0, 0.02), "6 kg");
        assert_eq!(mass(1234.56, 0.02), "1.23456 kg");
        assert_eq!(mass(2_000_000.0, 10.0), "2000 kg");
    }

    #[test]
    fn nothing_is_written_as_nothing() {
        for text in [
            fixed(f64::NAN, 2),
            signed(f64::NEG_INFINITY, 2),
            trimmed(f64::INFINITY, 2),
            mass(f64::NAN, f64::NAN),
            size_e(f64::NAN),
            significant(f64::NAN, 2),
            duration(f64::NAN),
            uncertainty_e(f64::NAN),
        ] {
            assert_eq!(text, UNKNOWN);
        }
        assert_eq!(with_uncertainty_e(0.5, f64::NAN), "+0.50");
    }

    #[test]
    fn no_number_runs_away() {
        for value in [f64::MAX, -f64::MAX, 1e300, f64::MIN_POSITIVE, -1e-300] {
            for text in [
                fixed(value, 9),
                mass(value, 1e-12),
                error_g(value, 1e-30),
                significant(value, 2),
                with_uncertainty_e(value, value),
                duration(value),
            ] {
                assert!(text.chars().count() <= 32, "{text}");
            }
        }
    }

    #[test]
    fn a_spread_has_the_digits_and_the_unit_that_suit() {
        for (spread_g, digits, text) in [
            (0.2, 3, "0.2 g"),
            (0.000_4, 3, "0.4 mg"),
            (0.000_057_7, 2, "58 µg"),
            (0.099_7, 2, "0.1 g"),
            (0.1, 2, "0.1 g"),
            (0.028_87, 2, "29 mg"),
            (57.7, 2, "58 g"),
            (99.96, 2, "0.1 kg"),
            (577.35, 2, "0.58 kg"),
            (0.0, 2, "0 g"),
            (f64::NAN, 2, "unknown"),
        ] {
            assert_eq!(spread(spread_g, digits), text);
        }
        for wild in [f64::MAX, f64::MIN_POSITIVE, 5e-324, f64::INFINITY] {
            assert!(spread(wild, 2).chars().count() <= 32);
        }
    }

    #[test]
    fn time_reads_as_words() {
        assert_eq!(duration(3.21), "3.2 s");
        assert_eq!(duration(59.6), "1 min 0 s");
        assert_eq!(duration(1100.0), "18 min 20 s");
        assert_eq!(duration(7320.0), "2 h 2 min");
    }
}
