//! A calibration certificate from a verification: values in, values out.
//!
//! Guarantees that every number comes from the verification's results, is
//! rounded to its own uncertainty, and that the certificate says in words what
//! it could be mistaken for: a simulation, an interrupted run, a test that was
//! cut short or not made at all. Results are stated whatever they are: a scale
//! that fails gets its certificate too. Refuses only what is no calibration:
//! without errors of indication, or without their uncertainty.

mod findings;
mod statements;

use std::fmt;

use crate::record::certificate::{
    Certificate, Condition, Equipment, Identification, Issuer, Item, Measurement, Method, Quantity,
    Software, Unit,
};
use crate::record::lab::Lab;
use crate::record::performed::{Performed, UsedWeight, UsedWorth};
use crate::record::proof::{Proof, TestOutcome};
use crate::record::weights::name;

/// Coverage probability of every expanded uncertainty in a verification.
pub const PROBABILITY: f64 = 0.9545;

/// Put before the identifier, and after the names, of what is simulated.
pub const SIMULATED: &str = "SIMULATED";

/// Why there is no certificate.
#[derive(Clone, Debug, PartialEq)]
pub enum NoCertificate {
    /// No error of indication was found.
    NoErrors,
    /// The uncertainty of an error could not be evaluated.
    NoUncertainty {
        /// The load, g.
        load_g: f64,
    },
    /// The form names a weight that was not used.
    UnknownWeight {
        /// The weight.
        name: String,
        /// Line of the form.
        line: usize,
        /// The weights that were used.
        used: Vec<String>,
    },
}

impl fmt::Display for NoCertificate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoErrors => f.write_str(
                "this verification holds no errors of indication, and a calibration certificate states those",
            ),
            Self::NoUncertainty { load_g } => write!(
                f,
                "the uncertainty of the error at {} can't be evaluated, and a certificate states none without",
                name(*load_g)
            ),
            Self::UnknownWeight { name, line, used } => write!(
                f,
                "line {line}: weights.names has {name}, which did not lie on this scale; there were {}",
                used.join(", ")
            ),
        }
    }
}

impl std::error::Error for NoCertificate {}

/// The certificate of a verification, `session_checksum` being eight hexadecimal
/// digits over its file.
///
/// Its identifier is made of the scale's number, the second in which the
/// verification began and that checksum: no scale is verified twice in the same
/// second; two scales of one number would have to begin in the same second and
/// meet in one of 2^32 checksums; and a verification that went on later has a
/// file, and so a checksum, of its own.
///
/// # Errors
/// [`NoCertificate`].
pub fn certificate(
    proof: &Proof,
    performed: &Performed,
    lab: &Lab,
    session_checksum: &str,
) -> Result<Certificate, NoCertificate> {
    let simulated = is_simulated(proof);
    let results = findings::all(proof)?;
    Ok(Certificate {
        identifier: identifier(proof, performed, session_checksum),
        country: lab.country.clone(),
        language: lab.language.clone(),
        identifications: lab.identifications.clone(),
        received: lab.received.clone(),
        began: performed.first_day.clone(),
        ended: performed.last_day.clone(),
        place: lab.place,
        software: vec![Software {
            name: "Scalewright, laptop program".into(),
            release: proof.version.clone(),
        }],
        owner: lab.owner.clone(),
        items: vec![item(proof, lab)],
        laboratory: lab.laboratory.clone(),
        laboratory_code: lab.accreditation.clone(),
        responsible: lab.responsible.clone(),
        customer: lab.customer.clone(),
        statements: statements::all(proof, performed, lab),
        measurements: vec![Measurement {
            name: marked("Calibration of a weighing instrument", simulated),
            methods: methods(proof),
            equipment: equipment(performed, lab)?,
            conditions: conditions(proof, lab),
            results,
        }],
        mass_unit: lab.mass_unit,
    })
}

/// Whether no real scale was tried: a rehearsal, or the bench behind a port.
#[must_use]
pub fn is_simulated(proof: &Proof) -> bool {
    proof.seed.is_some() || proof.device.is_bench()
}

fn identifier(proof: &Proof, performed: &Performed, session_checksum: &str) -> String {
    let began: String = (performed.began.chars())
        .filter(|c| c.is_ascii_alphanumeric())
        .collect();
    let plain = format!("{}-{began}-{session_checksum}", proof.device.id);
    match is_simulated(proof) {
        true => format!("{SIMULATED}-{plain}"),
        false => plain,
    }
}

fn marked(name: &str, simulated: bool) -> String {
    match simulated {
        true => format!("{name} ({SIMULATED})"),
        false => name.to_owned(),
    }
}

fn item(proof: &Proof, lab: &Lab) -> Item {
    let (scale, table) = (&proof.scale, &proof.table);
    let taken_off = match table.hysteresis_taken_off_g {
        0.0 => "takes no hysteresis off".to_owned(),
        width_g => format!("takes off a hysteresis loop {} wide", name(width_g)),
    };
    let zero = match table.zero_tracking {
        true => ", and its zero follows drift in use but stood still during the calibration",
        false => "",
    };
    let description = format!(
        "Max {}, e = {}, d = {}, accuracy class {}. Board {}. In force during the calibration: \
         a table of {} points with checksum {} (CRC-32), masses in steps of {}, after {} \
         changes of table or settings; the device {taken_off}{zero}. With another table or other \
         settings this certificate says nothing of the scale.",
        name(scale.max),
        name(scale.e),
        name(scale.d),
        scale.class,
        proof.device.board,
        table.points.len(),
        table.checksum,
        name(table.quantum_g),
        table.sequence,
    );
    let of = |issuer, value: &str, name: &str| Identification {
        issuer,
        value: value.into(),
        name: Some(name.into()),
    };
    let events = table.sequence.to_string();
    let mut identifications = vec![
        of(
            Issuer::Other,
            &proof.device.id,
            "number of the device, as it tells itself",
        ),
        of(
            Issuer::Other,
            &table.checksum,
            "CRC-32 of the calibration table in the device",
        ),
        of(
            Issuer::Other,
            &events,
            "event counter: changes of table or settings in the device",
        ),
    ];
    identifications.extend(lab.item.identifications.iter().cloned());
    Item {
        name: marked(&lab.item.name, is_simulated(proof)),
        description: Some(description),
        software: vec![Software {
            name: "Scalewright, firmware of the scale".into(),
            release: proof.device.firmware.clone(),
        }],
        manufacturer: lab.item.manufacturer.clone(),
        model: lab.item.model.clone(),
        identifications,
    }
}

/// The standard that a source names, if it is one.
fn norm(source: &str) -> Option<String> {
    let names = ["OIML R 76-1:2006", "NIST Handbook 44"];
    let found = names.into_iter().find(|name| source.starts_with(name));
    found.map(String::from)
}

fn methods(proof: &Proof) -> Vec<Method> {
    let mut all: Vec<Method> = proof.tests.iter().map(method).collect();
    let mut parts: Vec<&str> = Vec::new();
    for one in proof
        .budgets
        .iter()
        .flat_map(|budget| &budget.contributions)
    {
        if !parts.contains(&one.name.as_str()) {
            parts.push(&one.name);
        }
    }
    all.push(Method {
        name: "Uncertainty of the errors of indication".into(),
        description: Some(format!(
            "Combined by the law of propagation of uncertainty from: {}. Expanded to a coverage \
             probability of 95.45 % with k from Student's t at the effective degrees of freedom. \
             Of differences (zero-setting, creep, a small load on a big one) repeatability and \
             rounding only. The influence of the conditions of use is not contained.",
            parts.join(", ")
        )),
        norms: vec!["JCGM 100:2008".into()],
        references: vec!["EURAMET cg-18 (from memory)".into()],
    });
    all
}

fn method(test: &TestOutcome) -> Method {
    let how = "Readings are those of the device's own table and correction before rounding to d, \
               from the mean of captured samples.";
    let unchecked = match test.source.contains("from memory") {
        true => " \"From memory\" marks what was not checked against the text of the standard.",
        false => "",
    };
    Method {
        name: test.title.clone(),
        description: Some(format!("After {}. {how}{unchecked}", test.source)),
        norms: norm(&test.source).into_iter().collect(),
        references: Vec::new(),
    }
}

/// What the form states, with its uncertainty; else what was noted when the
/// verification began, for which no uncertainty is kept.
fn conditions(proof: &Proof, lab: &Lab) -> Vec<Condition> {
    let noted = &proof.surroundings;
    let mut all = lab.conditions.clone();
    for (name, value, unit) in [
        ("temperature", noted.temperature_c, Unit::DegreeCelsius),
        (
            "relative humidity of the air",
            noted.humidity_percent,
            Unit::Percent,
        ),
        ("pressure of the air", noted.pressure_hpa, Unit::Hectopascal),
    ] {
        let stated = all.iter().any(|one| one.quantity.unit == unit);
        if let (Some(value), false) = (value, stated) {
            all.push(Condition {
                name: name.into(),
                quantity: Quantity {
                    value,
                    unit,
                    uncertainty: None,
                },
            });
        }
    }
    all
}

fn equipment(performed: &Performed, lab: &Lab) -> Result<Vec<Equipment>, NoCertificate> {
    let used = &performed.weights;
    for certificate in &lab.weights {
        let unknown =
            (certificate.names.iter()).find(|name| used.iter().all(|weight| weight.id != **name));
        if let Some(name) = unknown {
            return Err(NoCertificate::UnknownWeight {
                name: name.clone(),
                line: certificate.line,
                used: used.iter().map(|weight| weight.id.clone()).collect(),
            });
        }
    }
    Ok(used.iter().map(|weight| one_weight(weight, lab)).collect())
}

fn one_weight(weight: &UsedWeight, lab: &Lab) -> Equipment {
    let known = match &weight.worth {
        UsedWorth::Within {
            limit_g,
            class: Some(class),
        } => format!(
            "within {}, the tolerance of class {class} (OIML R 111-1:2004, table 1)",
            name(*limit_g)
        ),
        UsedWorth::Within {
            limit_g,
            class: None,
        } => format!("within {}, of no class", name(*limit_g)),
        UsedWorth::Stated { expanded_g } => {
            format!(
                "with a stated expanded uncertainty of {} (k = 2)",
                name(*expanded_g)
            )
        }
    };
    let density = weight
        .density_kg_m3
        .map(|density| format!("; density {density} kg/m3, its effect being contained in that"));
    let mut identifications = vec![Identification {
        issuer: Issuer::CalibrationLaboratory,
        value: weight.id.clone(),
        name: Some("name of the weight".into()),
    }];
    let certificate = (lab.weights.iter()).find(|one| one.names.contains(&weight.id));
    if let Some(certificate) = certificate {
        let by = (certificate.issued_by.as_ref()).map(|issuer| format!(", issued by {issuer}"));
        identifications.push(Identification {
            issuer: Issuer::Other,
            value: certificate.number.clone(),
            name: Some(format!(
                "calibration certificate of the weight{}",
                by.unwrap_or_default()
            )),
        });
    }
    Equipment {
        name: format!("weight {}", weight.id),
        description: Some(format!(
            "conventional mass {} {known}{}",
            name(weight.mass_g),
            density.unwrap_or_default()
        )),
        identifications,
    }
}
