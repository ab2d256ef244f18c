//! What PTB's schema 3.1.2 asks of a certificate's frame, checked without the
//! schema: which elements must be there, and in which order.
//!
//! The lists are of our own writing after `dcc.xsd` 3.1.2 (VERIFIED: read in the
//! file, and `tests/dcc/schema.rs` of the companion shows by the schema itself
//! that certificates of this frame are valid). Elements this program never
//! writes are left out, so what is accepted here is less than the schema allows.

use roxmltree::Node;

/// Namespace of the certificate.
pub const DCC: &str = "https://ptb.de/dcc";
/// Namespace of quantities.
pub const SI: &str = "https://ptb.de/si";

/// How often a child may stand.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Times {
    Once,
    Maybe,
    Some,
    Any,
}
use Times::{Any, Maybe, Once, Some as OneOrMore};

/// Children of an element in their order.
type Children = &'static [(&'static str, Times)];

const CONTACT: Children = &[
    ("name", Once),
    ("eMail", Once),
    ("phone", Maybe),
    ("location", Once),
];

const LOCATION: Children = &[
    ("city", Once),
    ("countryCode", Maybe),
    ("postCode", Maybe),
    ("street", Maybe),
    ("streetNo", Maybe),
];

const NUMBER: Children = &[("issuer", Once), ("value", Once), ("name", Maybe)];

/// Elements by the end of their path, with their children.
const FRAME: [(&str, Children); 28] = [
    (
        "digitalCalibrationCertificate",
        &[("administrativeData", Once), ("measurementResults", Once)],
    ),
    (
        "administrativeData",
        &[
            ("dccSoftware", Once),
            ("coreData", Once),
            ("items", Once),
            ("calibrationLaboratory", Once),
            ("respPersons", Once),
            ("customer", Once),
            ("statements", Maybe),
        ],
    ),
    ("dccSoftware", &[("software", OneOrMore)]),
    ("installedSoftwares", &[("software", OneOrMore)]),
    ("software", &[("name", Once), ("release", Once)]),
    (
        "coreData",
        &[
            ("countryCodeISO3166_1", Once),
            ("usedLangCodeISO639_1", OneOrMore),
            ("mandatoryLangCodeISO639_1", OneOrMore),
            ("uniqueIdentifier", Once),
            ("identifications", Maybe),
            ("receiptDate", Maybe),
            ("beginPerformanceDate", Once),
            ("endPerformanceDate", Once),
            ("performanceLocation", Once),
        ],
    ),
    ("items", &[("owner", Maybe), ("item", OneOrMore)]),
    (
        "item",
        &[
            ("name", Once),
            ("description", Maybe),
            ("installedSoftwares", Maybe),
            ("manufacturer", Once),
            ("model", Maybe),
            ("identifications", Once),
        ],
    ),
    ("manufacturer", &[("name", Once)]),
    ("identifications", &[("identification", OneOrMore)]),
    ("identification", NUMBER),
    (
        "calibrationLaboratory",
        &[("calibrationLaboratoryCode", Maybe), ("contact", Once)],
    ),
    ("contact", CONTACT),
    ("customer", CONTACT),
    ("owner", CONTACT),
    ("location", LOCATION),
    ("respPersons", &[("respPerson", OneOrMore)]),
    (
        "respPerson",
        &[("person", Once), ("role", Maybe), ("mainSigner", Maybe)],
    ),
    ("statements", &[("statement", OneOrMore)]),
    (
        "statement",
        &[("norm", Any), ("declaration", Maybe), ("conformity", Maybe)],
    ),
    ("measurementResults", &[("measurementResult", OneOrMore)]),
    (
        "measurementResult",
        &[
            ("name", Once),
            ("usedMethods", Maybe),
            ("measuringEquipments", Maybe),
            ("influenceConditions", Maybe),
            ("results", Once),
        ],
    ),
    (
        "usedMethod",
        &[
            ("name", Once),
            ("description", Maybe),
            ("norm", Any),
            ("reference", Any),
        ],
    ),
    (
        "measuringEquipment",
        &[
            ("name", Once),
            ("description", Maybe),
            ("identifications", Maybe),
        ],
    ),
    ("influenceCondition", &[("name", Once), ("data", Once)]),
    ("results", &[("result", OneOrMore)]),
    (
        "result",
        &[("name", Once), ("description", Maybe), ("data", Once)],
    ),
    (
        "expandedUnc",
        &[
            ("uncertainty", Once),
            ("coverageFactor", Once),
            ("coverageProbability", Once),
        ],
    ),
];

/// What is wrong with the frame of a certificate; empty for a sound one.
#[must_use]
pub fn faults(root: Node<'_, '_>) -> Vec<String> {
    let mut found = Vec::new();
    if !root.has_tag_name((DCC, "digitalCalibrationCertificate"))
        || root.attribute("schemaVersion") != Some("3.1.2")
    {
        found.push("the root is no certificate of schema 3.1.2".into());
    }
    for node in root.descendants().filter(Node::is_element) {
        let name = node.tag_name().name();
        if !matches!(node.tag_name().namespace(), Some(DCC | SI)) {
            found.push(format!("{name} is of a foreign namespace"));
        }
        if let Some((_, children)) = FRAME.iter().find(|(frame, _)| *frame == name) {
            found.extend(out_of_order(node, children));
        } else if node.children().all(|child| !child.is_element())
            && node.text().is_none_or(|text| text.trim().is_empty())
        {
            found.push(format!("{name} says nothing"));
        }
    }
    found
}

fn out_of_order(node: Node<'_, '_>, wanted: Children) -> Vec<String> {
    let name = node.tag_name().name();
    let mut found = Vec::new();
    let mut children = node
        .children()
        .filter(Node::is_element)
        .map(|child| child.tag_name().name())
        .peekable();
    for (child, times) in wanted {
        let mut count = 0;
        while children.next_if_eq(child).is_some() {
            count += 1;
        }
        let fits = match times {
            Once => count == 1,
            Maybe => count <= 1,
            OneOrMore => count >= 1,
            Any => true,
        };
        if !fits {
            found.push(format!("{name} has {count} of {child} where it belongs"));
        }
    }
    found.extend(
        children
            .next()
            .map(|child| format!("{name}: {child} stands where it doesn't belong")),
    );
    found
}
