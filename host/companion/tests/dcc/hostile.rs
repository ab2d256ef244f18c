//! Texts and numbers that mean harm, or nothing.

use proptest::prelude::*;
use roxmltree::Document;
use scalewright::record::certificate::{Certificate, Data, Expanded, Quantity, Unit};
use scalewright::report::dcc::{Fault, Refusal, dcc};

use crate::fixture::{expanded, full, least};
use crate::read::{down, named};

/// Puts a text into every free text of a certificate.
fn everywhere(text: &str) -> Certificate {
    let mut certificate = full();
    let free = |c: &mut Certificate| {
        c.identifier = text.into();
        for i in &mut c.identifications {
            i.value = text.into();
        }
        c.laboratory_code = Some(text.into());
        for s in &mut c.software {
            (s.name, s.release) = (text.into(), text.into());
        }
        for contact in [&mut c.laboratory, &mut c.customer]
            .into_iter()
            .chain(&mut c.owner)
        {
            contact.name = text.into();
            contact.e_mail = text.into();
            contact.address.city = text.into();
            contact.address.street = Some(text.into());
        }
        for item in &mut c.items {
            item.name = text.into();
            item.manufacturer = text.into();
            item.model = Some(text.into());
        }
        for person in &mut c.responsible {
            person.name = text.into();
            person.role = Some(text.into());
        }
        for statement in &mut c.statements {
            statement.declaration = text.into();
            statement.norms = vec![text.into()];
        }
        for m in &mut c.measurements {
            m.name = text.into();
            for finding in &mut m.results {
                finding.name = text.into();
                if let Data::Eccentricity(test) = &mut finding.data {
                    for position in &mut test.positions {
                        position.name = text.into();
                    }
                }
            }
        }
    };
    free(&mut certificate);
    certificate
}

#[test]
fn hostile_texts_come_back_as_they_went_in() {
    for text in [
        "\"'><script>alert(1)</script>",
        "a & b &amp; c &#0; ]]> <!-- -->",
        "<?xml version=\"1.0\"?><!DOCTYPE x [<!ENTITY e \"boo\">]>&e;",
        "Wägezelle № 7 😀👩‍🔬 天秤",
        "two\r\nlines\tand\ra return",
        "  spaces  ",
        "\u{202e}backwards",
    ] {
        let written = dcc(&everywhere(text)).expect("a certificate");
        let document = Document::parse(&written).expect("well formed");
        let data = down(document.root_element(), "administrativeData");
        assert_eq!(named(down(data, "items/item")), text);
        let identifier = down(data, "coreData/uniqueIdentifier");
        assert_eq!(identifier.text(), Some(text));
        let count = |d: &Document| d.descendants().filter(|n| n.is_element()).count();
        let plain = dcc(&everywhere("plain")).expect("a certificate");
        let plain = Document::parse(&plain).expect("well formed");
        assert_eq!(count(&document), count(&plain), "{text:?} made elements");
    }
}

/// Changes a full certificate and says how that is refused.
fn refused(change: impl FnOnce(&mut Certificate)) -> Refusal {
    let mut certificate = full();
    change(&mut certificate);
    dcc(&certificate).expect_err("this can't be written")
}

#[test]
fn what_xml_cannot_carry_is_refused() {
    for letter in [
        '\0', '\u{1}', '\u{8}', '\u{b}', '\u{1b}', '\u{7f}', '\u{85}', '\u{fffe}', '\u{ffff}',
    ] {
        let refusal = refused(|c| c.items[0].name = format!("scale{letter}"));
        assert_eq!(refusal.fault, Fault::Character(letter));
        assert_eq!(refusal.at, "administrativeData/items/item[1]/name");
        assert!(!refusal.to_string().contains(letter));
    }
    let told = refused(|c| c.customer.e_mail = "\u{1b}[2J".into()).to_string();
    assert_eq!(
        told,
        "the certificate can't be written at administrativeData/customer/eMail: the text holds \
         the control character U+001B, which XML can't carry; remove it"
    );
}

#[test]
fn codes_and_days_are_refused_by_name() {
    for code in ["", "D", "de", "DEU", "D\u{c4}", "D1", "D<"] {
        let fault = Fault::Country(code.into());
        assert_eq!(refused(|c| c.country = code.into()).fault, fault);
        let fault = Fault::Country(code.into());
        let at_home = refused(|c| c.laboratory.address.country = Some(code.into()));
        assert_eq!(at_home.fault, fault);
    }
    for code in ["", "DE", "d", "deu", "\"/>"] {
        let fault = Fault::Language(code.into());
        assert_eq!(refused(|c| c.language = code.into()).fault, fault);
    }
    for day in [
        "",
        "2026-02-30",
        "02.01.2026",
        "2026-1-2",
        "-001-01-01",
        "0000-01-01",
    ] {
        let fault = Fault::Date(day.into());
        assert_eq!(refused(|c| c.began = day.into()).fault, fault);
    }
    let order = refused(|c| c.ended = "2026-01-01".into());
    assert!(matches!(order.fault, Fault::Order { .. }));
    assert_eq!(order.at, "administrativeData/coreData/endPerformanceDate");
}

#[test]
fn what_must_be_there_is_asked_for() {
    type Change = fn(&mut Certificate);
    let no_entry: [(Change, &str); 6] = [
        (|c| c.software.clear(), "administrativeData/dccSoftware"),
        (|c| c.items.clear(), "administrativeData/items"),
        (
            |c| c.items[0].identifications.clear(),
            "administrativeData/items/item[1]/identifications",
        ),
        (|c| c.responsible.clear(), "administrativeData/respPersons"),
        (|c| c.measurements.clear(), "measurementResults"),
        (
            |c| c.measurements[0].results.clear(),
            "measurementResults/measurementResult[1]/results",
        ),
    ];
    for (change, at) in no_entry {
        let refusal = refused(change);
        assert_eq!((refusal.fault, refusal.at.as_str()), (Fault::NoEntry, at));
    }
    for (index, data) in [Data::Errors(Vec::new()), Data::Quantities(Vec::new())]
        .into_iter()
        .enumerate()
    {
        let refusal = refused(|c| c.measurements[0].results[index].data = data);
        assert_eq!(refusal.fault, Fault::NoEntry);
    }
    for name in ["", "  ", "\n"] {
        let refusal = refused(|c| c.laboratory.name = name.into());
        assert_eq!(refusal.fault, Fault::Empty);
        assert_eq!(
            refusal.at,
            "administrativeData/calibrationLaboratory/contact/name"
        );
    }
}

#[test]
fn numbers_that_are_none_are_refused() {
    let rows = |c: &mut Certificate, uncertainty: Expanded, error_g: f64| {
        if let Data::Errors(rows) = &mut c.measurements[0].results[0].data {
            (rows[1].uncertainty, rows[1].error_g) = (uncertainty, error_g);
        }
    };
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        let refusal = refused(|c| rows(c, expanded(0.1), bad));
        assert!(matches!(refusal.fault, Fault::Number(_)));
        assert!(
            refusal
                .at
                .ends_with("quantity/realListXMLList/valueXMLList[2]"),
            "{}",
            refusal.at
        );
        let refusal = refused(|c| rows(c, expanded(bad), 0.1));
        assert!(matches!(refusal.fault, Fault::Number(_)));
        let refusal = refused(|c| c.measurements[0].conditions[0].quantity.value = bad);
        assert!(
            refusal
                .at
                .ends_with("influenceCondition[1]/data/quantity/real/value")
        );
    }
    let refusal = refused(|c| rows(c, expanded(-0.1), 0.1));
    assert_eq!(refusal.fault, Fault::Negative(-0.1));
    for k in [0.99, -2.0, f64::NAN, 1e9] {
        let refusal = refused(|c| rows(c, Expanded { k, ..expanded(0.1) }, 0.1));
        assert!(matches!(refusal.fault, Fault::CoverageFactor(_)), "{k}");
    }
    for probability in [-0.1, 1.01, 95.45, f64::NAN] {
        let doubtful = Expanded {
            probability,
            ..expanded(0.1)
        };
        let refusal = refused(|c| rows(c, doubtful, 0.1));
        assert!(
            matches!(refusal.fault, Fault::Probability(_)),
            "{probability}"
        );
    }
    let refusal = refused(|c| {
        if let Data::Repeatability(test) = &mut c.measurements[0].results[1].data {
            test.sd_g = -1.0;
        }
    });
    assert_eq!(refusal.fault, Fault::Negative(-1.0));
}

/// The patterns of D-SI 2.1.0 for a value, an uncertainty, a coverage factor and
/// a probability, in Rust: no library for patterns is worth it here.
fn keeps_the_patterns(value: &str, u: &str, k: &str, p: &str) -> bool {
    let digits = |t: &str| !t.is_empty() && t.bytes().all(|b| b.is_ascii_digit());
    let plain = |t: &str| match t.split_once('.') {
        Some((whole, part)) => digits(whole) && digits(part),
        None => digits(t),
    };
    let scientific = |t: &str| match t.split_once('E') {
        Some((number, exponent)) => {
            plain(number) && digits(exponent.strip_prefix('-').unwrap_or(exponent))
        }
        None => plain(t),
    };
    let unsigned = value.strip_prefix('-').unwrap_or(value);
    scientific(unsigned)
        && scientific(u)
        && plain(k)
        && !k.starts_with('0')
        && plain(p)
        && (p == "1" || p.starts_with('0'))
}

proptest! {
    /// Any text either comes back or is refused, and any number that is one
    /// comes back to its last digit.
    #[test]
    fn anything_goes_in_and_comes_back(text in any::<String>(), value in any::<f64>(), u in any::<f64>(), k in 0.5..5.0, probability in 0.0..=1.0) {
        let mut certificate = least();
        certificate.items[0].name = text.clone();
        let name = "one".to_owned();
        let uncertainty = Some(Expanded { u, k, probability });
        let quantity = Quantity { value, unit: Unit::Percent, uncertainty };
        let all = vec![scalewright::record::certificate::Condition { name, quantity }];
        certificate.measurements[0].results[0].data = Data::Quantities(all);
        match dcc(&certificate) {
            Ok(written) => {
                let document = Document::parse(&written).expect("well formed");
                let data = down(document.root_element(), "administrativeData");
                prop_assert_eq!(named(down(data, "items/item")), text);
                let leaf = |name| {
                    let mut found = document.descendants().filter(|n| n.tag_name().name() == name);
                    found.next().and_then(|n| n.text()).expect("a number")
                };
                let [v, u_text, k_text, p] =
                    ["value", "uncertainty", "coverageFactor", "coverageProbability"].map(|name| match name {
                        // The first "value" is that of an identification.
                        "value" => document
                            .descendants()
                            .find(|n| n.has_tag_name(("https://ptb.de/si", "value")))
                            .and_then(|n| n.text())
                            .expect("a number"),
                        other => leaf(other),
                    });
                prop_assert_eq!(v.parse::<f64>(), Ok(value));
                prop_assert_eq!(u_text.parse::<f64>(), Ok(u));
                prop_assert_eq!(k_text.parse::<f64>(), Ok(k));
                prop_assert_eq!(p.parse::<f64>(), Ok(probability));
                prop_assert!(keeps_the_patterns(v, u_text, k_text, p), "{v} {u_text} {k_text} {p}");
            }
            Err(refusal) => {
                let stops = |c: char| c.is_control() && !"\t\r\n".contains(c) || c > '\u{fffd}' && c <= '\u{ffff}';
                let fault = text.trim().is_empty()
                    || text.contains(stops)
                    || !value.is_finite()
                    || !(u.is_finite() && u >= 0.0)
                    || k < 1.0;
                prop_assert!(fault, "{refusal}");
            }
        }
    }
}
