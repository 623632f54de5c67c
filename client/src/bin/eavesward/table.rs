//! Tables of plain text.

use crate::show::state_colour;
use std::io::{self, Write};

/// A table whose columns are as wide as their widest cell.
pub struct Table {
    rows: Vec<Vec<String>>,
    colours: bool,
}

impl Table {
    /// A table with these column headings.
    pub fn new<const N: usize>(heads: [&str; N]) -> Self {
        Self { rows: vec![heads.iter().map(|head| head.to_uppercase()).collect()], colours: false }
    }

    /// Sets whether states have colours.
    pub fn colours(self, colours: bool) -> Self {
        Self { colours, ..self }
    }

    /// Adds a row.
    pub fn row<const N: usize>(&mut self, cells: [String; N]) {
        self.rows.push(cells.map(|cell| printable(&cell)).into());
    }

    /// Writes the table, with two spaces between columns and none at the end of a line.
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
            let cells: Vec<String> = (row.iter().zip(&widths).enumerate())
                .map(|(column, (cell, width))| self.painted(column, cell, *width))
                .collect();
            writeln!(out, "{}", cells.join("  ").trim_end())?;
        }
        Ok(())
    }
}

impl Table {
    /// A cell as wide as its column. Only the word is coloured, not the spaces after it.
    fn painted(&self, column: usize, cell: &str, width: usize) -> String {
        let of_states =
            self.rows.first().and_then(|heads| heads.get(column)).is_some_and(|head| head == "STATE");
        match state_colour(cell).filter(|_| self.colours && of_states) {
            Some(colour) => {
                let blanks = width.saturating_sub(cell.chars().count());
                format!("\u{1b}[{colour}m{cell}\u{1b}[0m{:blanks$}", "")
            }
            None => format!("{cell:<width$}"),
        }
    }
}

/// Text without control characters, so that a name cannot control the reader's terminal.
pub fn printable(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn states_have_colours_only_where_they_are_wanted_and_words_always() {
        let text = |colours| {
            let mut table = Table::new(["state", "name"]).colours(colours);
            table.row(["late".to_owned(), "late".to_owned()]);
            table.row(["resting".to_owned(), "shed".to_owned()]);
            let mut out = Vec::new();
            table.write(&mut out).expect("memory takes anything");
            String::from_utf8(out).expect("UTF-8")
        };
        let plain = "STATE    NAME\nlate     late\nresting  shed\n";
        assert_eq!(text(false), plain);
        assert_eq!(text(true), plain.replace("late     late", "\u{1b}[1;31mlate\u{1b}[0m     late"));
    }

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
