//! A digest as CommonMark. Text of users is escaped, so that a name cannot become a heading or a link.

use crate::domain::rules::digest::make::{Digest, DigestTask};
use crate::domain::rules::digest::words;
use std::fmt::Write as _;

pub(crate) fn render(digest: &Digest) -> String {
    let mut out = format!("# {}\n\n{}\n", words::title(digest), words::summary(digest));
    if let Some(note) = digest.note() {
        let _ = write!(out, "\n**{}**\n", escaped(&note));
    }
    for property in &digest.properties {
        let _ =
            write!(out, "\n## {}\n\n{}\n\n", escaped(&property.name), words::summary_there(&property.totals));
        property.tasks.iter().for_each(|line| task(&mut out, line));
    }
    if !digest.bring.is_empty() {
        out.push_str("\n## Bring\n\n");
        digest.bring.iter().for_each(|thing| item(&mut out, "- ", &escaped(thing)));
    }
    if !digest.hazards.is_empty() {
        out.push_str("\n## Be careful\n\n");
        for hazard in &digest.hazards {
            item(&mut out, "- ", &format!("**{}**: {}", words::plain(hazard.code()), escaped(hazard.text())));
        }
    }
    out
}

fn task(out: &mut String, line: &DigestTask) {
    let (system, component) = (escaped(&line.system_name), escaped(&line.component_name));
    let what = escaped(line.duty.title());
    let minutes = words::minutes(line.duty.minutes().into());
    let (due, state) = (words::due(line), line.state.code());
    item(out, "- ", &format!("**{due}** {state}: {system}, {component}: {what} ({minutes})"));
    if let Some(why) = &line.why {
        item(out, "  - ", &escaped(&why.text()));
    }
    if let Some(window) = &line.window {
        item(out, "  - ", &words::window(window));
    }
}

fn item(out: &mut String, bullet: &str, text: &str) {
    // Writing to a string cannot fail.
    let _ = writeln!(out, "{bullet}{text}");
}

/// Text that Markdown shows unchanged. It is for text inside a line; at the start of a line, more characters would
/// need a backslash.
pub(crate) fn escaped(text: &str) -> String {
    let text = words::one_line(text);
    let mut out = String::with_capacity(text.len() + 8);
    for (at, c) in text.char_indices() {
        let before = &text[..at];
        let rest = &text[at..];
        // Some dialects make links of bare addresses.
        let address = (c == ':' && rest.starts_with("://"))
            || (c == '.' && before.len() >= 3 && before.as_bytes()[at - 3..].eq_ignore_ascii_case(b"www"));
        let limits = matches!(
            c,
            '\\' | '`'
                | '*'
                | '_'
                | '{'
                | '}'
                | '['
                | ']'
                | '<'
                | '>'
                | '#'
                | '|'
                | '~'
                | '&'
                | '!'
                | '$'
                | '@'
                | '^'
                | '='
        );
        // At the start of an item, these characters would begin another list.
        let begins = matches!(c, '-' | '+') && before.is_empty()
            || matches!(c, '.' | ')')
                && !before.is_empty()
                && before.bytes().all(|byte| byte.is_ascii_digit());
        if address || limits || begins {
            out.push('\\');
        }
        out.push(c);
    }
    out
}
