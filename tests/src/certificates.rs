//! Certificates of bench verifications, and where each number in them comes
//! from: computed once more from the captures, by arithmetic written here.

mod sight;

use roxmltree::{Document, Node};
use scalewright::session::proof::entry::ProofEntry;

use crate::structure::{DCC, SI};
use sight::Sight;

/// A form that is filled in, with everything that may stand in it.
pub const FORM: &str = r#"
language = "en"
country = "DE"
place = "customer"
mass_unit = "kg"
number = "2026-0001"
order = "order 7"
received = 2026-01-30

[laboratory]
name = "Example bench"
e_mail = "lab@example.org"
city = "Nowhere"
street = "Long Street"
house_number = "1a"
post_code = "00000"
country = "DE"
phone = "+00 000"
accreditation = "none"

[customer]
name = "Example customer"
e_mail = "customer@example.org"
city = "Elsewhere"

[owner]
name = "Example owner"
e_mail = "owner@example.org"
city = "Anywhere"

[item]
name = "bench scale"
manufacturer = "self built"
model = "first"
serial_number = "SN-1"
inventory_number = "I-2"

[[responsible]]
name = "A. Person"
role = "builder"

[[responsible]]
name = "B. Person"
signs_first = true

[conditions]
temperature_celsius = 21.3
temperature_u = 0.5
humidity_percent = 45
pressure_hpa = 1003.2
pressure_u = 1

[[weights]]
names = ["W1", "W3"]
certificate = "K-2026-113"
issued_by = "Example laboratory"
"#;

/// Where the numbers of a certificate come from.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Traced {
    /// Numbers that follow from captures, loads and the permissible errors of
    /// OIML R 76-1 alone, and how many of those came out the same.
    pub from_captures: (usize, usize),
    /// Uncertainties, coverage factors and limits of other tests, which are held
    /// against the results; and how many are the same.
    pub as_found: (usize, usize),
    /// Every number that did not come out, or that nothing accounts for.
    pub strays: Vec<String>,
}

/// Traces every number among the results of a certificate to the entries of its
/// verification. Masses may stand in g or kg.
///
/// # Errors
/// When the text is no XML, or the entries give no results.
pub fn traced(xml: &str, entries: &[ProofEntry]) -> Result<Traced, String> {
    let document = Document::parse(xml).map_err(|error| error.to_string())?;
    let sight = Sight::of(entries)?;
    let mut traced = Traced::default();
    let results = document
        .descendants()
        .filter(|node| node.has_tag_name((DCC, "result")));
    let mut names = Vec::new();
    for result in results {
        let name = name_of(result);
        let expected = sight.expected(&name);
        let written = numbers(result)?;
        if written.len() != expected.len() {
            traced.strays.push(format!(
                "{name}: {} numbers, {} are accounted for",
                written.len(),
                expected.len()
            ));
        }
        for (place, value) in written.iter().enumerate() {
            let Some(expected) = expected.get(place) else {
                traced.as_found.1 += 1;
                continue;
            };
            let count = match expected.from_captures {
                true => &mut traced.from_captures,
                false => &mut traced.as_found,
            };
            count.1 += 1;
            if (value - expected.value).abs() <= expected.within {
                count.0 += 1;
            } else {
                traced.strays.push(format!(
                    "{name}, number {}: {value}, expected {} within {}",
                    place + 1,
                    expected.value,
                    expected.within
                ));
            }
        }
        names.push(name);
    }
    for wanted in sight.findings() {
        if !names.contains(&wanted) {
            traced.strays.push(format!("no result \"{wanted}\""));
        }
    }
    Ok(traced)
}

fn name_of(node: Node<'_, '_>) -> String {
    let name = node
        .children()
        .find(|child| child.has_tag_name((DCC, "name")));
    let content = name.and_then(|name| name.children().find(Node::is_element));
    content
        .and_then(|content| content.text())
        .unwrap_or_default()
        .into()
}

/// Every number of a result in the order of the text; masses in g.
fn numbers(result: Node<'_, '_>) -> Result<Vec<f64>, String> {
    let mut all = Vec::new();
    for quantity in result
        .descendants()
        .filter(|node| node.has_tag_name((DCC, "quantity")))
    {
        let unit = quantity
            .descendants()
            .find(|node| matches!(node.tag_name().name(), "unit" | "unitXMLList"));
        let factor = match unit.and_then(|unit| unit.text()) {
            Some(r"\kilogram") => 1000.0,
            Some(r"\gram" | r"\second") => 1.0,
            other => return Err(format!("the unit {other:?} is not foreseen")),
        };
        for node in quantity.descendants().filter(Node::is_element) {
            let scale = match node.tag_name().name() {
                "value" | "valueXMLList" | "uncertainty" | "uncertaintyXMLList" => factor,
                "coverageFactor" | "coverageFactorXMLList" => 1.0,
                "coverageProbability" | "coverageProbabilityXMLList" => 1.0,
                _ => continue,
            };
            debug_assert_eq!(node.tag_name().namespace(), Some(SI));
            for text in node.text().unwrap_or_default().split_whitespace() {
                let number: f64 = text.parse().map_err(|_| format!("{text:?} is no number"))?;
                all.push(number * scale);
            }
        }
    }
    Ok(all)
}
