//! Columns of a table in the terminal, fewer where there is no room for all.

use super::text_line::{Ink, Style, cut, pad, paint, width};

/// What stands before each cell.
const GAP: &str = "  ";

/// Columns the first cell keeps whatever the others take.
const SHORTEST: usize = 6;

/// One column of a table.
pub(super) struct Column {
    head: String,
    cells: Vec<String>,
    right: bool,
    rank: u8,
}

impl Column {
    /// A column whose cells stand to the right, as numbers do.
    pub(super) fn new(head: &str, cells: impl IntoIterator<Item = String>) -> Self {
        Self {
            head: head.to_owned(),
            cells: cells.into_iter().collect(),
            right: true,
            rank: 0,
        }
    }

    /// With its cells to the left, as words.
    pub(super) fn of_words(self) -> Self {
        Self {
            right: false,
            ..self
        }
    }

    /// To be left out where there is no room: the highest rank first, rank 0
    /// never.
    pub(super) fn rank(self, rank: u8) -> Self {
        Self { rank, ..self }
    }

    fn width(&self) -> usize {
        let cells = self.cells.iter().map(|cell| width(cell)).max();
        cells.unwrap_or(0).max(width(&self.head))
    }
}

/// The columns side by side: a line of heads, then one line a row. Where even
/// the least columns are too wide the first is cut; what it was cut to is the
/// second value.
pub(super) fn lay(mut columns: Vec<Column>, style: Style) -> (Vec<String>, usize) {
    let most = usize::from(style.columns);
    let total = |columns: &[Column]| -> usize {
        let all = columns.iter().map(|one| GAP.len() + one.width());
        all.sum()
    };
    while total(&columns) > most {
        let last = columns
            .iter()
            .enumerate()
            .filter(|(_, one)| one.rank > 0)
            .max_by_key(|(_, one)| one.rank);
        let Some((last, _)) = last else { break };
        columns.remove(last);
    }
    let over = total(&columns).saturating_sub(most);
    let rows = columns.iter().map(|one| one.cells.len()).max().unwrap_or(0);
    let mut lines = vec![String::new(); rows + 1];
    let mut first = 0;
    for (index, column) in columns.iter().enumerate() {
        let mut wide = column.width();
        if index == 0 {
            wide = wide.saturating_sub(over).max(SHORTEST.min(wide));
            first = wide;
        }
        let head = paint(style, Ink::Soft, &column.head);
        let cells = column.cells.iter().map(|cell| match width(cell) > wide {
            true => cut(cell, wide, style),
            false => cell.clone(),
        });
        for (line, cell) in lines.iter_mut().zip([head].into_iter().chain(cells)) {
            line.push_str(GAP);
            line.push_str(&pad(&cell, wide, column.right));
        }
    }
    for line in &mut lines {
        line.truncate(line.trim_end().len());
    }
    (lines, first)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn columns() -> Vec<Column> {
        let of = |text: &str| vec![text.to_owned(), "1".to_owned()];
        vec![
            Column::new("name", of("a rather long name")).of_words(),
            Column::new("least", of("22")).rank(2),
            Column::new("more", of("333")).rank(1),
            Column::new("all", of("4444")),
        ]
    }

    fn laid(most: u16) -> Vec<String> {
        let style = Style {
            columns: most,
            ..Style::PLAIN
        };
        lay(columns(), style).0
    }

    #[test]
    fn what_matters_least_goes_first() {
        assert_eq!(laid(80)[0], "  name                least  more   all");
        assert_eq!(laid(36)[0], "  name                more   all");
        assert_eq!(laid(28)[0], "  name                 all");
        assert_eq!(laid(20)[1], "  a rather lo…  4444");
        assert!(laid(20).iter().all(|line| width(line) <= 20));
    }
}
