//! The second part: how it was measured and what came out.

use super::administration::identification;
use super::refusal::Fault;
use super::xml::Xml;
use crate::record::certificate::{
    Condition, Data, Eccentricity, ErrorRow, Expanded, Finding, Measurement, Repeatability,
};

/// Measurement results.
pub fn write(xml: &mut Xml, measurements: &[Measurement]) {
    xml.list(
        "dcc:measurementResults",
        "dcc:measurementResult",
        measurements,
        |xml, one| {
            xml.words("dcc:name", &one.name);
            methods_and_equipment(xml, one);
            xml.list_if_any(
                "dcc:influenceConditions",
                "dcc:influenceCondition",
                &one.conditions,
                |xml, condition| {
                    xml.words("dcc:name", &condition.name);
                    xml.within("dcc:data", |xml| {
                        xml.within("dcc:quantity", |xml| xml.real(&condition.quantity));
                    });
                },
            );
            xml.list("dcc:results", "dcc:result", &one.results, finding);
        },
    );
}

fn methods_and_equipment(xml: &mut Xml, one: &Measurement) {
    xml.list_if_any(
        "dcc:usedMethods",
        "dcc:usedMethod",
        &one.methods,
        |xml, method| {
            xml.words("dcc:name", &method.name);
            xml.words_if_any("dcc:description", method.description.as_deref());
            for norm in &method.norms {
                xml.leaf("dcc:norm", norm);
            }
            for reference in &method.references {
                xml.leaf("dcc:reference", reference);
            }
        },
    );
    xml.list_if_any(
        "dcc:measuringEquipments",
        "dcc:measuringEquipment",
        &one.equipment,
        |xml, equipment| {
            xml.words("dcc:name", &equipment.name);
            xml.words_if_any("dcc:description", equipment.description.as_deref());
            xml.list_if_any(
                "dcc:identifications",
                "dcc:identification",
                &equipment.identifications,
                identification,
            );
        },
    );
}

fn finding(xml: &mut Xml, finding: &Finding) {
    xml.words("dcc:name", &finding.name);
    xml.words_if_any("dcc:description", finding.description.as_deref());
    xml.within("dcc:data", |xml| match &finding.data {
        Data::Errors(rows) => errors(xml, rows),
        Data::Repeatability(test) => repeatability(xml, test),
        Data::Eccentricity(test) => eccentricity(xml, test),
        Data::Quantities(all) => quantities(xml, all),
    });
}

/// A table, column by column.
fn errors(xml: &mut Xml, rows: &[ErrorRow]) {
    let column = |value: fn(&ErrorRow) -> f64| rows.iter().map(value).collect::<Vec<f64>>();
    // A gap in this column would move the numbers below it up: it is refused.
    let gap = f64::NAN;
    let permitted = (rows.iter().any(|row| row.permitted_g.is_some())).then(|| {
        let column = rows.iter().map(|row| row.permitted_g.unwrap_or(gap));
        ("maximum permissible error", column.collect(), None)
    });
    let uncertainties: Vec<Expanded> = rows.iter().map(|row| row.uncertainty).collect();
    xml.within("dcc:list", |xml| {
        for (name, masses_g, uncertainties) in [
            ("load", column(|row| row.load_g), None),
            ("indication", column(|row| row.indication_g), None),
            (
                "error of indication",
                column(|row| row.error_g),
                Some(uncertainties.as_slice()),
            ),
        ]
        .into_iter()
        .chain(permitted)
        {
            xml.within("dcc:quantity", |xml| {
                xml.our_words("dcc:name", name);
                xml.masses(&masses_g, uncertainties);
            });
        }
    });
}

fn repeatability(xml: &mut Xml, test: &Repeatability) {
    named(xml, "load", |xml| xml.mass(test.load_g));
    named(xml, "indications", |xml| {
        xml.masses(&test.indications_g, None);
    });
    named(xml, "standard deviation", |xml| xml.deviation(test.sd_g));
}

fn eccentricity(xml: &mut Xml, test: &Eccentricity) {
    named(xml, "load", |xml| xml.mass(test.load_g));
    xml.within("dcc:list", |xml| {
        xml.our_words("dcc:name", "positions");
        if test.positions.is_empty() {
            xml.refuse("", Fault::NoEntry);
        }
        xml.each("dcc:list", &test.positions, |xml, position| {
            xml.words("dcc:name", &position.name);
            named(xml, "indication", |xml| xml.mass(position.indication_g));
            named(xml, "difference from the centre", |xml| {
                xml.mass(position.difference_g);
            });
        });
    });
    named(xml, "largest difference from the centre", |xml| {
        xml.mass(test.largest_g);
    });
}

fn quantities(xml: &mut Xml, all: &[Condition]) {
    if all.is_empty() {
        xml.refuse("", Fault::NoEntry);
    }
    xml.each("dcc:quantity", all, |xml, one| {
        xml.words("dcc:name", &one.name);
        xml.real(&one.quantity);
    });
}

/// A quantity under a name of ours.
fn named(xml: &mut Xml, name: &str, inside: impl FnOnce(&mut Xml)) {
    xml.within("dcc:quantity", |xml| {
        xml.our_words("dcc:name", name);
        inside(xml);
    });
}
