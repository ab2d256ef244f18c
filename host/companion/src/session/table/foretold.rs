//! What a change of the table does at given loads: two tables beside each other.
//!
//! By the integers that the device holds and its own lookup, so what is foretold
//! is what will be shown.

use scalewright_metrology::tolerance::{AccuracyClass, Intervals, Scheme, Stage};
use scalewright_protocol::message::{Event, EventKind};
use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::Knot;

use super::face::Face;
use super::reading::Held;
use crate::quantise::{
    HostTable, QuantiseFault, loop_gain, loop_width_g, quantum_g, settings_for, spec_of,
};
use crate::record::outcome::ScaleLine;
use crate::record::table::{
    ChangeLine, CurveCorner, PointLine, ShownLine, TableName, TableRecord, TablesRecord, What, Why,
};
use crate::record::table_file::SavedTable;
use crate::session::plan::ScaleSpec;

/// Corners of a curve of differences.
const CORNERS: u32 = 240;

/// The lightest load listed by itself, e: Min of class III (OIML R 76-1:2006,
/// table 3).
const LIGHTEST_E: f64 = 20.0;

/// A table and what it is shown under.
#[derive(Clone, Debug, PartialEq)]
pub struct Side {
    /// What it is called.
    pub name: String,
    /// The table.
    pub table: HostTable,
    /// Its settings.
    pub settings: Settings,
    /// Its zero reference, where one is known, ADC counts.
    pub zero_counts: Option<i32>,
}

impl Side {
    /// What a scale holds; `None` without a table.
    #[must_use]
    pub fn of_held(held: &Held, name: impl Into<String>) -> Option<Self> {
        Some(Self {
            name: name.into(),
            table: held.table.clone()?,
            settings: held.settings,
            zero_counts: Some(held.header.zero_counts),
        })
    }

    /// What a file holds, in its own quanta; sampling as `like` has it.
    ///
    /// # Errors
    /// What the points are not.
    pub fn of_file(
        saved: &SavedTable,
        name: impl Into<String>,
        like: &Settings,
    ) -> Result<Self, QuantiseFault> {
        let quanta = |g: f64| (g / quantum_g(saved.quantum_ug)).round() as i32;
        let spec = ScaleSpec {
            max_g: saved.scale.max,
            e_g: saved.scale.e,
            d_g: saved.scale.d,
            class: saved.scale.class.clone(),
        };
        let mut settings = settings_for(&spec, like);
        settings.quantum_ug = saved.quantum_ug;
        (settings.max, settings.e, settings.d) = (
            quanta(saved.scale.max),
            quanta(saved.scale.e),
            quanta(saved.scale.d),
        );
        settings.loop_gain = match saved.hysteresis_g {
            Some(g) => loop_gain(g, &settings),
            None => 0,
        };
        Ok(Self {
            name: name.into(),
            table: HostTable::new(&saved.knots).map_err(QuantiseFault::Table)?,
            settings,
            zero_counts: saved.zero_counts,
        })
    }

    /// For a file.
    #[must_use]
    pub fn saved(&self, device: Option<String>, change: Option<u32>, date: &str) -> SavedTable {
        SavedTable {
            device,
            scale: (&spec_of(&self.settings)).into(),
            quantum_ug: self.settings.quantum_ug,
            zero_counts: self.zero_counts,
            hysteresis_g: Some(loop_width_g(&self.settings).unwrap_or(0.0)),
            knots: self.table.knots().to_vec(),
            lines: Vec::new(),
            change,
            saved: Some(date.to_owned()),
        }
    }

    /// What it shows.
    #[must_use]
    pub fn face(&self) -> Face<'_> {
        Face {
            table: &self.table,
            settings: &self.settings,
        }
    }

    fn name(&self) -> TableName {
        TableName {
            name: self.name.clone(),
            checksum: format!("{:08x}", self.table.checksum()),
            points: self.table.knots().len(),
            zero_counts: self.zero_counts,
        }
    }
}

/// A load that is to be listed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Look {
    /// The load, g.
    pub load_g: f64,
    /// What the one table shows of it, g, where that is something else.
    pub shown_g: Option<f64>,
    /// Why it is listed.
    pub why: Why,
}

impl Look {
    /// A load that reads right.
    #[must_use]
    pub fn at(load_g: f64, why: Why) -> Self {
        Self {
            load_g,
            shown_g: None,
            why,
        }
    }
}

/// Loads that people think in, up to Max, g.
#[must_use]
pub fn familiar_g(settings: &Settings) -> Vec<f64> {
    let spec = spec_of(settings);
    let lightest_g = LIGHTEST_E * spec.e_g;
    let decade = |exponent: i32| [1.0, 2.0, 5.0].map(|digit| digit * 10f64.powi(exponent));
    let mut loads: Vec<f64> = (-6..9)
        .flat_map(decade)
        .filter(|load_g| *load_g >= lightest_g * (1.0 - 1e-9) && *load_g < 0.999 * spec.max_g)
        .collect();
    // A few are enough of a wide range.
    let skip = loads.len().saturating_sub(9);
    loads.drain(..skip);
    loads.push(spec.max_g);
    loads
}

/// Two tables beside each other, at the familiar loads and those of `looks`.
#[must_use]
pub fn beside(one: &Side, other: &Side, looks: &[Look]) -> TablesRecord {
    let spec = spec_of(&one.settings);
    let scheme = (spec.class.parse::<AccuracyClass>().ok()).map(|class| Scheme::R76 {
        class,
        stage: Stage::Initial,
    });
    let intervals = Intervals::new(spec.e_g, spec.d_g).ok();
    let permitted_g = |load_g: f64| {
        let both = scheme.as_ref().zip(intervals.as_ref());
        both.and_then(|(scheme, intervals)| scheme.permitted_g(load_g, intervals).ok())
            .unwrap_or(f64::NAN)
    };
    let (left, right) = (one.face(), other.face());
    let shown = |look: &Look| {
        let shown_g = look.shown_g.unwrap_or(look.load_g);
        let q8 = left.net_q8_at(shown_g)?;
        let change_g = right.mass_g(q8) - left.mass_g(q8);
        Some(ShownLine {
            load_g: look.load_g,
            why: look.why,
            one_g: left.mass_g(q8),
            other_g: right.mass_g(q8),
            one_indicated_g: left.indication_g(q8),
            other_indicated_g: right.indication_g(q8),
            change_g,
            change_e: change_g / spec.e_g,
            permitted_g: permitted_g(look.load_g),
        })
    };
    let mut all: Vec<Look> = looks.to_vec();
    for load_g in familiar_g(&one.settings) {
        if !all
            .iter()
            .any(|look| (look.load_g - load_g).abs() < spec.e_g)
        {
            all.push(Look::at(load_g, Why::Familiar));
        }
    }
    all.sort_by(|one, other| one.load_g.total_cmp(&other.load_g));
    let fine: Vec<ShownLine> = (1..=CORNERS)
        .map(|corner| spec.max_g * f64::from(corner) / f64::from(CORNERS))
        .chain(looks.iter().map(|look| look.shown_g.unwrap_or(look.load_g)))
        .filter_map(|load_g| shown(&Look::at(load_g, Why::Familiar)))
        .collect();
    let share = |line: &ShownLine| (line.change_g / line.permitted_g).abs();
    let most = (fine.iter().filter(|line| line.change_g != 0.0))
        .max_by(|one, other| share(one).total_cmp(&share(other)))
        .copied();
    let mut curve: Vec<CurveCorner> = (fine.iter())
        .map(|line| CurveCorner {
            load_g: line.one_g,
            change_g: line.change_g,
        })
        .collect();
    curve.push(CurveCorner {
        load_g: 0.0,
        change_g: 0.0,
    });
    curve.sort_by(|one, other| one.load_g.total_cmp(&other.load_g));
    TablesRecord {
        version: env!("CARGO_PKG_VERSION").into(),
        date: String::new(),
        scale: (&spec).into(),
        judged_by: scheme.as_ref().map_or_else(String::new, Scheme::name),
        one: one.name(),
        other: other.name(),
        loads: all.iter().filter_map(shown).collect(),
        most,
        curve,
        notes: notes(one, other),
    }
}

/// What else differs, in words.
fn notes(one: &Side, other: &Side) -> Vec<String> {
    let mut all = Vec::new();
    if let (Some(from), Some(to)) = (one.zero_counts, other.zero_counts)
        && from != to
    {
        let moved = i64::from(to) - i64::from(from);
        let q8 = moved.saturating_mul(256);
        all.push(format!(
            "Zero reference: {from} counts and {to}, {:.3} g apart by the first table. Both are read from their own zero here.",
            one.face().mass_g(q8).abs()
        ));
    }
    let [left, right] = [one, other].map(|side| spec_of(&side.settings));
    if left != right {
        all.push(format!(
            "The scales are told otherwise: Max {} g, e {} g, d {} g, class {}; and Max {} g, e {} g, d {} g, class {}.",
            left.max_g, left.e_g, left.d_g, left.class, right.max_g, right.e_g, right.d_g, right.class
        ));
    }
    let [left, right] = [one, other].map(|side| loop_width_g(&side.settings).unwrap_or(0.0));
    if (left - right).abs() > quantum_g(one.settings.quantum_ug) {
        all.push(format!(
            "Hysteresis taken off: a loop {left:.3} g wide, and one {right:.3} g wide."
        ));
    }
    all
}

/// One table as it is shown.
#[must_use]
pub fn described(held: &Held) -> TableRecord {
    let spec = spec_of(&held.settings);
    TableRecord {
        sequence: Some(held.header.sequence),
        checksum: format!("{:08x}", held.header.checksum),
        zero_counts: Some(held.header.zero_counts),
        previous: held.header.previous,
        quantum_g: quantum_g(held.settings.quantum_ug),
        hysteresis_taken_off_g: loop_width_g(&held.settings).unwrap_or(0.0),
        points: points(held.knots(), &held.settings),
        scale: ScaleLine::from(&spec),
        on_trial: false,
        history: None,
    }
}

/// A change that a scale remembers; `when` is its time in words.
#[must_use]
pub fn remembered(event: &Event, when: Option<String>) -> ChangeLine {
    ChangeLine {
        change: event.counter,
        what: match event.kind {
            EventKind::Table => What::Table,
            EventKind::Settings => What::Settings,
            EventKind::RolledBack => What::RolledBack,
            EventKind::MadeHere => What::MadeAtTheScale,
        },
        checksum: format!("{:08x}", event.checksum),
        when,
        text: event.text.as_str().into(),
    }
}

fn points(knots: &[Knot], settings: &Settings) -> Vec<PointLine> {
    let unit = quantum_g(settings.quantum_ug);
    let e_g = f64::from(settings.e) * unit;
    let steep = |run: f64, rise: f64| rise / run;
    let whole = knots
        .last()
        .zip(knots.first())
        .map_or(1.0, |(last, first)| {
            // A table that ends at zero goes down only.
            let end = if last.counts > 0 { last } else { first };
            steep(f64::from(end.counts), f64::from(end.mass))
        });
    let line = |(at, knot): (usize, &Knot)| {
        let before = at.checked_sub(1).and_then(|before| knots.get(before));
        let off_g = (f64::from(knot.mass) - f64::from(knot.counts) * whole) * unit;
        PointLine {
            counts: knot.counts,
            mass_g: f64::from(knot.mass) * unit,
            off_straight_g: off_g,
            off_straight_e: off_g / e_g,
            steepness: before.map(|before| {
                let run = f64::from(knot.counts) - f64::from(before.counts);
                let rise = f64::from(knot.mass) - f64::from(before.mass);
                steep(run, rise) / whole - 1.0
            }),
        }
    };
    knots.iter().enumerate().map(line).collect()
}
