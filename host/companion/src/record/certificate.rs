//! A calibration certificate as plain values, after the order of PTB's Digital
//! Calibration Certificate. Nothing here computes.
//!
//! Masses are in grams, dates are "2026-01-31", texts are in the language the
//! certificate names. Numbers are written as they stand here: round them to
//! their uncertainty first ([`crate::report::dcc::to_uncertainty`]).

use serde::{Deserialize, Serialize};

/// What every certificate says of itself first.
pub const NOT_A_LEGAL_VERIFICATION: &str = "This is a record of a calibration. It is not a legal verification, and it does not allow the instrument to be used where the law asks for a verified one.";

/// A calibration certificate.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Certificate {
    /// A name that no other certificate has.
    pub identifier: String,
    /// Country of the laboratory, two capital letters of ISO 3166-1.
    pub country: String,
    /// Language of the texts, two small letters of ISO 639-1.
    pub language: String,
    /// Further identifications of the certificate, such as an order number.
    #[serde(default)]
    pub identifications: Vec<Identification>,
    /// Day the item arrived.
    #[serde(default)]
    pub received: Option<String>,
    /// First day of the calibration.
    pub began: String,
    /// Last day of the calibration.
    pub ended: String,
    /// Where it was done.
    pub place: Place,
    /// What made the certificate; one at least.
    pub software: Vec<Software>,
    /// Whose it is, if that is told.
    #[serde(default)]
    pub owner: Option<Contact>,
    /// What was calibrated; one at least.
    pub items: Vec<Item>,
    /// Who calibrated.
    pub laboratory: Contact,
    /// Code of an accreditation, if there is one.
    #[serde(default)]
    pub laboratory_code: Option<String>,
    /// Who answers for it; one at least.
    pub responsible: Vec<Person>,
    /// For whom it was done.
    pub customer: Contact,
    /// What is stated besides [`NOT_A_LEGAL_VERIFICATION`].
    #[serde(default)]
    pub statements: Vec<Statement>,
    /// What was measured; one at least.
    pub measurements: Vec<Measurement>,
    /// Unit in which masses are written.
    pub mass_unit: MassUnit,
}

/// Where a calibration was done.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Place {
    /// In the laboratory.
    Laboratory,
    /// At the customer's.
    Customer,
    /// In a branch of the laboratory.
    LaboratoryBranch,
    /// In a branch of the customer's.
    CustomerBranch,
    /// Elsewhere.
    Other,
}

/// The unit in which masses are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum MassUnit {
    /// Kilogram.
    Kilogram,
    /// Gram.
    Gram,
}

/// A number or name by which somebody knows a thing.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Identification {
    /// Who gave it.
    pub issuer: Issuer,
    /// The number or name itself.
    pub value: String,
    /// What it is, as "serial number".
    #[serde(default)]
    pub name: Option<String>,
}

/// Who gave an identification.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)] // The names are the whole documentation.
pub enum Issuer {
    Manufacturer,
    CalibrationLaboratory,
    Customer,
    Owner,
    Other,
}

/// A program that took part.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Software {
    /// Its name.
    pub name: String,
    /// Its version.
    pub release: String,
}

/// What was calibrated.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Item {
    /// What it is.
    pub name: String,
    /// Details: Max, e, d, class.
    #[serde(default)]
    pub description: Option<String>,
    /// Programs in it, such as firmware.
    #[serde(default)]
    pub software: Vec<Software>,
    /// Who made it.
    pub manufacturer: String,
    /// Type.
    #[serde(default)]
    pub model: Option<String>,
    /// By what it is known; one at least.
    pub identifications: Vec<Identification>,
}

/// A person or firm that can be reached.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Contact {
    /// Name.
    pub name: String,
    /// Address for electronic mail; the schema asks for one.
    pub e_mail: String,
    /// Telephone.
    #[serde(default)]
    pub phone: Option<String>,
    /// Where they are.
    pub address: Address,
}

/// A postal address.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Address {
    /// Town.
    pub city: String,
    /// Street.
    #[serde(default)]
    pub street: Option<String>,
    /// Number in the street.
    #[serde(default)]
    pub number: Option<String>,
    /// Postal code.
    #[serde(default)]
    pub post_code: Option<String>,
    /// Country, two capital letters of ISO 3166-1.
    #[serde(default)]
    pub country: Option<String>,
}

/// A person who answers for the certificate.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Person {
    /// Name.
    pub name: String,
    /// What they do there.
    #[serde(default)]
    pub role: Option<String>,
    /// Whether they sign first.
    pub main_signer: bool,
}

/// Something stated.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Statement {
    /// What is stated.
    pub declaration: String,
    /// Standards it rests on.
    #[serde(default)]
    pub norms: Vec<String>,
    /// Whether a requirement is met, if that is what is stated.
    #[serde(default)]
    pub conformity: Option<Conformity>,
}

/// Whether a requirement is met.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Conformity {
    /// Met.
    Pass,
    /// Not met.
    Fail,
    /// Met by the value, in doubt by its uncertainty.
    ConditionalPass,
    /// Not met by the value, in doubt by its uncertainty.
    ConditionalFail,
}

/// Tests that belong together.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Measurement {
    /// What it is.
    pub name: String,
    /// How it was done; may be empty.
    #[serde(default)]
    pub methods: Vec<Method>,
    /// With what; may be empty.
    #[serde(default)]
    pub equipment: Vec<Equipment>,
    /// Under which conditions; may be empty.
    #[serde(default)]
    pub conditions: Vec<Condition>,
    /// What came out; one at least.
    pub results: Vec<Finding>,
}

/// A way of measuring.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Method {
    /// Its name.
    pub name: String,
    /// What was done.
    #[serde(default)]
    pub description: Option<String>,
    /// Standards that describe it.
    #[serde(default)]
    pub norms: Vec<String>,
    /// Other texts that describe it.
    #[serde(default)]
    pub references: Vec<String>,
}

/// A thing measured with, such as a set of weights.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Equipment {
    /// What it is.
    pub name: String,
    /// Details: class, certificate.
    #[serde(default)]
    pub description: Option<String>,
    /// By what it is known; may be empty.
    #[serde(default)]
    pub identifications: Vec<Identification>,
}

/// An influence condition.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Condition {
    /// What it is, as "temperature".
    pub name: String,
    /// How large it was.
    pub quantity: Quantity,
}

/// A value with its unit and, where stated, its expanded uncertainty.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Quantity {
    /// The value.
    pub value: f64,
    /// Its unit.
    pub unit: Unit,
    /// Its expanded uncertainty, in the same unit.
    #[serde(default)]
    pub uncertainty: Option<Expanded>,
}

/// An expanded uncertainty.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Expanded {
    /// Expanded uncertainty U, in the unit of its value.
    pub u: f64,
    /// Coverage factor k.
    pub k: f64,
    /// Coverage probability, 0 to 1.
    pub probability: f64,
}

/// Units of quantities.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Unit {
    /// A mass in g, written in the certificate's unit.
    Gram,
    /// Degree Celsius.
    DegreeCelsius,
    /// Hectopascal.
    Hectopascal,
    /// Percent.
    Percent,
    /// Second.
    Second,
    /// Metre.
    Metre,
    /// Metre per second squared.
    MetrePerSecondSquared,
    /// Kilogram per cubic metre.
    KilogramPerCubicMetre,
    /// One: a pure number.
    One,
}

/// What came out of one test.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// What was tested.
    pub name: String,
    /// What a reader needs to know of it.
    #[serde(default)]
    pub description: Option<String>,
    /// The numbers.
    pub data: Data,
}

/// The numbers of one test.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Data {
    /// Errors of indication, a row a load; one at least.
    Errors(Vec<ErrorRow>),
    /// One load several times.
    Repeatability(Repeatability),
    /// One load at several positions.
    Eccentricity(Eccentricity),
    /// Anything else; one at least.
    Quantities(Vec<Condition>),
}

/// An error of indication.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ErrorRow {
    /// Load, g.
    pub load_g: f64,
    /// Indication, g.
    pub indication_g: f64,
    /// Error of indication, g.
    pub error_g: f64,
    /// Its expanded uncertainty; u in g.
    pub uncertainty: Expanded,
    /// Maximum permissible error, plus or minus, g; in all rows or in none.
    #[serde(default)]
    pub permitted_g: Option<f64>,
}

/// One load several times.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Repeatability {
    /// Load, g.
    pub load_g: f64,
    /// Indications in order, g; one at least.
    pub indications_g: Vec<f64>,
    /// Their standard deviation, g.
    pub sd_g: f64,
}

/// One load at several positions.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Eccentricity {
    /// Load, g.
    pub load_g: f64,
    /// The positions; one at least.
    pub positions: Vec<Position>,
    /// Largest difference from the centre by size, g.
    pub largest_g: f64,
}

/// An indication away from the centre.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Position {
    /// Where, as "front left".
    pub name: String,
    /// Indication, g.
    pub indication_g: f64,
    /// Difference from the centre, g.
    pub difference_g: f64,
}
