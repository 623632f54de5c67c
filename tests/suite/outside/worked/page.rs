//! Reading the page: what an example is given, and the figures that it says follow.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use eavesward_engine::Day;

pub const PAGE: &str = include_str!("../../../../service/engine/README.md");

const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

/// A section of the page: what stands under one heading.
pub struct Section {
    title: &'static str,
    given: BTreeMap<&'static str, &'static str>,
    results: VecDeque<&'static str>,
}

/// The sections of the page, by heading, with their lines.
pub fn sections() -> Vec<(&'static str, Vec<&'static str>)> {
    let mut sections = vec![("", Vec::new())];
    for line in PAGE.lines() {
        match line.strip_prefix("## ") {
            Some(title) => sections.push((title, Vec::new())),
            None => sections.last_mut().unwrap().1.push(line),
        }
    }
    sections
}

/// The cells of a row of a table, nothing for any other line and for the rule under a table's head.
pub fn cells(line: &'static str) -> Option<Vec<&'static str>> {
    let inner = line.strip_prefix('|')?.strip_suffix('|')?;
    let cells: Vec<&str> = inner.split('|').map(str::trim).collect();
    (!cells.iter().all(|cell| cell.chars().all(|c| c == '-'))).then_some(cells)
}

/// The rows of the first table of a section whose head begins with a word, without the head.
pub fn rows(lines: &[&'static str], head: &str) -> Vec<Vec<&'static str>> {
    let tables = lines.iter().map(|line| cells(line));
    let start = tables.skip_while(|row| row.as_ref().is_none_or(|cells| cells[0] != head));
    let rule = |line: &str| line.starts_with("|-");
    let from = lines.len() - start.count();
    lines[from..].iter().skip(1).filter(|line| !rule(line)).map_while(|line| cells(line)).collect()
}

/// What stands between `**= ` and `**`, in order.
pub fn results(lines: &[&'static str]) -> VecDeque<&'static str> {
    let mut found = VecDeque::new();
    for line in lines {
        found.extend(line.split("**= ").skip(1).map(|rest| rest.split_once("**").unwrap().0));
    }
    found
}

/// A civil date as the page writes it.
pub fn date(day: Day) -> String {
    let (year, month, day) = day.ymd();
    format!("{day} {} {year}", month_name(month as usize - 1))
}

/// A day of a year as the page writes it.
pub fn day_and_month(day: Day) -> String {
    let (_, month, day) = day.ymd();
    format!("{day} {}", month_name(month as usize - 1))
}

pub fn month_name(month0: usize) -> &'static str {
    MONTHS[month0]
}

impl Section {
    /// The section whose heading begins like this.
    pub fn of(title: &str) -> Section {
        let (title, lines) = sections().into_iter().find(|(found, _)| found.starts_with(title)).unwrap();
        let given = rows(&lines, "given").into_iter().map(|row| (row[0], row[1])).collect();
        Section { title, given, results: results(&lines) }
    }

    fn text(&self, name: &str) -> &'static str {
        self.given.get(name).unwrap_or_else(|| panic!("{}: nothing given as {name:?}", self.title))
    }

    /// The numbers that the page gives under a name, with commas between them and perhaps units behind them.
    pub fn list(&self, name: &str) -> Vec<f64> {
        let number = |part: &str| part.split_whitespace().next().unwrap().parse().unwrap();
        self.text(name).split(',').map(number).collect()
    }

    /// The same, so many as are expected.
    pub fn some<const N: usize>(&self, name: &str) -> [f64; N] {
        self.list(name).try_into().unwrap()
    }

    /// The one number that the page gives under a name.
    pub fn given(&self, name: &str) -> f64 {
        let [number] = self.some(name);
        number
    }

    /// The day that the page gives under a name.
    pub fn day(&self, name: &str) -> Day {
        let parts: Vec<&str> = self.text(name).split(' ').collect();
        let month = MONTHS.iter().position(|month| *month == parts[1]).unwrap() as u32 + 1;
        Day::from_ymd(parts[2].parse().unwrap(), month, parts[0].parse().unwrap()).unwrap()
    }

    /// The next figure of the section is this.
    pub fn says(&mut self, figure: impl AsRef<str>) {
        let figure = figure.as_ref();
        let there = self.results.pop_front();
        assert_eq!(there, Some(figure), "{}: the page's figure is not the engine's", self.title);
    }

    /// Nothing is left of the section's figures.
    pub fn ends(self) {
        assert!(self.results.is_empty(), "{}: nobody computes {:?}", self.title, self.results);
    }
}

/// The numbers in a text, as they are written; not those in names such as m2 or CO2.
pub fn numbers(text: &str) -> Vec<String> {
    let chars: Vec<char> = text.chars().collect();
    let mut found = Vec::new();
    let mut i = 0;
    while i < chars.len() {
        let inside = i > 0 && (chars[i - 1].is_alphanumeric() || chars[i - 1] == '_');
        if !chars[i].is_ascii_digit() || inside {
            i += 1;
            continue;
        }
        let start = i;
        let digit = |at: usize| chars.get(at).is_some_and(char::is_ascii_digit);
        while digit(i) || (chars.get(i) == Some(&'.') && digit(i + 1)) {
            i += 1;
        }
        found.push(chars[start..i].iter().collect());
        // What is left of a name such as 1st.
        while chars.get(i).is_some_and(|c| c.is_alphanumeric()) {
            i += 1;
        }
    }
    found
}

/// Numbers on the page that are neither given nor computed, nor a prior, nor one of `known`; with their section.
pub fn strays(priors: &str, known: &[&str]) -> Vec<String> {
    let mut held: BTreeSet<String> = known.iter().map(|number| (*number).to_owned()).collect();
    let all = sections();
    let table = &all.iter().find(|(title, _)| *title == priors).unwrap().1;
    for row in table.iter().filter_map(|line| cells(line)) {
        held.extend(numbers(row[0]).into_iter().chain(numbers(row[1])));
    }
    let mut strays = Vec::new();
    for (title, lines) in all.iter().filter(|(title, _)| *title != priors) {
        for row in rows(lines, "given") {
            held.extend(row.iter().flat_map(|cell| numbers(cell)));
        }
        held.extend(results(lines).iter().flat_map(|result| numbers(result)));
        let found = lines.iter().flat_map(|line| numbers(line)).filter(|number| !held.contains(number));
        strays.extend(found.map(|number| format!("{number} in {title:?}")));
    }
    strays
}
