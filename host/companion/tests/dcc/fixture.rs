//! Certificates to write: a full one and the least that can be written.

use scalewright::record::certificate::*;

fn contact(name: &str) -> Contact {
    Contact {
        name: name.into(),
        e_mail: "nobody@example.org".into(),
        phone: Some("+00 000".into()),
        address: Address {
            city: "Nowhere".into(),
            street: Some("Long Street".into()),
            number: Some("1a".into()),
            post_code: Some("00000".into()),
            country: Some("DE".into()),
        },
    }
}

fn serial(value: &str) -> Identification {
    Identification {
        issuer: Issuer::Manufacturer,
        value: value.into(),
        name: Some("serial number".into()),
    }
}

pub fn expanded(u: f64) -> Expanded {
    Expanded {
        u,
        k: 2.05,
        probability: 0.9545,
    }
}

fn condition(name: &str, value: f64, unit: Unit, u: Option<f64>) -> Condition {
    Condition {
        name: name.into(),
        quantity: Quantity {
            value,
            unit,
            uncertainty: u.map(expanded),
        },
    }
}

/// Load, indication, error, U, all in g.
pub const ROWS: [[f64; 4]; 4] = [
    [0.0, 0.0, 0.0, 0.012],
    [500.0, 500.02, 0.02, 0.031],
    [2000.012, 2000.0, -0.012, 0.06],
    [6000.0, 6000.1, 0.1, 0.17],
];

/// Indications of the repeatability test, g.
pub const REPEATED: [f64; 3] = [3000.01, 3000.03, 2999.98];

/// Position, indication and difference of the eccentricity test, g.
pub const POSITIONS: [(&str, f64, f64); 3] = [
    ("centre", 2000.0, 0.0),
    ("front left", 2000.04, 0.04),
    ("back right", 1999.97, -0.03),
];

/// Influence conditions: name, value, unit as written, U.
pub const CONDITIONS: [(&str, f64, &str, Option<f64>); 7] = [
    ("temperature", 21.3, r"\degreecelsius", Some(0.5)),
    ("pressure", 1003.2, r"\hecto\pascal", Some(2.0)),
    ("humidity", 45.0, r"\percent", None),
    ("height", 120.0, r"\metre", None),
    ("gravity", 9.8125, r"\metre\second\tothe{-2}", Some(0.0006)),
    (
        "density of the air",
        1.185,
        r"\kilogram\metre\tothe{-3}",
        None,
    ),
    ("duration", 1800.0, r"\second", None),
];

/// Everything a certificate may hold.
pub fn full() -> Certificate {
    let units = [
        Unit::DegreeCelsius,
        Unit::Hectopascal,
        Unit::Percent,
        Unit::Metre,
        Unit::MetrePerSecondSquared,
        Unit::KilogramPerCubicMetre,
        Unit::Second,
    ];
    let conditions = (CONDITIONS.iter().zip(units))
        .map(|((name, value, _, u), unit)| condition(name, *value, unit, *u))
        .collect();
    let rows = ROWS
        .iter()
        .map(|[load_g, indication_g, error_g, u]| ErrorRow {
            load_g: *load_g,
            indication_g: *indication_g,
            error_g: *error_g,
            uncertainty: expanded(*u),
            permitted_g: None,
        });
    let positions = POSITIONS
        .iter()
        .map(|(name, indication_g, difference_g)| Position {
            name: (*name).into(),
            indication_g: *indication_g,
            difference_g: *difference_g,
        });
    let finding = |name: &str, data| Finding {
        name: name.into(),
        description: Some("as it stood".into()),
        data,
    };
    Certificate {
        identifier: "EXAMPLE-0001".into(),
        country: "DE".into(),
        language: "de".into(),
        identifications: vec![Identification {
            issuer: Issuer::CalibrationLaboratory,
            value: "order 7".into(),
            name: None,
        }],
        received: Some("2026-01-01".into()),
        began: "2026-01-02".into(),
        ended: "2026-01-03".into(),
        place: Place::CustomerBranch,
        software: vec![Software {
            name: "Scalewright".into(),
            release: "0.2.0".into(),
        }],
        owner: Some(contact("Example owner")),
        items: vec![Item {
            name: "bench scale".into(),
            description: Some("Max 6 kg, e = 2 g, class III".into()),
            software: vec![Software {
                name: "firmware".into(),
                release: "0.2.0".into(),
            }],
            manufacturer: "self built".into(),
            model: Some("first".into()),
            identifications: vec![serial("SN-1")],
        }],
        laboratory: contact("Example bench"),
        laboratory_code: Some("none".into()),
        responsible: vec![Person {
            name: "A. Person".into(),
            role: Some("builder".into()),
            main_signer: true,
        }],
        customer: contact("Example customer"),
        statements: vec![Statement {
            declaration: "within the maximum permissible errors".into(),
            norms: vec!["OIML R 76-1:2006".into()],
            conformity: Some(Conformity::ConditionalPass),
        }],
        measurements: vec![Measurement {
            name: "calibration".into(),
            methods: vec![Method {
                name: "comparison with weights".into(),
                description: Some("loads going up".into()),
                norms: vec!["EURAMET cg-18:2015".into()],
                references: vec!["own notes".into()],
            }],
            equipment: vec![Equipment {
                name: "set of weights".into(),
                description: Some("class M1".into()),
                identifications: vec![serial("W-7")],
            }],
            conditions,
            results: vec![
                finding("errors of indication", Data::Errors(rows.collect())),
                finding(
                    "repeatability",
                    Data::Repeatability(Repeatability {
                        load_g: 3000.0,
                        indications_g: REPEATED.to_vec(),
                        sd_g: 0.025,
                    }),
                ),
                finding(
                    "eccentricity",
                    Data::Eccentricity(Eccentricity {
                        load_g: 2000.0,
                        positions: positions.collect(),
                        largest_g: 0.04,
                    }),
                ),
                finding(
                    "smaller things",
                    Data::Quantities(vec![
                        condition("creep in 30 min", -0.06, Unit::Gram, Some(0.02)),
                        condition("number of points", 16.0, Unit::One, None),
                    ]),
                ),
            ],
        }],
        mass_unit: MassUnit::Kilogram,
    }
}

/// The least that can be written: no list longer than it must be.
pub fn least() -> Certificate {
    let mut certificate = full();
    certificate.identifications.clear();
    certificate.received = None;
    certificate.laboratory_code = None;
    certificate.owner = None;
    certificate.statements.clear();
    certificate.language = "en".into();
    certificate.mass_unit = MassUnit::Gram;
    for contact in [&mut certificate.laboratory, &mut certificate.customer] {
        contact.phone = None;
        contact.address = Address {
            city: "Nowhere".into(),
            ..Address::default()
        };
    }
    for person in &mut certificate.responsible {
        person.role = None;
        person.main_signer = false;
    }
    for item in &mut certificate.items {
        item.description = None;
        item.software.clear();
        item.model = None;
    }
    for measurement in &mut certificate.measurements {
        measurement.methods.clear();
        measurement.equipment.clear();
        measurement.conditions.clear();
        measurement.results.truncate(1);
        for finding in &mut measurement.results {
            finding.description = None;
            if let Data::Errors(rows) = &mut finding.data {
                rows.truncate(1);
            }
        }
    }
    certificate
}
