//! Which contributions of the budgets are shown by themselves, and in which
//! order: alike in picture, page and terminal.

use crate::record::proof::{ContributionLine, LoadBudget};

/// So many contributions have a letter and a shade of their own.
pub(in crate::report) const NAMED: usize = 7;

/// Their letters.
pub(in crate::report) const LETTERS: [&str; NAMED] = ["A", "B", "C", "D", "E", "F", "G"];

/// Names of all contributions, the one with the largest share at any load first.
pub(in crate::report) fn names(budgets: &[LoadBudget]) -> Vec<&str> {
    let mut found: Vec<(&str, f64)> = Vec::new();
    for line in budgets.iter().flat_map(|budget| &budget.contributions) {
        let share = share(line).unwrap_or(0.0);
        match found.iter_mut().find(|(name, _)| *name == line.name) {
            Some((_, most)) => *most = most.max(share),
            None => found.push((&line.name, share)),
        }
    }
    // Stable: equal shares stay in the order of the record.
    found.sort_by(|a, b| b.1.total_cmp(&a.1));
    found.into_iter().map(|(name, _)| name).collect()
}

/// A share that can be drawn, 0 to 1.
pub(in crate::report) fn share(line: &ContributionLine) -> Option<f64> {
    let sound = line.share.is_finite() && line.share >= 0.0;
    sound.then(|| line.share.min(1.0))
}

/// The letter of a contribution; none for those behind the named.
pub(in crate::report) fn letter(names: &[&str], name: &str) -> Option<&'static str> {
    let at = names.iter().position(|one| *one == name)?;
    LETTERS.get(at).copied()
}

/// The first, the middle and the last of several.
pub(in crate::report) fn three<T>(all: &[T]) -> Vec<&T> {
    let last = all.len().saturating_sub(1);
    let mut places = vec![0, all.len() / 2, last];
    places.dedup();
    places.iter().filter_map(|at| all.get(*at)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn budget(shares: &[(&str, f64)]) -> LoadBudget {
        LoadBudget {
            load_g: 0.0,
            standard_u_g: 1.0,
            effective_dof: None,
            k: 2.0,
            expanded_u_g: 2.0,
            drawn_expanded_u_g: None,
            contributions: shares
                .iter()
                .map(|(name, share)| ContributionLine {
                    name: (*name).into(),
                    value_g: 0.0,
                    distribution: String::new(),
                    standard_u_g: 0.0,
                    share: *share,
                })
                .collect(),
        }
    }

    #[test]
    fn the_largest_at_any_load_comes_first() {
        let all = [
            budget(&[("rounding", 0.8), ("weights", 0.1), ("air", f64::NAN)]),
            budget(&[("weights", 0.9), ("drift", 0.2)]),
        ];
        let names = names(&all);
        assert_eq!(names, ["weights", "rounding", "drift", "air"]);
        assert_eq!(letter(&names, "rounding"), Some("B"));
        assert_eq!(letter(&names, "nothing"), None);
    }

    #[test]
    fn three_are_the_ends_and_the_middle() {
        assert!(three::<i32>(&[]).is_empty());
        assert_eq!(three(&[1]), [&1]);
        assert_eq!(three(&[1, 2]), [&1, &2]);
        assert_eq!(three(&[1, 2, 3, 4, 5]), [&1, &3, &5]);
    }
}
