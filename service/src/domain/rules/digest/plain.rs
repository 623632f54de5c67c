//! A digest as plain text of at most eighty columns.

use crate::domain::rules::digest::make::{Digest, DigestTask};
use crate::domain::rules::digest::words;

/// Columns of a line.
const WIDTH: usize = 80;

pub(crate) fn render(digest: &Digest) -> String {
    let mut page = Page(String::new());
    page.heading(&words::title(digest), '=');
    page.paragraph("", "", &words::summary(digest));
    if let Some(note) = digest.note() {
        page.paragraph("", "", &note);
    }
    for property in &digest.properties {
        page.gap();
        page.heading(&words::one_line(&property.name), '-');
        page.paragraph("", "", &words::summary_there(&property.totals));
        for line in &property.tasks {
            page.gap();
            task(&mut page, line);
        }
    }
    if !digest.bring.is_empty() {
        page.gap();
        page.heading("Bring", '-');
        digest.bring.iter().for_each(|thing| page.paragraph("- ", "  ", thing));
    }
    if !digest.hazards.is_empty() {
        page.gap();
        page.heading("Be careful", '-');
        for hazard in &digest.hazards {
            page.paragraph("- ", "  ", &format!("{}: {}", words::plain(hazard.code()), hazard.text()));
        }
    }
    page.0
}

fn task(page: &mut Page, line: &DigestTask) {
    let (system, component) = (words::one_line(&line.system_name), words::one_line(&line.component_name));
    page.paragraph(
        "",
        "    ",
        &format!("{}  {}  {system}: {component}", words::due(line), line.state.code()),
    );
    let what = line.duty.title();
    page.paragraph("    ", "    ", &format!("{what} ({})", words::minutes(line.duty.minutes().into())));
    if let Some(why) = &line.why {
        page.paragraph("    ", "    ", &words::one_line(&why.text()));
    }
    if let Some(window) = &line.window {
        page.paragraph("    ", "    ", &words::window(window));
    }
}

struct Page(String);

impl Page {
    fn gap(&mut self) {
        self.0.push('\n');
    }

    fn line(&mut self, text: &str) {
        self.0.push_str(text.trim_end());
        self.0.push('\n');
    }

    fn heading(&mut self, text: &str, under: char) {
        let before = self.0.len();
        self.paragraph("", "", text);
        let longest = self.0[before..].lines().map(columns).max().unwrap_or_default();
        self.line(&String::from(under).repeat(longest));
    }

    /// Text broken into lines. The first line begins with `first`, the others with `rest`.
    fn paragraph(&mut self, first: &str, rest: &str, text: &str) {
        let (mut line, mut used, mut empty) = (first.to_owned(), columns(first), true);
        // The columns of a task's first line have two spaces between them, so empty words count.
        for word in text.split(' ') {
            let mut word = word;
            if !empty && used + 1 + columns(word) > WIDTH {
                self.line(&line);
                (line, used, empty) = (rest.to_owned(), columns(rest), true);
            }
            if !empty {
                line.push(' ');
                used += 1;
            }
            // A word that is longer than a line is cut.
            while used + columns(word) > WIDTH {
                let (head, tail) = word.split_at(fitting(word, WIDTH - used));
                line.push_str(head);
                self.line(&line);
                (line, used, word) = (rest.to_owned(), columns(rest), tail);
            }
            line.push_str(word);
            used += columns(word);
            empty = false;
        }
        self.line(&line);
    }
}

/// Bytes at the beginning of a word that fill at most `room` columns. It is at least one character, so that the
/// loop ends.
fn fitting(word: &str, room: usize) -> usize {
    let (mut used, mut bytes) = (0, 0);
    for c in word.chars() {
        used += width(c);
        if used > room && bytes > 0 {
            break;
        }
        bytes += c.len_utf8();
    }
    bytes
}

/// Columns that a text fills on a terminal.
fn columns(text: &str) -> usize {
    text.chars().map(width).sum()
}

/// Columns that a character fills: none for marks that join the letter before, two for the wide letters of East
/// Asia and for pictures. The blocks are from memory of the Unicode charts. A wide letter that is missing here
/// makes a line one column too long.
const fn width(c: char) -> usize {
    match c {
        '\u{300}'..='\u{36f}'
        | '\u{200b}'..='\u{200f}'
        | '\u{fe00}'..='\u{fe0f}'
        | '\u{20d0}'..='\u{20ff}' => 0,
        '\u{1100}'..='\u{115f}'
        | '\u{2e80}'..='\u{a4cf}'
        | '\u{ac00}'..='\u{d7a3}'
        | '\u{f900}'..='\u{faff}'
        | '\u{fe30}'..='\u{fe6f}'
        | '\u{ff00}'..='\u{ff60}'
        | '\u{ffe0}'..='\u{ffe6}'
        | '\u{1f300}'..='\u{1faff}'
        | '\u{20000}'..='\u{3fffd}' => 2,
        _ => 1,
    }
}
