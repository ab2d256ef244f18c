//! What must stand in a certificate, number by number, from the captures alone:
//! the table read by straight lines, loads, the errors that OIML R 76-1 permits.

use scalewright::record::proof::{Proof, ProofRow, TestOutcome};
use scalewright::session::proof::Test;
use scalewright::session::proof::entry::{self, ProofCapture, ProofEntry};
use scalewright::session::proof::evaluate::evaluate;
use scalewright_metrology::tolerance::{AccuracyClass, Stage, mpe_e};
use scalewright_protocol::table::Knot;

/// A number that must stand in a certificate.
pub struct Expected {
    /// What it should be; masses in g.
    pub value: f64,
    /// How far the written one may be off.
    pub within: f64,
    /// Whether it follows from the captures and the rules alone.
    pub from_captures: bool,
}

/// How many quanta a mass may be off that is computed here in real numbers and
/// there by the device's whole ones: half a quantum for each of three readings,
/// twice.
const QUANTA: f64 = 3.0;

/// What the captures say.
pub struct Sight {
    proof: Proof,
    captures: Vec<ProofCapture>,
    gross_g: Vec<f64>,
    quantum_g: f64,
}

impl Sight {
    /// Of the entries of a verification.
    pub fn of(entries: &[ProofEntry]) -> Result<Self, String> {
        let proof = evaluate(entries)?;
        let Some(ProofEntry::ProofBegan { held, .. }) = entries.first() else {
            return Err("no beginning".into());
        };
        let quantum_g = f64::from(held.settings.quantum_ug) * 1e-6;
        let captures = entry::captures(entries);
        let gross_g = captures.iter().map(|one| {
            let net = one.mean_counts - f64::from(one.zero_counts);
            (interpolated(&held.knots, net) - f64::from(one.correction)) * quantum_g
        });
        Ok(Self {
            gross_g: gross_g.collect(),
            proof,
            captures,
            quantum_g,
        })
    }

    fn test(&self, name: &str) -> Option<&TestOutcome> {
        self.proof.tests.iter().find(|test| test.test == name)
    }

    /// Names of the results that must be there.
    pub fn findings(&self) -> Vec<String> {
        let mut all = Vec::new();
        for test in &self.proof.tests {
            match test.test.as_str() {
                "errors" => all.push("Errors of indication, rising loads".into()),
                "repeatability" | "eccentricity" => all.push(test.title.clone()),
                _ => {}
            }
            if test.test != "errors" {
                all.push(format!("{}, beside the limits", test.title));
            }
        }
        all
    }

    /// The numbers of a result in the order of the text.
    pub fn expected(&self, name: &str) -> Vec<Expected> {
        match name {
            "Errors of indication, rising loads" => self.errors(false),
            "Errors of indication, falling loads" => self.errors(true),
            "Repeatability" => self.repeatability(),
            "Eccentricity" => self.eccentricity(),
            _ => {
                let title = name.strip_suffix(", beside the limits");
                let test = title
                    .and_then(|title| self.proof.tests.iter().find(|test| test.title == title));
                test.map(|test| self.beside_limits(test))
                    .unwrap_or_default()
            }
        }
    }

    fn mass_g(&self, index: usize) -> f64 {
        self.captures[index].load.mass_g
    }

    fn of_captures(&self, value: f64, u_g: f64) -> Expected {
        Expected {
            value,
            within: 0.5 * digit(u_g) + QUANTA * self.quantum_g,
            from_captures: true,
        }
    }

    /// Load, indication, error, U, k, p, permissible error, column by column.
    fn errors(&self, falling: bool) -> Vec<Expected> {
        let Some(test) = self.test("errors") else {
            return Vec::new();
        };
        let loaded: Vec<usize> = (0..self.captures.len())
            .filter(|index| self.captures[*index].test == Test::Errors)
            .filter(|index| self.mass_g(*index) > 0.0)
            .collect();
        let place = |index: usize| loaded.iter().position(|one| *one == index).unwrap_or(0);
        let falls = |index: usize| {
            let before = place(index).checked_sub(1).map(|before| loaded[before]);
            before.is_some_and(|before| self.mass_g(index) < self.mass_g(before))
        };
        let some: Vec<usize> = (loaded.iter().copied())
            .filter(|index| falls(*index) == falling)
            .collect();
        let row = |index: usize| test.rows.iter().find(|row| row.captures == [index]);
        let u_g = |index: usize| row(index).and_then(|row| row.expanded_u_g).unwrap_or(0.0);
        let k = |index: usize| row(index).and_then(|row| row.k).unwrap_or(0.0);
        let column = |one: &dyn Fn(usize) -> Expected| {
            some.iter().map(|index| one(*index)).collect::<Vec<_>>()
        };
        let mut all = column(&|index| exact(self.mass_g(index)));
        all.extend(column(&|i| self.of_captures(self.gross_g[i], u_g(i))));
        all.extend(column(&|i| {
            self.of_captures(self.gross_g[i] - self.mass_g(i), u_g(i))
        }));
        all.extend(column(&|i| as_found(u_g(i), 0.5 * digit(u_g(i)))));
        all.extend(column(&|i| as_found(k(i), 0.005)));
        all.extend(column(&|_| as_found(0.9545, 0.0)));
        all.extend(column(&|i| exact(self.mpe_g(self.mass_g(i)))));
        all
    }

    fn of_test(&self, test: Test) -> Vec<usize> {
        let all = 0..self.captures.len();
        all.filter(|index| self.captures[*index].test == test)
            .collect()
    }

    /// Load, readings, standard deviation.
    fn repeatability(&self) -> Vec<Expected> {
        let some = self.of_test(Test::Repeatability);
        let n = some.len() as f64;
        let mean = some.iter().map(|index| self.gross_g[*index]).sum::<f64>() / n;
        let squares = some.iter().map(|i| (self.gross_g[*i] - mean).powi(2));
        let sd = (squares.sum::<f64>() / (n - 1.0)).sqrt();
        let mut all = vec![exact(self.mass_g(some[0]))];
        all.extend(some.iter().map(|i| self.of_captures(self.gross_g[*i], sd)));
        all.push(self.of_captures(sd, sd));
        all
    }

    /// Load, indication and difference place by place, the largest difference.
    fn eccentricity(&self) -> Vec<Expected> {
        let some = self.of_test(Test::Eccentricity);
        let is_middle = |i: &usize| self.captures[*i].spot.words() == "in the middle";
        let middle: Vec<f64> = (some.iter().filter(|i| is_middle(i)))
            .map(|i| self.gross_g[*i])
            .collect();
        let centre = middle.iter().sum::<f64>() / middle.len() as f64;
        let rows = self.test("eccentricity").map(|test| &test.rows);
        let u_g = rows
            .and_then(|rows| rows.first()?.expanded_u_g)
            .unwrap_or(0.0);
        let mut all = vec![exact(self.mass_g(some[0]))];
        for i in &some {
            all.push(self.of_captures(self.gross_g[*i], u_g));
            all.push(self.of_captures(self.gross_g[*i] - centre, u_g));
        }
        let off = some.iter().filter(|i| !is_middle(i));
        let off = off.map(|i| (self.gross_g[*i] - centre).abs());
        all.push(self.of_captures(off.fold(0.0, f64::max), u_g));
        all
    }

    /// The load if it is one, then time, value, U, k, p and limit row by row.
    fn beside_limits(&self, test: &TestOutcome) -> Vec<Expected> {
        let mut all = Vec::new();
        let mut loads: Vec<f64> = test.rows.iter().map(|row| row.load_g).collect();
        loads.retain(|load_g| *load_g > 0.0);
        loads.dedup();
        if let [load_g] = loads[..] {
            all.push(exact(load_g));
        }
        for row in &test.rows {
            all.extend(self.time(test, row));
            match (row.expanded_u_g, row.k) {
                (Some(u_g), Some(k)) => {
                    all.push(self.of_captures(self.value_g(test, row), u_g));
                    all.push(as_found(u_g, 0.5 * digit(u_g)));
                    all.push(as_found(k, 0.005));
                    all.push(as_found(0.9545, 0.0));
                }
                _ => all.push(self.of_captures(self.value_g(test, row), 0.0)),
            }
            all.push(self.limit(test, row));
        }
        all
    }

    /// Of creep since the load came, of warm-up since power-on, s.
    fn time(&self, test: &TestOutcome, row: &ProofRow) -> Option<Expected> {
        let capture = &self.captures[*row.captures.last()?];
        let at_s = match test.test.as_str() {
            "creep" if capture.load.mass_g > 0.0 => capture.rested_s,
            "warm-up" => capture.at_s,
            _ => return None,
        };
        Some(Expected {
            value: at_s,
            within: 0.5,
            from_captures: true,
        })
    }

    fn value_g(&self, test: &TestOutcome, row: &ProofRow) -> f64 {
        let at = |place: usize| self.gross_g[row.captures[place]];
        let mass = |place: usize| self.mass_g(row.captures[place]);
        let shown = |place: usize| {
            let shown = self.captures[row.captures[place]].indication;
            shown.map_or(f64::NAN, |quanta| f64::from(quanta) * self.quantum_g)
        };
        match (test.test.as_str(), row.captures.len()) {
            ("zero" | "eccentricity", _) | ("repeatability", 1) => at(0) - mass(0),
            ("repeatability", _) => {
                let all = row.captures.iter().map(|index| self.gross_g[*index]);
                let (low, high) = all.fold((f64::MAX, f64::MIN), |(low, high), one| {
                    (low.min(one), high.max(one))
                });
                high - low
            }
            ("discrimination", _) => shown(1) - shown(0),
            ("small-on-big", _) => at(2) - at(1) - at(0),
            ("tare", 1) => shown(0),
            ("tare", _) => at(1) - at(0) - (mass(1) - mass(0)),
            ("creep", _) => at(1) - at(0),
            ("warm-up", _) => at(1) - at(0) - mass(1),
            _ => f64::NAN,
        }
    }

    fn limit(&self, test: &TestOutcome, row: &ProofRow) -> Expected {
        match test.test.as_str() {
            "repeatability" | "eccentricity" | "warm-up" => exact(self.mpe_g(row.load_g)),
            _ => as_found(row.limit_g, 1e-6),
        }
    }

    /// OIML R 76-1:2006, table 6.
    fn mpe_g(&self, load_g: f64) -> f64 {
        let e_g = self.proof.scale.e;
        e_g * mpe_e(AccuracyClass::III, Stage::Initial, load_g / e_g)
    }
}

const fn exact(value: f64) -> Expected {
    Expected {
        value,
        within: 1e-6,
        from_captures: true,
    }
}

const fn as_found(value: f64, within: f64) -> Expected {
    Expected {
        value,
        // Forgives what f64 makes of a rounded number.
        within: within + 1e-9,
        from_captures: false,
    }
}

/// What the second significant digit of an uncertainty is worth, g: a hundredth
/// from 0.0995 on, which is written 0.10.
fn digit(u_g: f64) -> f64 {
    match u_g > 0.0 {
        true => 10f64.powf((u_g / 0.995).log10().floor() - 1.0),
        false => 0.0,
    }
}

/// The table read by straight lines, in quanta.
fn interpolated(knots: &[Knot], counts: f64) -> f64 {
    let after = knots
        .iter()
        .position(|knot| f64::from(knot.counts) > counts)
        .unwrap_or(knots.len() - 1)
        .max(1);
    let (a, b) = (knots[after - 1], knots[after]);
    let share = (counts - f64::from(a.counts)) / f64::from(b.counts - a.counts);
    f64::from(a.mass) + share * f64::from(b.mass - a.mass)
}
