//! The certificate read back by an XML parser: every number with its unit and
//! its uncertainty where it belongs. Works without the schema.

use roxmltree::{Document, Node};
use scalewright::record::certificate::{Data, MassUnit, NOT_A_LEGAL_VERIFICATION};
use scalewright::report::dcc::dcc;

use crate::fixture::{CONDITIONS, POSITIONS, REPEATED, ROWS, full, least};

/// The namespaces as PTB names them.
const DCC: &str = "https://ptb.de/dcc";
const SI: &str = "https://ptb.de/si";

/// The one child of that name in that namespace.
fn one<'a>(node: Node<'a, 'a>, namespace: &str, name: &str) -> Node<'a, 'a> {
    let mut found = node
        .children()
        .filter(|n| n.has_tag_name((namespace, name)));
    let first = found
        .next()
        .unwrap_or_else(|| panic!("no {name} in {node:?}"));
    assert!(found.next().is_none(), "two of {name}");
    first
}

/// Down a path of `dcc` elements.
pub fn down<'a>(node: Node<'a, 'a>, path: &str) -> Node<'a, 'a> {
    path.split('/')
        .fold(node, |node, name| one(node, DCC, name))
}

fn text<'a>(node: Node<'a, 'a>, namespace: &str, name: &str) -> &'a str {
    one(node, namespace, name).text().unwrap_or_default()
}

pub fn named<'a>(node: Node<'a, 'a>) -> &'a str {
    down(node, "name/content").text().unwrap_or_default()
}

fn all<'a>(node: Node<'a, 'a>, name: &'a str) -> Vec<Node<'a, 'a>> {
    let children = node.children().filter(|n| n.has_tag_name((DCC, name)));
    children.collect()
}

/// Value, unit, and U, k, p if there are any, of a `si:real`.
fn real<'a>(quantity: Node<'a, 'a>) -> (f64, &'a str, Option<[f64; 3]>) {
    let real = one(quantity, SI, "real");
    let number = |node, name| text(node, SI, name).parse().expect("a number");
    let stated = real
        .children()
        .find(|n| n.has_tag_name((SI, "expandedUnc")));
    let stated = stated.map(|node| {
        ["uncertainty", "coverageFactor", "coverageProbability"].map(|name| number(node, name))
    });
    (number(real, "value"), text(real, SI, "unit"), stated)
}

/// The numbers of a list, and its unit.
fn column<'a>(quantity: Node<'a, 'a>) -> (Vec<f64>, &'a str) {
    let list = one(quantity, SI, "realListXMLList");
    (numbers(list, "valueXMLList"), text(list, SI, "unitXMLList"))
}

fn numbers(list: Node, name: &str) -> Vec<f64> {
    let texts = text(list, SI, name).split(' ');
    texts.map(|t| t.parse().expect("a number")).collect()
}

/// What the decimal number of an f64 in g is in kg, by another way than the
/// writer's.
fn kg(mass_g: f64) -> f64 {
    format!("{mass_g}e-3").parse().expect("a number")
}

#[test]
fn every_number_stands_where_it_belongs() {
    for unit in [MassUnit::Kilogram, MassUnit::Gram] {
        let mut certificate = full();
        certificate.mass_unit = unit;
        let (mass, unit): (fn(f64) -> f64, _) = match unit {
            MassUnit::Kilogram => (kg, r"\kilogram"),
            MassUnit::Gram => (|g| g, r"\gram"),
        };
        let written = dcc(&certificate).expect("a certificate");
        let document = Document::parse(&written).expect("well formed");
        let root = document.root_element();
        assert_eq!(
            root.tag_name(),
            (DCC, "digitalCalibrationCertificate").into()
        );
        assert_eq!(root.attribute("schemaVersion"), Some("3.1.2"));

        let measurement = down(root, "measurementResults/measurementResult");
        let conditions = all(
            down(measurement, "influenceConditions"),
            "influenceCondition",
        );
        assert_eq!(conditions.len(), CONDITIONS.len());
        for (node, (name, value, unit, u)) in conditions.into_iter().zip(CONDITIONS) {
            assert_eq!(named(node), name);
            let stated = u.map(|u| [u, 2.05, 0.9545]);
            assert_eq!(real(down(node, "data/quantity")), (value, unit, stated));
        }

        let results = all(down(measurement, "results"), "result");
        let [errors, repeatability, eccentricity, others] = results[..] else {
            panic!("{} results", results.len());
        };
        let columns = all(down(errors, "data/list"), "quantity");
        let names = ["load", "indication", "error of indication"];
        assert_eq!(columns.len(), names.len());
        for (index, (node, name)) in columns.iter().zip(names).enumerate() {
            assert_eq!(named(*node), name);
            let expected: Vec<f64> = ROWS.iter().map(|row| mass(row[index])).collect();
            assert_eq!(column(*node), (expected, unit));
            let list = one(*node, SI, "realListXMLList");
            let stated = list
                .children()
                .find(|n| n.has_tag_name((SI, "expandedUncXMLList")));
            assert_eq!(stated.is_some(), name == "error of indication");
            if let Some(stated) = stated {
                let us: Vec<f64> = ROWS.iter().map(|row| mass(row[3])).collect();
                assert_eq!(numbers(stated, "uncertaintyXMLList"), us);
                assert_eq!(numbers(stated, "coverageFactorXMLList"), [2.05; 4]);
                assert_eq!(numbers(stated, "coverageProbabilityXMLList"), [0.9545; 4]);
            }
        }

        let quantities = all(down(repeatability, "data"), "quantity");
        assert_eq!(quantities.len(), 3);
        assert_eq!(real(quantities[0]), (mass(3000.0), unit, None));
        assert_eq!(column(quantities[1]), (REPEATED.map(mass).to_vec(), unit));
        assert_eq!(named(quantities[2]), "standard deviation");
        assert_eq!(real(quantities[2]), (mass(0.025), unit, None));

        let quantities = all(down(eccentricity, "data"), "quantity");
        assert_eq!(real(quantities[0]), (mass(2000.0), unit, None));
        assert_eq!(real(quantities[1]), (mass(0.04), unit, None));
        let positions = all(down(eccentricity, "data/list"), "list");
        assert_eq!(positions.len(), POSITIONS.len());
        for (node, (name, indication, difference)) in positions.into_iter().zip(POSITIONS) {
            assert_eq!(named(node), name);
            let [first, second] = all(node, "quantity")[..] else {
                panic!("two quantities");
            };
            assert_eq!(real(first), (mass(indication), unit, None));
            assert_eq!(real(second), (mass(difference), unit, None));
        }

        let quantities = all(down(others, "data"), "quantity");
        let stated = Some([mass(0.02), 2.05, 0.9545]);
        assert_eq!(real(quantities[0]), (mass(-0.06), unit, stated));
        assert_eq!(real(quantities[1]), (16.0, r"\one", None));
    }
}

#[test]
fn who_what_and_when_stand_where_they_belong() {
    let written = dcc(&full()).expect("a certificate");
    let document = Document::parse(&written).expect("well formed");
    let data = down(document.root_element(), "administrativeData");
    let core = down(data, "coreData");
    for (name, expected) in [
        ("countryCodeISO3166_1", "DE"),
        ("mandatoryLangCodeISO639_1", "de"),
        ("uniqueIdentifier", "EXAMPLE-0001"),
        ("receiptDate", "2026-01-01"),
        ("beginPerformanceDate", "2026-01-02"),
        ("endPerformanceDate", "2026-01-03"),
        ("performanceLocation", "customerBranch"),
    ] {
        assert_eq!(text(core, DCC, name), expected);
    }
    let languages = all(core, "usedLangCodeISO639_1");
    let languages: Vec<_> = languages.iter().map(|n| n.text()).collect();
    assert_eq!(languages, [Some("de"), Some("en")]);
    assert_eq!(named(down(data, "items/owner")), "Example owner");
    let item = down(data, "items/item");
    assert_eq!(named(item), "bench scale");
    assert_eq!(named(down(item, "manufacturer")), "self built");
    let known = down(item, "identifications/identification");
    assert_eq!(text(known, DCC, "issuer"), "manufacturer");
    assert_eq!(text(known, DCC, "value"), "SN-1");
    let contact = down(data, "calibrationLaboratory/contact");
    assert_eq!(named(contact), "Example bench");
    assert_eq!(text(down(contact, "location"), DCC, "postCode"), "00000");
    let person = down(data, "respPersons/respPerson");
    assert_eq!(named(down(person, "person")), "A. Person");
    assert_eq!(text(person, DCC, "mainSigner"), "true");
    assert_eq!(named(down(data, "customer")), "Example customer");
    let statements = all(down(data, "statements"), "statement");
    assert_eq!(text(statements[1], DCC, "conformity"), "conditionalPass");
    assert_eq!(text(statements[1], DCC, "norm"), "OIML R 76-1:2006");
    let results = down(
        document.root_element(),
        "measurementResults/measurementResult",
    );
    let method = down(results, "usedMethods/usedMethod");
    assert_eq!(text(method, DCC, "norm"), "EURAMET cg-18:2015");
}

#[test]
fn no_certificate_passes_for_a_legal_verification() {
    for certificate in [full(), least()] {
        let written = dcc(&certificate).expect("a certificate");
        let document = Document::parse(&written).expect("well formed");
        let statements = down(document.root_element(), "administrativeData/statements");
        let first = all(statements, "statement")[0];
        let content = down(first, "declaration/content");
        assert_eq!(content.text(), Some(NOT_A_LEGAL_VERIFICATION));
        assert_eq!(content.attribute("lang"), Some("en"));
    }
}

#[test]
fn the_same_values_give_the_same_text() {
    assert_eq!(dcc(&full()), dcc(&full()));
    // The record survives being kept.
    let kept = serde_json::to_string(&full()).expect("JSON");
    let read: scalewright::record::certificate::Certificate =
        serde_json::from_str(&kept).expect("a certificate");
    assert_eq!(dcc(&read), dcc(&full()));
}

/// A fourth column, where every row has one; a gap in it would move the numbers
/// below it up.
#[test]
fn permissible_errors_are_a_column_of_their_own_or_none() {
    let permitted = |some: [Option<f64>; 4]| {
        let mut certificate = full();
        if let Data::Errors(rows) = &mut certificate.measurements[0].results[0].data {
            for (row, permitted_g) in rows.iter_mut().zip(some) {
                row.permitted_g = permitted_g;
            }
        }
        certificate
    };
    let written = dcc(&permitted([1.0, 1.0, 2.0, 3.0].map(Some))).expect("a certificate");
    let document = Document::parse(&written).expect("well formed");
    let results = down(
        document.root_element(),
        "measurementResults/measurementResult/results",
    );
    let errors = all(results, "result")[0];
    let columns = all(down(errors, "data/list"), "quantity");
    assert_eq!(columns.len(), 4);
    assert_eq!(named(columns[3]), "maximum permissible error");
    let expected = [1.0, 1.0, 2.0, 3.0].map(kg).to_vec();
    assert_eq!(column(columns[3]), (expected, r"\kilogram"));
    let refusal = dcc(&permitted([Some(1.0), None, None, None])).expect_err("a gap");
    assert!(refusal.at.ends_with("valueXMLList[2]"), "{}", refusal.at);
}
