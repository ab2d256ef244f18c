//! What a calibration certificate says that no measurement can tell: who
//! calibrated, for whom, what the scale is called, where and in which air.
//!
//! Owns the form (`lab.toml`, [`BLANK`]) and what may stand in it. Guarantees
//! that everything the schema asks for is there and of its shape. Refuses the
//! rest with key, line and what to do, all of it at once; a key nobody knows is
//! refused too, since it is a slip of the pen as a rule. Its
//! parts are read in `parts`, how a file is walked is that of `record::form`.

mod parts;

use std::path::Path;

use super::certificate::{Condition, Contact, Identification, Issuer, MassUnit, Person, Place};
use super::form::Form;
use parts::{
    conditions, contact, country, item, language, mass_unit, nobody, numbers, place, received,
    responsible, weights,
};

pub use super::form::{FormFault as LabFault, FormFaults as LabFaults};

/// The form, to be filled in.
pub const BLANK: &str = r#"# About a calibration certificate: what no measurement can tell.
# Write between the quotes. A line that begins with # may stay as it is; to use
# it, take its # away. Then:
#   scalewright certificate verification.session.jsonl --about lab.toml

language = "en"             # the texts are in English; there are no others
country = ""                # of the laboratory, by ISO 3166-1, as "DE"
place = "laboratory"        # where it was done: "laboratory", "customer",
                            # "laboratory branch", "customer branch", "other"
# mass_unit = "g"           # masses in "kg" (if nothing is said) or "g"
# number = ""               # your own number of the certificate
# order = ""                # the customer's number of the order
# received = "2026-01-31"   # the day on which the scale arrived

[laboratory]                # who calibrated; that may be you alone
name = ""
e_mail = ""
city = ""
# street = ""
# house_number = ""
# post_code = ""
# country = ""
# phone = ""
# accreditation = ""        # its code, only if there is one

[customer]                  # for whom; may be the same
name = ""
e_mail = ""
city = ""
# street, house_number, post_code, country and phone as above

# [owner]                   # of the scale, if that is not the customer
# name = ""
# e_mail = ""
# city = ""

[item]                      # the scale
name = ""                   # as "bench scale of the glaze kitchen"
manufacturer = ""           # who made it
# model = ""
# serial_number = ""        # the maker's; the device tells its own number
# inventory_number = ""     # the owner's

[[responsible]]             # who answers for it; one such part for each person
name = ""
# role = ""
# signs_first = true        # if nobody is said to, the first one does

# [conditions]              # while it was calibrated; what was read
# temperature_celsius = 21.3
# temperature_u = 0.5       # expanded uncertainties, k = 2
# humidity_percent = 45
# humidity_u = 3
# pressure_hpa = 1003.2
# pressure_u = 1

# [[weights]]               # weights with a certificate, one part for each
# names = ["W1", "W2"]      # as the verification calls them
# certificate = ""          # its number
# issued_by = ""
"#;

/// What the form says.
#[derive(Clone, Debug, PartialEq)]
pub struct Lab {
    /// Language of the texts; "en".
    pub language: String,
    /// Country of the laboratory, ISO 3166-1.
    pub country: String,
    /// Where it was done.
    pub place: Place,
    /// Unit in which masses are written.
    pub mass_unit: MassUnit,
    /// Further numbers of the certificate.
    pub identifications: Vec<Identification>,
    /// Day the scale arrived.
    pub received: Option<String>,
    /// Who calibrated.
    pub laboratory: Contact,
    /// Code of its accreditation.
    pub accreditation: Option<String>,
    /// For whom.
    pub customer: Contact,
    /// Whose scale it is, if not the customer's.
    pub owner: Option<Contact>,
    /// The scale.
    pub item: ItemNames,
    /// Who answers for it.
    pub responsible: Vec<Person>,
    /// Influence conditions that were read.
    pub conditions: Vec<Condition>,
    /// Certificates of weights.
    pub weights: Vec<WeightCertificate>,
}

/// What the scale is called.
#[derive(Clone, Debug, PartialEq)]
pub struct ItemNames {
    /// What it is.
    pub name: String,
    /// Who made it.
    pub manufacturer: String,
    /// Type.
    pub model: Option<String>,
    /// Numbers it is known by, beside its own.
    pub identifications: Vec<Identification>,
}

/// The certificate of some weights.
#[derive(Clone, Debug, PartialEq)]
pub struct WeightCertificate {
    /// The weights, as the verification calls them.
    pub names: Vec<String>,
    /// Number of the certificate.
    pub number: String,
    /// Who issued it.
    pub issued_by: Option<String>,
    /// Line of the form where they are named, from 1.
    pub line: usize,
}

/// Reads a form.
///
/// # Errors
/// [`LabFaults`]: everything that is wrong with it.
pub fn read(path: &Path) -> Result<Lab, LabFaults> {
    let file = path.display().to_string();
    let text = std::fs::read_to_string(path)
        .map_err(|error| LabFaults::of(&file, None, format!("can't be read: {error}")))?;
    parse(&text, &file)
}

/// Reads the text of a form called `file`.
///
/// ```
/// use scalewright::record::lab::{BLANK, parse};
/// let faults = parse(BLANK, "lab.toml").expect_err("nothing is filled in yet");
/// assert!(faults.faults.iter().any(|one| one.cause.starts_with("customer.name ")));
/// ```
///
/// # Errors
/// [`LabFaults`]: everything that is wrong with it.
pub fn parse(text: &str, file: &str) -> Result<Lab, LabFaults> {
    let mut form = Form::of(text, file)?;
    let mut top = form.top();
    let lab = Lab {
        language: language(&mut form, &mut top),
        country: country(&mut form, &mut top, true).unwrap_or_default(),
        place: place(&mut form, &mut top),
        mass_unit: mass_unit(&mut form, &mut top),
        identifications: numbers(
            &mut form,
            &mut top,
            &[
                ("number", Issuer::CalibrationLaboratory, "certificate"),
                ("order", Issuer::Customer, "order"),
            ],
        ),
        received: received(&mut form, &mut top),
        laboratory: nobody(),
        accreditation: None,
        customer: nobody(),
        owner: None,
        item: item(&mut form, &mut top),
        responsible: responsible(&mut form, &mut top),
        conditions: conditions(&mut form, &mut top),
        weights: weights(&mut form, &mut top),
    };
    let (laboratory, accreditation) = match form.part(&mut top, "laboratory", true) {
        Some(mut part) => {
            let code = form.may(&mut part, "accreditation");
            (contact(&mut form, part), code)
        }
        None => (nobody(), None),
    };
    let customer = form.part(&mut top, "customer", true);
    let customer = customer.map_or_else(nobody, |part| contact(&mut form, part));
    let owner = form.part(&mut top, "owner", false);
    let owner = owner.map(|part| contact(&mut form, part));
    form.end(top);
    form.finish(Lab {
        laboratory,
        accreditation,
        customer,
        owner,
        ..lab
    })
}
