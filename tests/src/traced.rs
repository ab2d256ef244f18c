//! The numbers of a verification's report, computed once more from its session
//! file alone, by means of their own: straight lines through the table's points
//! and the rules of each test, none of the companion's evaluation.

use scalewright::record::proof::Proof;
use scalewright::session::proof::entry::{self, ProofEntry};
use scalewright_protocol::table::Knot;

/// A number of the report and what the file makes it, g.
#[derive(Clone, Debug, PartialEq)]
pub struct Traced {
    /// Where it stands.
    pub what: String,
    /// As the report says.
    pub said_g: f64,
    /// As the file makes it.
    pub from_file_g: f64,
}

/// All of a report.
#[derive(Clone, Debug, PartialEq)]
pub struct AllTraced {
    /// The scale's mass quantum, g: what rounding in the scale leaves open.
    pub quantum_g: f64,
    /// Gross mass of each capture.
    pub gross: Vec<Traced>,
    /// Value of each row of each test.
    pub values: Vec<Traced>,
}

/// The numbers of the report `proof` from the `entries` of its file. A row that
/// these rules don't know of is left out, so compare the counts.
#[must_use]
pub fn traced(entries: &[ProofEntry], proof: &Proof) -> Option<AllTraced> {
    let ProofEntry::ProofBegan { held, .. } = entries.first()? else {
        return None;
    };
    let quantum_g = f64::from(held.settings.quantum_ug) * 1e-6;
    let captures = entry::captures(entries);
    let gross_g: Vec<f64> = captures
        .iter()
        .map(|one| {
            let net = one.mean_counts - f64::from(one.zero_counts);
            (interpolated(&held.knots, net) - f64::from(one.correction)) * quantum_g
        })
        .collect();
    let lines = proof.captures.iter().zip(&gross_g).enumerate();
    let gross = lines.map(|(place, (line, from_file_g))| Traced {
        what: format!("capture {}", place + 1),
        said_g: line.gross_g,
        from_file_g: *from_file_g,
    });
    let mut values = Vec::new();
    for test in &proof.tests {
        for row in &test.rows {
            let gross = |place: usize| gross_g.get(*row.captures.get(place)?).copied();
            let capture = |place: usize| captures.get(*row.captures.get(place)?);
            let mass = |place: usize| capture(place).map(|one| one.load.mass_g);
            let expected = || {
                Some(match (test.test.as_str(), row.captures.len()) {
                    ("zero" | "eccentricity" | "errors", _) | ("repeatability", 1) => {
                        gross(0)? - mass(0)?
                    }
                    ("repeatability", count) => {
                        let all: Option<Vec<f64>> = (0..count).map(gross).collect();
                        let (mut low, mut high) = (f64::MAX, f64::MIN);
                        for one in all? {
                            (low, high) = (low.min(one), high.max(one));
                        }
                        high - low
                    }
                    ("small-on-big", _) => gross(2)? - gross(1)? - gross(0)?,
                    // Right after taring it is the indication.
                    ("tare", 1) => f64::from(capture(0)?.indication?) * quantum_g,
                    ("tare", _) => gross(1)? - gross(0)? - (mass(1)? - mass(0)?),
                    ("creep", _) => gross(1)? - gross(0)?,
                    ("warm-up", _) => gross(1)? - gross(0)? - mass(1)?,
                    _ => return None,
                })
            };
            values.extend(expected().map(|from_file_g| Traced {
                what: format!("{} {}", test.test, row.what),
                said_g: row.value_g,
                from_file_g,
            }));
        }
    }
    Some(AllTraced {
        quantum_g,
        gross: gross.collect(),
        values,
    })
}

/// The table read by straight lines, in quanta; the last two points go on.
fn interpolated(knots: &[Knot], counts: f64) -> f64 {
    let reached = |pair: &&[Knot]| {
        pair.last()
            .is_some_and(|knot| f64::from(knot.counts) > counts)
    };
    let stretch = knots.windows(2).find(reached).or(knots.windows(2).last());
    let Some([a, b]) = stretch else {
        return f64::NAN;
    };
    let share = (counts - f64::from(a.counts)) / f64::from(b.counts - a.counts);
    f64::from(a.mass) + share * f64::from(b.mass - a.mass)
}
