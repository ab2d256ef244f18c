//! The parts of the form, one function each.

use super::super::form::{Form, Part, is_capitals, is_day};
use super::{ItemNames, WeightCertificate};
use crate::record::certificate::{
    Address, Condition, Contact, Expanded, Identification, Issuer, MassUnit, Person, Place,
    Quantity, Unit,
};

/// A contact of which nothing is known; a form that gives it is refused.
pub const fn nobody() -> Contact {
    Contact {
        name: String::new(),
        e_mail: String::new(),
        phone: None,
        address: Address {
            city: String::new(),
            street: None,
            number: None,
            post_code: None,
            country: None,
        },
    }
}

pub fn language<'t>(form: &mut Form<'t>, top: &mut Part<'t>) -> String {
    let found = form.must(top, "language", "\"en\"");
    if !found.is_empty() && found != "en" {
        let cause = "is not \"en\": the certificate's texts are in English; translate the finished file if need be";
        form.fault(top, "language", cause);
    }
    found
}

pub fn country<'t>(form: &mut Form<'t>, part: &mut Part<'t>, must: bool) -> Option<String> {
    let what = "two capital letters of ISO 3166-1, as \"DE\"";
    let found = match must {
        true => Some(form.must(part, "country", what)),
        false => form.may(part, "country"),
    };
    if found
        .as_ref()
        .is_some_and(|code| !code.is_empty() && !is_capitals(code))
    {
        form.fault(part, "country", &format!("is no country: write {what}"));
    }
    found
}

/// Places as the form calls them.
const PLACES: [(&str, Place); 5] = [
    ("laboratory", Place::Laboratory),
    ("customer", Place::Customer),
    ("laboratory branch", Place::LaboratoryBranch),
    ("customer branch", Place::CustomerBranch),
    ("other", Place::Other),
];

pub fn place<'t>(form: &mut Form<'t>, top: &mut Part<'t>) -> Place {
    let said = form.must(top, "place", "where it was done, as \"laboratory\"");
    let found = PLACES.into_iter().find(|(name, _)| *name == said);
    if found.is_none() && !said.is_empty() {
        let names = PLACES.map(|(name, _)| format!("\"{name}\"")).join(", ");
        form.fault(
            top,
            "place",
            &format!("is no place known here: write one of {names}"),
        );
    }
    found.map_or(Place::Laboratory, |(_, place)| place)
}

pub fn mass_unit<'t>(form: &mut Form<'t>, top: &mut Part<'t>) -> MassUnit {
    match form.may(top, "mass_unit").as_deref() {
        None | Some("kg") => MassUnit::Kilogram,
        Some("g") => MassUnit::Gram,
        Some(_) => {
            form.fault(
                top,
                "mass_unit",
                "is neither of the two: write \"kg\" or \"g\"",
            );
            MassUnit::Kilogram
        }
    }
}

pub fn received<'t>(form: &mut Form<'t>, top: &mut Part<'t>) -> Option<String> {
    let found = form.may(top, "received");
    if found.as_deref().is_some_and(|day| !is_day(day)) {
        let cause = "is no day: write year, month and day, as \"2026-01-31\"";
        form.fault(top, "received", cause);
    }
    found
}

/// Numbers by which a thing is known: key, who gave it, what it is the number of.
pub fn numbers<'t>(
    form: &mut Form<'t>,
    part: &mut Part<'t>,
    known: &[(&'static str, Issuer, &str)],
) -> Vec<Identification> {
    let mut found = Vec::new();
    for (key, issuer, of) in known {
        if let Some(value) = form.may(part, key) {
            found.push(Identification {
                issuer: *issuer,
                value,
                name: Some(format!("number of the {of}")),
            });
        }
    }
    found
}

pub fn contact<'t>(form: &mut Form<'t>, mut part: Part<'t>) -> Contact {
    let name = form.must(&mut part, "name", "the name of a person or firm");
    let e_mail = form.must(&mut part, "e_mail", "an address, which the schema asks for");
    if !e_mail.is_empty() && !e_mail.trim_matches('@').contains('@') {
        let cause = "is no address: write it with its @, as \"lab@example.org\"";
        form.fault(&part, "e_mail", cause);
    }
    let found = Contact {
        name,
        e_mail,
        phone: form.may(&mut part, "phone"),
        address: Address {
            city: form.must(&mut part, "city", "the town"),
            street: form.may(&mut part, "street"),
            number: form.may(&mut part, "house_number"),
            post_code: form.may(&mut part, "post_code"),
            country: country(form, &mut part, false),
        },
    };
    form.end(part);
    found
}

pub fn item<'t>(form: &mut Form<'t>, top: &mut Part<'t>) -> ItemNames {
    let Some(mut part) = form.part(top, "item", true) else {
        return ItemNames {
            name: String::new(),
            manufacturer: String::new(),
            model: None,
            identifications: Vec::new(),
        };
    };
    let known = [
        ("serial_number", Issuer::Manufacturer, "series"),
        ("inventory_number", Issuer::Owner, "inventory"),
    ];
    let found = ItemNames {
        name: form.must(&mut part, "name", "what it is, as \"bench scale\""),
        manufacturer: form.must(&mut part, "manufacturer", "who made it"),
        model: form.may(&mut part, "model"),
        identifications: numbers(form, &mut part, &known),
    };
    form.end(part);
    found
}

pub fn responsible<'t>(form: &mut Form<'t>, top: &mut Part<'t>) -> Vec<Person> {
    let mut found: Vec<Person> = Vec::new();
    for mut part in form.parts(top, "responsible", true) {
        let name = form.must(&mut part, "name", "the name of a person");
        let role = form.may(&mut part, "role");
        let main_signer = form.flag(&mut part, "signs_first");
        if main_signer && found.iter().any(|other| other.main_signer) {
            let cause = "is true twice: one person signs first; take it away from the others";
            form.fault(&part, "signs_first", cause);
        }
        found.push(Person {
            name,
            role,
            main_signer,
        });
        form.end(part);
    }
    if !found.iter().any(|person| person.main_signer)
        && let Some(first) = found.first_mut()
    {
        first.main_signer = true;
    }
    found
}

/// Conditions: name, key of the value, its unit, key of its uncertainty, and
/// what is no typing error (own choice: wider than any room).
const CONDITIONS: [(&str, &str, Unit, &str, [f64; 2]); 3] = [
    (
        "temperature",
        "temperature_celsius",
        Unit::DegreeCelsius,
        "temperature_u",
        [-50.0, 70.0],
    ),
    (
        "relative humidity of the air",
        "humidity_percent",
        Unit::Percent,
        "humidity_u",
        [0.0, 100.0],
    ),
    (
        "pressure of the air",
        "pressure_hpa",
        Unit::Hectopascal,
        "pressure_u",
        [300.0, 1100.0],
    ),
];

pub fn conditions<'t>(form: &mut Form<'t>, top: &mut Part<'t>) -> Vec<Condition> {
    let mut found = Vec::new();
    let Some(mut part) = form.part(top, "conditions", false) else {
        return found;
    };
    for (name, key, unit, u_key, [least, most]) in CONDITIONS {
        let value = form.number(&mut part, key);
        let u = form.number(&mut part, u_key);
        if value.is_some_and(|value| !(least..=most).contains(&value)) {
            let cause = format!("is outside {least} to {most}: look at the number and its unit");
            form.fault(&part, key, &cause);
        }
        if u.is_some_and(|u| !(u > 0.0 && u <= most - least)) {
            let cause = "is no uncertainty: write one above 0, or leave it out";
            form.fault(&part, u_key, cause);
        }
        match (value, u) {
            (Some(value), u) => found.push(Condition {
                name: name.into(),
                quantity: Quantity {
                    value,
                    unit,
                    uncertainty: u.map(|u| Expanded {
                        u,
                        k: 2.0,
                        probability: 0.9545,
                    }),
                },
            }),
            (None, Some(_)) => {
                form.fault(
                    &part,
                    u_key,
                    &format!("has no value beside it: write {key} too"),
                );
            }
            (None, None) => {}
        }
    }
    form.end(part);
    found
}

pub fn weights<'t>(form: &mut Form<'t>, top: &mut Part<'t>) -> Vec<WeightCertificate> {
    let mut found: Vec<WeightCertificate> = Vec::new();
    for mut part in form.parts(top, "weights", false) {
        let names = form.names(&mut part, "names");
        let line = form.line_of(&part, "names");
        let before = found.iter().flat_map(|one| &one.names);
        if let Some(twice) = before.clone().find(|name| names.contains(name)) {
            let cause = format!("names {twice} once more: give each weight one certificate");
            form.fault(&part, "names", &cause);
        }
        found.push(WeightCertificate {
            names,
            number: form.must(&mut part, "certificate", "the number of the certificate"),
            issued_by: form.may(&mut part, "issued_by"),
            line,
        });
        form.end(part);
    }
    found
}
