//! Splits large rain files into pieces and keeps the line numbers of the whole file.

use crate::Error;
use eavesward_contract::{RainCounts, RainLayout, RainReport};

/// Lines in one request, the header included. The service accepts far more; a smaller piece keeps each request
/// short.
pub const MAX_LINES: usize = 20_000;

/// One piece of a rain file, ready to send.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct Piece {
    /// The text, with the file's header if the layout has one.
    pub text: String,
    header_lines: usize,
    /// Line number in the whole file of each line after the header.
    lines: Vec<u64>,
}

impl Piece {
    /// Translates a line number of this piece (from 1) into one of the whole file.
    pub fn line_in_file(&self, line: u64) -> u64 {
        let index = usize::try_from(line).unwrap_or(usize::MAX);
        if index <= self.header_lines {
            return line;
        }
        let after_header = index - self.header_lines;
        match self.lines.get(after_header - 1) {
            Some(number) => *number,
            // A line past the end, as in a file that breaks off, keeps its distance from the last line.
            None => self.lines.last().map_or(line, |last| last + (after_header - self.lines.len()) as u64),
        }
    }
}

/// Splits a file into pieces of at most `max_lines` lines. Each piece has the file's header, if there is one.
///
/// The station layout gives an accumulated reading and the days that it covers on two lines of one date. Therefore
/// the lines of one date stay together, and the pieces run from early to late dates. A file of at most `max_lines`
/// lines comes back unchanged, as one piece.
///
/// # Errors
///
/// A long station file has lines of more than one station. The service sees one piece at a time, so it could not
/// tell which station the gauge is.
pub fn split(text: &str, layout: RainLayout, max_lines: usize) -> Result<Vec<Piece>, Error> {
    let all = lines_of(text);
    let header_lines = all
        .iter()
        .position(|line| !line.trim().is_empty())
        .filter(|at| is_header(all[*at], layout))
        .map_or(0, |at| at + 1);
    if all.len() <= max_lines {
        let lines = (header_lines..all.len()).map(|at| at as u64 + 1).collect();
        return Ok(vec![Piece { text: text.to_owned(), header_lines, lines }]);
    }
    let (header, rest) = all.split_at(header_lines);
    let mut rest: Vec<(u64, &str)> =
        rest.iter().enumerate().map(|(at, line)| ((header_lines + at) as u64 + 1, *line)).collect();
    let by_station = layout == RainLayout::GhcnDaily;
    let date_of = |line: &str| if by_station { field(line, 1).to_owned() } else { String::new() };
    if by_station {
        one_station(&rest)?;
        rest.sort_by_cached_key(|(_, line)| date_of(line));
    }
    let room = max_lines.saturating_sub(header_lines).max(1);
    let mut pieces = Vec::new();
    while !rest.is_empty() {
        let take = if rest.len() <= room { rest.len() } else { cut(&rest, room, date_of) };
        let later = rest.split_off(take);
        pieces.push(piece(header, &rest));
        rest = later;
    }
    Ok(pieces)
}

/// The lines of a text with their ends: LF, CR or both, as the service reads them.
fn lines_of(text: &str) -> Vec<&str> {
    let (mut lines, mut rest) = (Vec::new(), text);
    while let Some(at) = rest.find(['\n', '\r']) {
        let end = if rest[at..].starts_with("\r\n") { at + 2 } else { at + 1 };
        let (line, after) = rest.split_at(end);
        lines.push(line);
        rest = after;
    }
    lines.extend(Some(rest).filter(|rest| !rest.is_empty()));
    lines
}

/// The byte order mark that some spreadsheets put first.
const BOM: char = '\u{feff}';

fn field(line: &str, at: usize) -> &str {
    line.trim_start_matches(BOM).split(',').nth(at).unwrap_or_default().trim().trim_matches('"')
}

/// Whether a first line names columns. Both layouts allow files without such a line.
fn is_header(line: &str, layout: RainLayout) -> bool {
    if layout == RainLayout::GhcnDaily {
        return matches!(field(line, 0).to_ascii_uppercase().as_str(), "ID" | "STATION");
    }
    !line.split(',').any(|field| field.trim().trim_matches('"').starts_with(|c: char| c.is_ascii_digit()))
}

fn one_station(lines: &[(u64, &str)]) -> Result<(), Error> {
    let mut named = lines.iter().filter(|(_, line)| !line.trim().is_empty());
    let Some((_, first)) = named.next() else { return Ok(()) };
    let first = field(first, 0);
    match named.find(|(_, line)| field(line, 0) != first) {
        None => Ok(()),
        Some((number, line)) => Err(Error::unsendable(format!(
            "line {number} is of station {:?}, but the file begins with {first:?}; send one station at a time",
            field(line, 0)
        ))),
    }
}

/// Where to cut: after `room` lines, or earlier if a date would be split there.
fn cut(rest: &[(u64, &str)], room: usize, date_of: impl Fn(&str) -> String) -> usize {
    let torn = date_of(rest[room].1);
    if torn.is_empty() {
        return room;
    }
    let before = rest[..room].iter().rposition(|(_, line)| date_of(line) != torn);
    before.map_or(room, |at| at + 1)
}

fn piece(header: &[&str], rest: &[(u64, &str)]) -> Piece {
    let mut text = String::new();
    for line in header.iter().copied().chain(rest.iter().map(|(_, line)| *line)) {
        // Sorting may put a line that begins with LF after one that ends with CR. Together they would be one end.
        text.push_str(line.strip_suffix('\r').unwrap_or(line));
        // The file's last line may lack a line break, and sorting may move it to the middle.
        if !line.ends_with('\n') {
            text.push('\n');
        }
    }
    Piece { text, header_lines: header.len(), lines: rest.iter().map(|(number, _)| *number).collect() }
}

/// Combines the reports on the pieces of one file.
#[derive(Clone, Debug, Default)]
pub struct ReportSum {
    report: Option<RainReport>,
}

impl ReportSum {
    /// Adds the report on one piece.
    pub fn add(&mut self, piece: &Piece, mut report: RainReport) {
        for refusal in &mut report.refused {
            refusal.line = refusal.line.map(|line| piece.line_in_file(line));
        }
        match &mut self.report {
            None => self.report = Some(report),
            Some(sum) => {
                add_counts(&mut sum.counts, report.counts);
                sum.refused.extend(report.refused);
                // These two describe the whole gauge, so the latest word counts.
                sum.rain_from = report.rain_from;
                sum.rain_through = report.rain_through;
            }
        }
    }

    /// The report on the whole file, with refusals in the order of its lines.
    pub fn finish(self) -> RainReport {
        let mut report = self.report.unwrap_or_default();
        report.refused.sort_by_key(|refusal| refusal.line);
        report
    }
}

fn add_counts(sum: &mut RainCounts, more: RainCounts) {
    sum.added += more.added;
    sum.changed += more.changed;
    sum.same += more.same;
    sum.refused += more.refused;
    sum.spread += more.spread;
    sum.other += more.other;
}

#[cfg(test)]
mod tests {
    use super::*;
    use eavesward_contract::RainRefusal;

    fn refusal(line: u64) -> RainReport {
        RainReport {
            counts: RainCounts { added: 1, refused: 1, ..RainCounts::default() },
            refused: vec![RainRefusal {
                line: Some(line),
                index: None,
                date: None,
                reason: "no number".to_owned(),
            }],
            rain_from: None,
            rain_through: None,
        }
    }

    #[test]
    fn a_short_file_is_left_alone() {
        let text = "date,mm\r\n2031-01-01,2\r\n2031-01-02,0";
        let pieces = split(text, RainLayout::DailyCsv, 3).expect("one station");
        assert_eq!(pieces.len(), 1);
        assert_eq!(pieces[0].text, text);
        assert_eq!((1..=4).map(|line| pieces[0].line_in_file(line)).collect::<Vec<_>>(), [1, 2, 3, 4]);
    }

    #[test]
    fn every_piece_has_the_header_and_the_lines_of_the_file() {
        let text = "\ndate,mm\na\nb\n\nc\nd\ne";
        let pieces = split(text, RainLayout::DailyCsv, 4).expect("one station");
        let texts: Vec<&str> = pieces.iter().map(|piece| piece.text.as_str()).collect();
        assert_eq!(texts, ["\ndate,mm\na\nb\n", "\ndate,mm\n\nc\n", "\ndate,mm\nd\ne\n"]);
        let whole: Vec<&str> = text.lines().collect();
        for piece in &pieces {
            for (at, line) in piece.text.lines().enumerate() {
                let number = usize::try_from(piece.line_in_file(at as u64 + 1)).expect("small");
                assert_eq!(line, whole[number - 1], "line {number}");
            }
        }
    }

    #[test]
    fn a_line_may_end_with_a_return() {
        let text = "\u{feff}date,mm\ra\r\nb\n\rc\rd";
        let pieces = split(text, RainLayout::DailyCsv, 3).expect("one station");
        let texts: Vec<&str> = pieces.iter().map(|piece| piece.text.as_str()).collect();
        let header = "\u{feff}date,mm\n";
        let expected = ["a\r\nb\n", "\nc\n", "d\n"].map(|lines| format!("{header}{lines}"));
        assert_eq!(texts, expected);
        assert_eq!(pieces.iter().map(|piece| piece.line_in_file(2)).collect::<Vec<_>>(), [2, 4, 6]);
        let text = "S,20310102,A\r\r\nS,20310101,B";
        let pieces = split(text, RainLayout::GhcnDaily, 2).expect("one station");
        assert_eq!(pieces.iter().map(|piece| piece.text.lines().count()).collect::<Vec<_>>(), [2, 1]);
    }

    #[test]
    fn a_date_of_a_station_file_is_never_torn_apart() {
        // Grouped by element as some files are, with the last line unterminated.
        let text =
            "S,20310101,PRCP,0\nS,20310103,MDPR,90\nS,20310101,TMAX,1\nS,20310103,DAPR,2\nS,20310104,PRCP,7";
        let pieces = split(text, RainLayout::GhcnDaily, 3).expect("one station");
        let texts: Vec<&str> = pieces.iter().map(|piece| piece.text.as_str()).collect();
        assert_eq!(
            texts,
            [
                "S,20310101,PRCP,0\nS,20310101,TMAX,1\n",
                "S,20310103,MDPR,90\nS,20310103,DAPR,2\nS,20310104,PRCP,7\n",
            ]
        );
        assert_eq!(pieces[0].line_in_file(2), 3);
        assert_eq!(pieces[1].line_in_file(2), 4);
    }

    #[test]
    fn a_first_line_of_readings_is_not_taken_for_a_header() {
        let pieces = split("\u{feff}2031-01-01,1\n2031-01-02,2\n2031-01-03,3\n", RainLayout::DailyCsv, 2);
        let texts: Vec<String> = pieces.expect("csv").into_iter().map(|piece| piece.text).collect();
        assert_eq!(texts, ["\u{feff}2031-01-01,1\n2031-01-02,2\n", "2031-01-03,3\n"]);
        let pieces = split("ID,DATE\nS,20310102\nS,20310101\n", RainLayout::GhcnDaily, 2);
        let texts: Vec<String> = pieces.expect("one station").into_iter().map(|piece| piece.text).collect();
        assert_eq!(texts, ["ID,DATE\nS,20310101\n", "ID,DATE\nS,20310102\n"]);
    }

    #[test]
    fn a_long_file_of_two_stations_is_not_sent() {
        let error = split("S,20310101\nS,20310102\nT,20310101\n", RainLayout::GhcnDaily, 2).expect_err("two");
        assert!(error.is_usage() && error.to_string().contains("line 3"), "{error}");
    }

    #[test]
    fn a_date_longer_than_a_piece_is_cut_after_all() {
        let text = "S,20310101,A\nS,20310101,B\nS,20310101,C\n";
        let pieces = split(text, RainLayout::GhcnDaily, 2).expect("one station");
        assert_eq!(pieces.iter().map(|piece| piece.text.lines().count()).collect::<Vec<_>>(), [2, 1]);
    }

    #[test]
    fn reports_add_up_with_line_numbers_of_the_whole_file() {
        let text = "date,mm\na\nb\nc\nd\n";
        let pieces = split(text, RainLayout::DailyCsv, 3).expect("one station");
        let mut sum = ReportSum::default();
        sum.add(&pieces[0], refusal(3));
        sum.add(&pieces[1], refusal(2));
        let report = sum.finish();
        assert_eq!((report.counts.added, report.counts.refused), (2, 2));
        assert_eq!(report.refused.iter().filter_map(|refusal| refusal.line).collect::<Vec<_>>(), [3, 4]);
    }
}
