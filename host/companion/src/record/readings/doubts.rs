//! What is doubtful about readings that can be read.

use super::cells::Row;
use super::{Flag, ReadingRow, ReadingsFault};

/// Takes out lines that are alike to the last sign: whether a load was weighed
/// twice or a line was pasted twice can't be told, and once is the safer guess.
pub(super) fn without_twins(rows: &mut Vec<Row>, flags: &mut Vec<Flag>) {
    let mut seen: std::collections::BTreeMap<Vec<String>, usize> =
        std::collections::BTreeMap::new();
    rows.retain(|row| match seen.get(&row.cells) {
        Some(first) => {
            flags.push(Flag {
                line: row.line,
                what: format!("it is line {first} once more, and counts once"),
                try_this: "if it was weighed again, number the lines in a column of their own"
                    .into(),
                left_out: true,
            });
            false
        }
        None => {
            seen.insert(row.cells.clone(), row.line);
            true
        }
    });
}

/// Ratios of a reading to its load that come of a wrong unit, and its name.
/// Pounds and ounces as in `record::mass`.
const MIXED: [(f64, &str); 7] = [
    (1e3, "a factor of 1000"),
    (1e6, "a factor of 1 000 000"),
    (453.592_37, "grams in a pound"),
    (28.349_523_125, "grams in an ounce"),
    (16.0, "ounces in a pound"),
    (2.204_622_622, "pounds in a kilogram"),
    (35.273_961_95, "ounces in a kilogram"),
];

/// How near to such a ratio is too near, as a share.
const NEAR: f64 = 0.03;

/// Refuses a reading that is its load in another unit.
pub(super) fn units_apart(rows: &[ReadingRow]) -> Result<(), ReadingsFault> {
    for row in rows {
        let Some(ratio) = ratio(row).filter(|ratio| *ratio > 0.0) else {
            continue;
        };
        let high = ratio.max(1.0 / ratio);
        if let Some((_, name)) = MIXED.iter().find(|(of, _)| (high / of - 1.0).abs() < NEAR) {
            let what = format!(
                "the reading is {} g and the load {} g: {name} apart, so a unit is wrong",
                row.reading_g,
                row.load_g.unwrap_or(0.0)
            );
            return Err(ReadingsFault::at(
                row.line,
                what,
                "correct the unit, or the heading",
            ));
        }
    }
    Ok(())
}

fn ratio(row: &ReadingRow) -> Option<f64> {
    let load_g = row.load_g.filter(|load_g| *load_g > 0.0)?;
    Some(row.reading_g / load_g)
}

/// How far a reading may be from what the others read, as a share of the load.
const FAR: f64 = 0.2;

/// Takes out readings that can't be of the load beside them: all the others
/// are nearer to a common ratio.
pub(super) fn far_from_load(rows: &mut Vec<ReadingRow>, flags: &mut Vec<Flag>) {
    let mut ratios: Vec<f64> = rows.iter().filter_map(ratio).collect();
    if ratios.len() < 3 {
        return;
    }
    ratios.sort_by(f64::total_cmp);
    let Some(middle) = ratios.get(ratios.len() / 2).copied() else {
        return;
    };
    rows.retain(|row| {
        let far = ratio(row).is_some_and(|ratio| (ratio - middle).abs() > FAR);
        if far {
            flags.push(Flag {
                line: row.line,
                what: format!(
                    "a reading of {} g does not belong to a load of {} g",
                    row.reading_g,
                    row.load_g.unwrap_or(0.0)
                ),
                try_this: "correct the line".into(),
                left_out: true,
            });
        }
        !far
    });
}

/// Readings of one load that all move the same way, and by so many intervals,
/// did not come to rest.
const MOVED: f64 = 3.0;

/// Flags loads whose readings move the same way from one to the next.
pub(super) fn moving(rows: &[ReadingRow], interval_g: f64, flags: &mut Vec<Flag>) {
    let mut groups: Vec<Vec<&ReadingRow>> = Vec::new();
    for row in rows {
        let same = |group: &&mut Vec<&ReadingRow>| {
            let first = group.first();
            first.is_some_and(|one| one.load_g == row.load_g && one.weights == row.weights)
        };
        match groups.iter_mut().find(same) {
            Some(group) => group.push(row),
            None => groups.push(vec![row]),
        }
    }
    for group in groups.iter().filter(|group| group.len() >= 3) {
        let pairs = || group.iter().zip(group.iter().skip(1));
        let up = pairs().all(|(a, b)| b.reading_g > a.reading_g);
        let down = pairs().all(|(a, b)| b.reading_g < a.reading_g);
        let (Some(first), Some(last)) = (group.first(), group.last()) else {
            continue;
        };
        let by_g = last.reading_g - first.reading_g;
        if (up || down) && by_g.abs() >= MOVED * interval_g * (1.0 - 1e-6) {
            flags.push(Flag {
                line: first.line,
                what: format!(
                    "the readings of this load keep {} from {} g to {} g (line {})",
                    if up { "rising" } else { "falling" },
                    first.reading_g,
                    last.reading_g,
                    last.line
                ),
                try_this: "let the load rest, or take the reading a set time after loading".into(),
                left_out: false,
            });
        }
    }
}
