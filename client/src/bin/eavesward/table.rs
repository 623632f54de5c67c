//! Tables of plain text.

use std::io::{self, Write};

/// A table whose columns are as wide as their widest cell.
pub struct Table {
    rows: Vec<Vec<String>>,
}

impl Table {
    /// A table with these column heads.
    pub fn new<const N: usize>(heads: [&str; N]) -> Self {
        Self { rows: vec![heads.iter().map(|head| head.to_uppercase()).collect()] }
    }

    /// Adds a row.
    pub fn row<const N: usize>(&mut self, cells: [String; N]) {
        self.rows.push(cells.map(|cell| printable(&cell)).into());
    }

    /// Writes it out, two spaces between columns and none at the end of a line.
    pub fn write(&self, out: &mut dyn Write) -> io::Result<()> {
        let columns = self.rows.iter().map(Vec::len).max().unwrap_or(0);
        let width_of = |column: usize| {
            self.rows
                .iter()
                .filter_map(|row| row.get(column))
                .map(|cell| cell.chars().count())
                .max()
                .unwrap_or(0)
        };
        let widths: Vec<usize> = (0..columns).map(width_of).collect();
        for row in &self.rows {
            let cells: Vec<String> =
                row.iter().zip(&widths).map(|(cell, width)| format!("{cell:<width$}")).collect();
            writeln!(out, "{}", cells.join("  ").trim_end())?;
        }
        Ok(())
    }
}

/// Text without control characters: a name must not be able to drive the reader's terminal.
pub fn printable(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_line_up_and_lines_end_clean() {
        let mut table = Table::new(["a", "name"]);
        table.row(["über".to_owned(), "x\u{1b}[31m\ny".to_owned()]);
        table.row(["1".to_owned(), String::new()]);
        let mut out = Vec::new();
        table.write(&mut out).expect("memory takes anything");
        assert_eq!(String::from_utf8_lossy(&out), "A     NAME\nüber  x [31m y\n1\n");
    }
}
