//! A table: a title and columns with a unit each. Writers turn it into text or other forms.

use super::format;

/// A titled table.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Table {
    /// What the rows are.
    pub title: String,
    /// Columns, all of one length.
    pub columns: Vec<Column>,
}

/// A column of a [`Table`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// What the cells are.
    pub name: String,
    /// Unit of the cells; empty for words and pure numbers.
    pub unit: &'static str,
    /// Side the cells are set to.
    pub align: Align,
    /// One cell a row, ready to print.
    pub cells: Vec<String>,
}

/// Side that cells are set to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// Words.
    Left,
    /// Numbers.
    Right,
}

impl Table {
    /// An empty table.
    pub fn new(title: impl Into<String>) -> Self {
        Table { title: title.into(), columns: Vec::new() }
    }

    /// The table with a column of words added at the right.
    pub fn words<S: Into<String>>(mut self, name: &str, cells: impl IntoIterator<Item = S>) -> Self {
        let cells = cells.into_iter().map(Into::into).collect();
        self.columns.push(Column { name: name.to_string(), unit: "", align: Align::Left, cells });
        self
    }

    /// The table with a column of numbers added at the right: `significant` digits of the largest, in `unit`.
    pub fn numbers<V: Into<Option<f64>>>(
        mut self,
        name: &str,
        unit: &'static str,
        significant: i32,
        values: impl IntoIterator<Item = V>,
    ) -> Self {
        let values: Vec<Option<f64>> = values.into_iter().map(Into::into).collect();
        let cells = format::column(&values, significant);
        self.columns.push(Column { name: name.to_string(), unit, align: Align::Right, cells });
        self
    }

    /// The table without the columns in which no cell has a value.
    pub fn without_empty_columns(mut self) -> Self {
        self.columns.retain(|c| c.cells.iter().any(|cell| cell != format::NONE && !cell.is_empty()));
        self
    }

    /// Number of rows.
    pub fn row_count(&self) -> usize {
        self.columns.iter().map(|c| c.cells.len()).max().unwrap_or(0)
    }

    /// Rows from the top, each with one cell a column.
    pub fn rows(&self) -> impl Iterator<Item = Vec<&str>> {
        (0..self.row_count())
            .map(|row| self.columns.iter().map(|c| c.cells.get(row).map_or(format::NONE, String::as_str)).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_run_across_the_columns() {
        let table = Table::new("Panels").words("panel", ["A", "B"]).numbers("flow", "L/s", 3, [Some(12.34), None]);
        assert_eq!(table.row_count(), 2);
        assert_eq!(table.rows().collect::<Vec<_>>(), [vec!["A", "12.3"], vec!["B", "-"]]);
    }

    #[test]
    fn columns_without_values_can_be_left_out() {
        let table = Table::new("").words("panel", ["A"]).numbers("margin", "%", 3, [None]).without_empty_columns();
        assert_eq!(table.columns.len(), 1);
    }
}
