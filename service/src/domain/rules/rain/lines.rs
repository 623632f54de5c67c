//! Splits a file of comma-separated values into lines and their fields.

use crate::domain::base::error::{Error, Result};
use crate::domain::base::plural::with_commas;
use csv::StringRecord;
use csv_core::ReadRecordResult;

/// The most lines of a rain file. Judgement: the largest file has fewer, unless its lines are too short to say anything.
pub const MOST_LINES: usize = 1_000_000;

/// The longest line that is read, bytes. Judgement: a reading and its flags take a tenth of it.
const LONGEST_LINE: usize = 4096;

/// The most fields of a line. Judgement: a file of every element of a station's day has fewer.
const MOST_FIELDS: usize = 200;

/// Passes on the fields of each line that is not blank, with its number, or why it cannot be read.
///
/// A line ends with LF, CR or both, and the ends of one file may differ. A line has one reading. So an unbalanced
/// quote spoils only its own line. A quoted field may hold line ends; then the number is that of its first line.
///
/// # Errors
/// If there are more than [`MOST_LINES`], and the errors of `each`, which end the reading.
pub fn lines(
    text: &[u8],
    mut each: impl FnMut(u64, std::result::Result<&StringRecord, String>) -> Result<()>,
) -> Result<()> {
    let mut fields = Fields::new();
    // Some spreadsheets begin a file with a mark of its encoding.
    let (mut rest, mut number) = (text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(text), 1);
    while !rest.is_empty() {
        if number > MOST_LINES {
            let message =
                format!("the file has more lines than {}; send it in parts", with_commas(MOST_LINES));
            return Err(Error::field(format!("line {number}"), message));
        }
        let line = line_at(rest);
        if !line.is_empty() {
            match fields.read(line) {
                Ok(fields) if fields.iter().all(str::is_empty) => {}
                read => each(number as u64, read)?,
            }
        }
        number += line_ends(line) + 1;
        rest = &rest[line.len()..];
        rest = &rest[end_length(rest)..];
    }
    Ok(())
}

/// The first line, without its end.
fn line_at(text: &[u8]) -> &[u8] {
    let end = text.iter().position(|byte| is_end(*byte)).unwrap_or(text.len());
    if text[..end].contains(&b'"') { &text[..quoted_end(text).unwrap_or(end)] } else { &text[..end] }
}

/// The end of the first line where quoted fields hold line ends. None if a quote is not closed as it should be, or if
/// it would take in a line with as many commas: that has a reading of its own.
fn quoted_end(text: &[u8]) -> Option<usize> {
    let text = &text[..text.len().min(LONGEST_LINE + 1)];
    let (mut at, mut commas) = (0, 0);
    loop {
        at = match text.get(at) {
            Some(b'"') => closing_quote(text, at + 1)? + 1,
            _ => text[at..]
                .iter()
                .position(|byte| is_end(*byte) || *byte == b',')
                .map_or(text.len(), |to| at + to),
        };
        if text.get(at) != Some(&b',') {
            break;
        }
        (at, commas) = (at + 1, commas + 1);
    }
    let whole = |line: &[u8]| line.split(|byte| *byte == b',').count() > commas;
    let mut lines = text[..at].split(|byte| is_end(*byte));
    let taken_in = lines.by_ref().skip(1).any(|line| !line.is_empty() && whole(line));
    (!taken_in && at <= LONGEST_LINE).then_some(at)
}

/// The quote that closes a field: a comma or the end of the line follows.
fn closing_quote(text: &[u8], mut at: usize) -> Option<usize> {
    loop {
        at += text.get(at..)?.iter().position(|byte| *byte == b'"')?;
        match text.get(at + 1) {
            Some(b'"') => at += 2,
            None | Some(b',' | b'\r' | b'\n') => return Some(at),
            Some(_) => return None,
        }
    }
}

fn is_end(byte: u8) -> bool {
    matches!(byte, b'\n' | b'\r')
}

/// Bytes of the end of a line.
fn end_length(text: &[u8]) -> usize {
    match text {
        [b'\r', b'\n', ..] => 2,
        [b'\r' | b'\n', ..] => 1,
        _ => 0,
    }
}

/// How many line ends a text has.
fn line_ends(text: &[u8]) -> usize {
    let (mut ends, mut rest) = (0, text);
    while let Some(at) = rest.iter().position(|byte| is_end(*byte)) {
        ends += 1;
        rest = &rest[at + end_length(&rest[at..])..];
    }
    ends
}

/// Reads the fields of one line after the other, with one reader.
struct Fields {
    reader: csv_core::Reader,
    text: Vec<u8>,
    ends: Vec<usize>,
    fields: StringRecord,
}

impl Fields {
    fn new() -> Self {
        Self {
            reader: csv_core::Reader::new(),
            text: vec![0; LONGEST_LINE],
            ends: vec![0; MOST_FIELDS],
            fields: StringRecord::new(),
        }
    }

    /// The fields without the white space around them.
    fn read(&mut self, line: &[u8]) -> std::result::Result<&StringRecord, String> {
        if line.len() > LONGEST_LINE {
            let most = with_commas(LONGEST_LINE);
            return Err(format!("the line has more bytes than {most}; leave out what is not about rain"));
        }
        self.reader.reset();
        let (mut read, mut written, mut ended) = (0, 0, 0);
        // The text has room for any line, so it is read as a whole: first its bytes, then its end.
        loop {
            let (result, bytes, texts, ends) =
                self.reader.read_record(&line[read..], &mut self.text[written..], &mut self.ends[ended..]);
            (read, written, ended) = (read + bytes, written + texts, ended + ends);
            match result {
                ReadRecordResult::InputEmpty => {}
                ReadRecordResult::OutputEndsFull => {
                    return Err(format!("the line has more than {MOST_FIELDS} fields; keep date and rain"));
                }
                _ => break,
            }
        }
        let text = std::str::from_utf8(&self.text[..written])
            .map_err(|_| "the line is not text in UTF-8; save the file as UTF-8".to_owned())?;
        self.fields.clear();
        let mut start = 0;
        for end in &self.ends[..ended] {
            self.fields.push_field(text.get(start..*end).unwrap_or_default().trim());
            start = *end;
        }
        Ok(&self.fields)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The number of each line with its fields, set apart by bars.
    fn read(text: &str) -> Vec<String> {
        let mut all = Vec::new();
        lines(text.as_bytes(), |number, fields| {
            let fields = fields.map(|fields| fields.iter().collect::<Vec<_>>().join("|"));
            all.push(format!("{number} {}", fields.unwrap_or_else(|reason| reason)));
            Ok(())
        })
        .expect("few lines");
        all
    }

    #[test]
    fn any_line_end_ends_a_line() {
        assert_eq!(read("a,b\rc\n\r\nd\r\r,\re,\"f\"\r"), ["1 a|b", "2 c", "4 d", "7 e|f"]);
        assert_eq!(read("a\r\nb\n\rc"), ["1 a", "2 b", "4 c"]);
        assert_eq!(read("\r"), [""; 0]);
    }

    #[test]
    fn a_quoted_field_may_hold_line_ends_if_it_takes_in_no_line() {
        assert_eq!(read("a,\"b\rc d\",e\r\nf"), ["1 a|b\rc d|e", "3 f"]);
        assert_eq!(read("a,b,\"c \"\"d\"\"\r\n\n\"\rf"), ["1 a|b|c \"d\"", "4 f"]);
        // A quote that is closed too late, or never, or before its field ends.
        assert_eq!(read("a,\"b\nc,d\"\n"), ["1 a|b", "2 c|d\""]);
        assert_eq!(read("\"a,b\nc,d"), ["1 a,b", "2 c|d"]);
        assert_eq!(read("a,\"b\"c\nd"), ["1 a|bc", "2 d"]);
        assert_eq!(read(&format!("a,\"b\n{}\"\nd", "c".repeat(LONGEST_LINE)))[0], "1 a|b");
    }

    #[test]
    fn a_line_that_is_too_long_spoils_no_other() {
        let long = "a".repeat(LONGEST_LINE);
        assert_eq!(read(&long), [format!("1 {long}")]);
        assert_eq!(read(&",".repeat(MOST_FIELDS - 1)), [""; 0]);
        assert!(read(&",".repeat(MOST_FIELDS))[0].contains("200 fields"));
        assert_eq!(
            read(&format!("b\n{long}a\nc"))[1..],
            ["2 the line has more bytes than 4,096; leave out what is not about rain", "3 c"]
        );
    }

    #[test]
    fn reading_ends_at_the_last_line_that_is_taken() {
        let mut last = 0;
        let mut note = |number, _: std::result::Result<&StringRecord, String>| {
            last = number;
            Ok(())
        };
        let blank = |lines: usize| "\r\n".repeat(lines) + "a";
        lines(blank(MOST_LINES - 1).as_bytes(), &mut note).expect("no more than the most");
        let more = lines(blank(MOST_LINES).as_bytes(), &mut note);
        assert!(matches!(more, Err(Error::Invalid(_))), "{more:?}");
        assert_eq!(last, MOST_LINES as u64);
    }
}
