//! The certificate against PTB's schema 3.1.2 with D-SI 2.1.0: made-up ones
//! that use every branch of the writer. One of a bench verification is held to
//! it in `tests/certificate.rs`; who judges stands in `tests/src/schema.rs`.

use scalewright::record::certificate::{Certificate, Conformity, Data, Expanded, Issuer, Place};
use scalewright::report::dcc::dcc;

use crate::fixture::{full, least};

#[path = "../../../../tests/src/schema.rs"]
mod judge;

use judge::{Held, hold};

/// Certificates that use every branch of the writer.
fn certificates() -> Vec<(String, Certificate)> {
    let mut all = vec![("full".to_owned(), full()), ("least".to_owned(), least())];
    for (place, conformity, issuer) in [
        (Place::Laboratory, Conformity::Pass, Issuer::Customer),
        (Place::Customer, Conformity::Fail, Issuer::Owner),
        (
            Place::LaboratoryBranch,
            Conformity::ConditionalFail,
            Issuer::Other,
        ),
        (
            Place::Other,
            Conformity::ConditionalPass,
            Issuer::CalibrationLaboratory,
        ),
    ] {
        let mut one = full();
        one.place = place;
        one.statements[0].conformity = Some(conformity);
        one.items[0].identifications[0].issuer = issuer;
        all.push((format!("{place:?}"), one));
    }
    for (name, u, k, probability) in [
        ("edges", 0.0, 1.0, 1.0),
        ("tiny", 5e-324, 1000.0, 1e-300),
        ("huge", f64::MAX, 1.000_000_000_000_000_2, 0.0),
    ] {
        let mut one = full();
        if let Data::Errors(rows) = &mut one.measurements[0].results[0].data {
            for row in rows {
                row.uncertainty = Expanded { u, k, probability };
                row.error_g = -u;
            }
        }
        all.push((name.to_owned(), one));
    }
    let mut hostile = full();
    hostile.items[0].name = "\"'<&>]]> 😀\r\n\t\u{202e}".into();
    hostile.customer.address.city = "<city/>".into();
    all.push(("hostile".into(), hostile));
    all
}

#[test]
fn the_schema_accepts_every_certificate() {
    for (name, certificate) in certificates() {
        let written = dcc(&certificate).unwrap_or_else(|refusal| panic!("{name}: {refusal}"));
        match hold(&written) {
            Held::Valid => {}
            Held::Invalid(why) => panic!("{name}: {why}"),
            Held::Skipped(_) => return,
        }
    }
    // A judge that accepts anything would prove nothing.
    let written = dcc(&full()).expect("a certificate");
    for (right, wrong) in [
        (
            "<dcc:performanceLocation>customerBranch<",
            "<dcc:performanceLocation>moon<",
        ),
        ("<si:coverageFactor>2.05<", "<si:coverageFactor>0.5<"),
        ("schemaVersion=\"3.1.2\"", "schemaVersion=\"3.1\""),
        ("dcc:mainSigner>", "dcc:firstSigner>"),
    ] {
        let spoilt = written.replace(right, wrong);
        assert_ne!(spoilt, written);
        assert!(matches!(hold(&spoilt), Held::Invalid(_)), "{wrong}");
    }
}
