//! Readings of the other scale as a session collects them, capture by capture,
//! and the file that keeps them.

use crate::record::readings::digits::interval_g;
use crate::record::readings::{ReadingRow, Readings};
use crate::session::plan::Load;

/// One reading with the last place its digits show, g.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shown {
    /// The reading, g.
    pub reading_g: f64,
    /// Its last place, g.
    pub step_g: f64,
}

/// What was read so far.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Gathered {
    loads: Vec<(Load, Vec<Shown>)>,
}

impl Gathered {
    /// Takes what the other scale showed of a load; nothing, if it was skipped.
    pub fn take(&mut self, load: &Load, shown: &[Shown]) {
        self.loads.push((load.clone(), shown.to_vec()));
    }

    /// Our latest capture was taken back, and the reading with it.
    pub fn undo(&mut self) {
        self.loads.pop();
    }

    /// The test began anew.
    pub fn clear(&mut self) {
        self.loads.clear();
    }

    /// Whether nothing was read yet.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.loads.iter().all(|(_, shown)| shown.is_empty())
    }

    /// The readings, as a file of them would give; lines are those of
    /// [`Self::csv`].
    #[must_use]
    pub fn readings(&self) -> Readings {
        let all = || {
            self.loads
                .iter()
                .flat_map(|(load, shown)| shown.iter().map(move |one| (load, one)))
        };
        let rows = all().enumerate().map(|(at, (load, one))| ReadingRow {
            load_g: Some(load.mass_g),
            weights: load.weights.clone(),
            reading_g: one.reading_g,
            line: at + 2,
        });
        let shown: Vec<_> = all()
            .map(|(load, one)| (one.reading_g, one.step_g, Some(load.mass_g)))
            .collect();
        let step_g = interval_g(&shown);
        Readings {
            rows: rows.collect(),
            flags: Vec::new(),
            step_g,
        }
    }

    /// A file that reads back as these readings.
    #[must_use]
    pub fn csv(&self) -> String {
        let mut text = String::from("number;weights;load (g);reading (g)\n");
        let rows = self
            .loads
            .iter()
            .flat_map(|(load, shown)| shown.iter().map(move |one| (load, one)));
        for (at, (load, one)) in rows.enumerate() {
            let names = load.weights.join("+").replace('"', "\"\"");
            let places = (-one.step_g.log10()).round().clamp(0.0, 9.0) as usize;
            text += &format!(
                "{};\"{names}\";{};{:.places$}\n",
                at + 1,
                plain(load.mass_g),
                one.reading_g
            );
        }
        text
    }
}

/// A mass without the noise of f64, and never with three places, which could be
/// taken for thousands.
fn plain(mass_g: f64) -> String {
    format!("{mass_g:.6}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::readings::parse;

    #[test]
    fn the_file_reads_back() {
        let mut gathered = Gathered::default();
        assert!(gathered.is_empty());
        let load = |ids: &[&str], mass_g: f64| Load {
            weights: ids.iter().map(ToString::to_string).collect(),
            mass_g,
            u_g: 0.0,
        };
        let shown = |reading_g: f64| Shown {
            reading_g,
            step_g: 0.001,
        };
        gathered.take(
            &load(&["W1", "W;5"], 2010.012),
            &[shown(2010.2), shown(2010.2)],
        );
        gathered.take(&load(&["W2"], 500.0), &[]);
        gathered.take(&load(&["W\"3"], 100.0), &[shown(100.125)]);
        gathered.take(&load(&["W4"], 10.0), &[shown(10.0)]);
        gathered.undo();
        let read = parse(&gathered.csv()).expect("it reads back");
        assert_eq!(read, gathered.readings());
        gathered.clear();
        assert!(gathered.is_empty());
    }
}
