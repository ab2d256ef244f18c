//! Numbers, units, dates and codes as the schema wants them.
//!
//! Guarantees that a number is written with all digits of its f64 and that a
//! change from g to kg moves the decimal point only.

use super::refusal::Fault;
use super::xml::Xml;
use crate::record::certificate::{Expanded, MassUnit, Quantity, Unit};

/// A unit as D-SI writes it (SI brochure units as in siunitx; from memory but
/// for `\kilogram`), and how far the decimal point moves.
fn written(unit: Unit, mass_unit: MassUnit) -> (&'static str, i32) {
    match unit {
        Unit::Gram => match mass_unit {
            MassUnit::Kilogram => (r"\kilogram", -3),
            MassUnit::Gram => (r"\gram", 0),
        },
        Unit::DegreeCelsius => (r"\degreecelsius", 0),
        Unit::Hectopascal => (r"\hecto\pascal", 0),
        Unit::Percent => (r"\percent", 0),
        Unit::Second => (r"\second", 0),
        Unit::Metre => (r"\metre", 0),
        Unit::MetrePerSecondSquared => (r"\metre\second\tothe{-2}", 0),
        Unit::KilogramPerCubicMetre => (r"\kilogram\metre\tothe{-3}", 0),
        Unit::One => (r"\one", 0),
    }
}

/// Exponents of ten up to which a number is written out.
const WRITTEN_OUT: std::ops::RangeInclusive<i32> = -9..=15;

/// A finite number times ten to the power of `shift`, exactly as many digits as
/// the f64 needs; `None` for what is no number.
fn decimal(value: f64, shift: i32) -> Option<String> {
    if !value.is_finite() {
        return None;
    }
    if value == 0.0 {
        return Some("0".into());
    }
    let text = format!("{:e}", value.abs());
    let (mantissa, exponent) = text.split_once('e')?;
    let exponent = exponent.parse::<i32>().ok()? + shift;
    let sign = if value < 0.0 { "-" } else { "" };
    if !WRITTEN_OUT.contains(&exponent) {
        return Some(format!("{sign}{mantissa}E{exponent}"));
    }
    let digits = mantissa.replace('.', "");
    let before = usize::try_from(exponent + 1).unwrap_or(0);
    let body = if before == 0 {
        let zeros = usize::try_from(-exponent - 1).unwrap_or(0);
        format!("0.{}{digits}", "0".repeat(zeros))
    } else if digits.len() <= before {
        format!("{digits}{}", "0".repeat(before - digits.len()))
    } else {
        let (whole, part) = digits.split_at(before);
        format!("{whole}.{part}")
    };
    Some(format!("{sign}{body}"))
}

/// A value and its expanded uncertainty rounded to the second significant digit
/// of the uncertainty, in their unit (JCGM 100:2008, 7.2.6). Rounding to two
/// digits never takes more than 5 % off an uncertainty. What can't be rounded
/// comes back as it is.
///
/// ```
/// use scalewright::report::dcc::to_uncertainty;
/// assert_eq!(to_uncertainty(0.123_456, 0.019_64), (0.123, 0.02));
/// assert_eq!(to_uncertainty(1234.5, 86.2), (1234.0, 86.0));
/// assert_eq!(to_uncertainty(0.5, 0.0), (0.5, 0.0));
/// ```
#[must_use]
pub fn to_uncertainty(value: f64, expanded: f64) -> (f64, f64) {
    let rounded = || {
        if !(value.is_finite() && expanded.is_finite() && expanded > 0.0) {
            return None;
        }
        // The text of two digits is rounded already: 0.0996 has become 0.10.
        let text = format!("{expanded:.1e}");
        let exponent: i32 = text.split_once('e')?.1.parse().ok()?;
        let places = 1 - exponent;
        let value = match usize::try_from(places) {
            Ok(places) => format!("{value:.*}", places.min(400)).parse().ok()?,
            Err(_) => {
                let step = 10f64.powi(-places);
                (value / step).round() * step
            }
        };
        Some((value, text.parse().ok()?))
    };
    rounded().unwrap_or((value, expanded))
}

impl Xml {
    fn number(&mut self, name: &str, value: f64, shift: i32) {
        match decimal(value, shift) {
            Some(text) => self.leaf(name, &text),
            None => self.refuse(name, Fault::Number(value)),
        }
    }

    /// A number without sign, as text.
    fn unsigned(&mut self, name: &str, value: f64, shift: i32) -> String {
        match decimal(value, shift) {
            Some(text) if value >= 0.0 => return text,
            Some(_) => self.refuse(name, Fault::Negative(value)),
            None => self.refuse(name, Fault::Number(value)),
        }
        String::from("0")
    }

    /// Expanded uncertainty, coverage factor and probability as text.
    fn expanded(&mut self, name: &str, expanded: &Expanded, shift: i32) -> [String; 3] {
        let (k, probability) = (expanded.k, expanded.probability);
        let u = self.unsigned(name, expanded.u, shift);
        // Neither may have an exponent. The standard writer gives none.
        if !(1.0..=1000.0).contains(&k) {
            self.refuse(name, Fault::CoverageFactor(k));
        }
        if !(0.0..=1.0).contains(&probability) {
            self.refuse(name, Fault::Probability(probability));
        }
        [u, format!("{k}"), format!("{}", probability.abs())]
    }

    /// A quantity as a `si:real`.
    pub fn real(&mut self, quantity: &Quantity) {
        let (unit, shift) = written(quantity.unit, self.mass_unit);
        self.within("si:real", |xml| {
            xml.number("si:value", quantity.value, shift);
            xml.leaf("si:unit", unit);
            if let Some(expanded) = &quantity.uncertainty {
                xml.within("si:expandedUnc", |xml| {
                    let [u, k, p] = xml.expanded("", expanded, shift);
                    xml.leaf("si:uncertainty", &u);
                    xml.leaf("si:coverageFactor", &k);
                    xml.leaf("si:coverageProbability", &p);
                });
            }
        });
    }

    /// A mass without uncertainty.
    pub fn mass(&mut self, mass_g: f64) {
        self.real(&Quantity {
            value: mass_g,
            unit: Unit::Gram,
            uncertainty: None,
        });
    }

    /// A standard deviation of masses.
    pub fn deviation(&mut self, sd_g: f64) {
        self.unsigned("", sd_g, 0);
        self.mass(sd_g);
    }

    /// Masses in g as one column, each with its uncertainty if they are given.
    pub fn masses(&mut self, masses_g: &[f64], uncertainties: Option<&[Expanded]>) {
        let (unit, shift) = written(Unit::Gram, self.mass_unit);
        self.within("si:realListXMLList", |xml| {
            if masses_g.is_empty() {
                xml.refuse("", Fault::NoEntry);
            }
            let mut texts = Vec::new();
            for (index, mass_g) in masses_g.iter().enumerate() {
                match decimal(*mass_g, shift) {
                    Some(text) => texts.push(text),
                    None => {
                        let at = format!("valueXMLList[{}]", index + 1);
                        xml.refuse(&at, Fault::Number(*mass_g));
                    }
                }
            }
            xml.column("si:valueXMLList", &texts);
            xml.leaf("si:unitXMLList", unit);
            if let Some(uncertainties) = uncertainties {
                xml.within("si:expandedUncXMLList", |xml| {
                    let (mut us, mut ks, mut ps) = (Vec::new(), Vec::new(), Vec::new());
                    for (index, expanded) in uncertainties.iter().enumerate() {
                        let at = format!("row[{}]", index + 1);
                        let [u, k, p] = xml.expanded(&at, expanded, shift);
                        us.push(u);
                        ks.push(k);
                        ps.push(p);
                    }
                    xml.column("si:uncertaintyXMLList", &us);
                    xml.column("si:coverageFactorXMLList", &ks);
                    xml.column("si:coverageProbabilityXMLList", &ps);
                });
            }
        });
    }

    fn column(&mut self, name: &str, texts: &[String]) {
        self.leaf(name, &texts.join(" "));
    }

    /// A country of ISO 3166-1: the schema's pattern is `[A-Z]{2}`.
    pub fn country(&mut self, name: &str, code: &str) {
        if code.len() != 2 || !code.bytes().all(|b| b.is_ascii_uppercase()) {
            self.refuse(name, Fault::Country(code.into()));
        }
        self.leaf(name, code);
    }

    /// A language of ISO 639-1: the schema's pattern is `[a-z]{2}`.
    pub fn language(&mut self, name: &str, code: &str) {
        if code.len() != 2 || !code.bytes().all(|b| b.is_ascii_lowercase()) {
            self.refuse(name, Fault::Language(code.into()));
        }
        self.leaf(name, code);
    }

    /// A day of the calendar.
    pub fn date(&mut self, name: &str, day: &str) {
        if !is_day(day) {
            self.refuse(name, Fault::Date(day.into()));
        }
        self.leaf(name, day);
    }
}

/// Whether a text is a day as "2026-01-31". Year 0 is none in XML Schema 1.0.
fn is_day(text: &str) -> bool {
    let shape = text.len() == 10
        && (text.bytes().enumerate()).all(|(i, b)| match i {
            4 | 7 => b == b'-',
            _ => b.is_ascii_digit(),
        });
    let mut parts = text.split('-');
    let (Some(year), Some(month), Some(day)) = (parts.next(), parts.next(), parts.next()) else {
        return false;
    };
    let (Ok(year), Ok(month), Ok(day)) = (year.parse(), month.parse(), day.parse()) else {
        return false;
    };
    shape && year > 0 && jiff::civil::Date::new(year, month, day).is_ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_of_unit_moves_the_point_only() {
        for (value, shift, text) in [
            (2000.012, -3, "2.000012"),
            (0.1, -3, "0.0001"),
            (-0.3, -3, "-0.0003"),
            (1500.0, 0, "1500"),
            (123_456.789, -3, "123.456789"),
            (-0.0, -3, "0"),
            (1e-9, -3, "1E-12"),
            (1e300, -3, "1E297"),
            (5e-324, -3, "5E-327"),
            (1.0, 0, "1"),
        ] {
            assert_eq!(decimal(value, shift).as_deref(), Some(text));
        }
        assert_eq!(decimal(f64::NAN, 0), None);
    }

    #[test]
    fn days_are_days() {
        for day in ["2026-01-31", "2024-02-29", "0001-01-01"] {
            assert!(is_day(day), "{day}");
        }
        for none in [
            "2025-02-29",
            "0000-01-01",
            "2026-1-1",
            "20260131",
            "2026-01-31Z",
            "",
            "+026-01-01",
        ] {
            assert!(!is_day(none), "{none}");
        }
    }

    #[test]
    fn rounding_keeps_two_digits() {
        assert_eq!(to_uncertainty(-0.987_6, 0.099_6), (-0.99, 0.1));
        assert_eq!(to_uncertainty(f64::NAN, 1.0).1, 1.0);
        assert_eq!(to_uncertainty(1e300, 5e-324), (1e300, 5e-324));
        assert_eq!(to_uncertainty(123_456.0, 1e4), (123_000.0, 10_000.0));
    }
}
