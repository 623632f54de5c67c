//! Reads the file: a header line, and the columns `date` and `mm`.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use eavesward_engine::Day;

/// The content of a file.
#[derive(Debug, Default)]
pub struct Table {
    /// Depth in mm by day.
    pub readings: BTreeMap<i32, f64>,
    /// Rows without a depth.
    pub empty: usize,
    /// Rows whose depth is below zero or not a number.
    pub unusable: usize,
    /// Rows of a day that has a later row, which counts instead.
    pub repeated: usize,
}

impl Table {
    /// What was skipped, in words.
    pub fn skipped(&self) -> String {
        let mut text = String::new();
        for (count, what) in [
            (self.empty, "without a depth"),
            (self.unusable, "with a depth below zero or not a number"),
            (self.repeated, "for a day that comes again further down"),
        ] {
            if count > 0 {
                let _ = write!(text, "{}{count} {what}", if text.is_empty() { "" } else { ", " });
            }
        }
        if text.is_empty() { "none".to_owned() } else { text }
    }
}

/// Reads the text of a file. An error names the line and how to correct it.
pub fn read(text: &str) -> Result<Table, String> {
    let text = text.trim_start_matches('\u{feff}');
    let mut reader =
        csv::ReaderBuilder::new().trim(csv::Trim::All).flexible(true).from_reader(text.as_bytes());
    let header = reader.headers().map_err(|e| format!("the header cannot be read: {e}"))?.clone();
    let column = |name: &str| {
        header.iter().position(|h| h.eq_ignore_ascii_case(name)).ok_or_else(|| {
            format!(
                "line 1: no column `{name}` among `{}`; the first line names the columns, separated by commas, \
                 two of them `date` and `mm`",
                header.iter().collect::<Vec<_>>().join(",")
            )
        })
    };
    let (date, mm) = (column("date")?, column("mm")?);
    let mut table = Table::default();
    for row in reader.records() {
        let row = row.map_err(|e| format!("{e}; save the file as UTF-8 with one row a line"))?;
        let line = row.position().map_or(0, csv::Position::line);
        let text = row.get(date).unwrap_or_default();
        let day = parse_day(text).ok_or_else(|| {
            format!("line {line}: `{text}` is no date from 1700 to 2299; write dates as YYYY-MM-DD")
        })?;
        table.take(day, row.get(mm).unwrap_or_default());
    }
    if table.readings.is_empty() {
        return Err("no row has a depth of 0 or more in its column `mm`; give daily rain in mm".to_owned());
    }
    Ok(table)
}

impl Table {
    fn take(&mut self, day: Day, text: &str) {
        if text.is_empty() {
            self.empty += 1;
            return;
        }
        match text.parse::<f64>() {
            Ok(mm) if mm >= 0.0 && mm.is_finite() => {
                let earlier = self.readings.insert(day.0, mm);
                self.repeated += usize::from(earlier.is_some());
            }
            _ => self.unusable += 1,
        }
    }
}

/// A date such as 2012-04-03, with or without a time of day after it.
fn parse_day(text: &str) -> Option<Day> {
    let date = text.split(['T', ' ']).next()?;
    let mut parts = date.split('-');
    let (y, m, d) = (parts.next()?, parts.next()?, parts.next()?);
    if parts.next().is_some() || y.len() != 4 || m.len() != 2 || d.len() != 2 {
        return None;
    }
    let y: i32 = y.parse().ok()?;
    if !(1700..2300).contains(&y) {
        return None;
    }
    Day::from_ymd(y, m.parse().ok()?, d.parse().ok()?)
}
