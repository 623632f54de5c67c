//! A digest as CSV (RFC 4180) for spreadsheets. The first column says what a row is:
//!
//! - `task`: one task.
//! - `property` and `total`: numbers of tasks and minutes. They have their own columns, so that the sum of the
//!   column `minutes` counts the work once.
//! - `bring`: a thing to bring.
//! - `caution`: a hazard and what to do about it.
//! - `note`: how many tasks are left out.

use crate::domain::model::hazard::Hazard;
use crate::domain::model::reason::Reason;
use crate::domain::rules::digest::make::{Digest, DigestTask, PropertyTasks, Totals};
use crate::domain::rules::digest::words;
use chrono::NaiveDate;

/// The header row.
pub(crate) const COLUMNS: [&str; 21] = [
    "row",
    "property",
    "due_on",
    "state",
    "system",
    "component",
    "what_to_do",
    "minutes",
    "total_tasks",
    "total_minutes",
    "text",
    "decided_by",
    "early_on",
    "likely_on",
    "late_on",
    "hazards",
    "component_kind",
    "duty",
    "property_id",
    "system_id",
    "task_id",
];

/// A row by column. A column that was not set is empty.
#[derive(Default)]
struct Row([String; COLUMNS.len()]);

impl Row {
    fn of(kind: &str) -> Self {
        Self::default().set("row", kind)
    }

    fn set(mut self, column: &str, text: impl AsRef<str>) -> Self {
        if let Some(place) = COLUMNS.iter().position(|known| *known == column) {
            self.0[place] = guarded(text.as_ref());
        }
        self
    }
}

pub(crate) fn render(digest: &Digest) -> String {
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    // Writing to memory does not fail, and all rows have the same length.
    let _ = writer.write_record(COLUMNS);
    rows(digest, &mut |row| drop(writer.write_record(&row.0)));
    String::from_utf8(writer.into_inner().unwrap_or_default()).unwrap_or_default()
}

fn rows(digest: &Digest, write: &mut dyn FnMut(Row)) {
    for property in &digest.properties {
        property.tasks.iter().for_each(|line| write(task(property, line)));
    }
    for property in &digest.properties {
        let row = Row::of("property").set("property", words::one_line(&property.name));
        write(amounts(row.set("property_id", property.id.to_string()), &property.totals));
    }
    write(amounts(Row::of("total"), &digest.totals));
    let totals = digest.totals;
    for (state, count) in
        [("late", totals.late), ("due", totals.due), ("near", totals.near), ("resting", totals.resting)]
    {
        write(Row::of("total").set("state", state).set("total_tasks", count.to_string()));
    }
    digest.bring.iter().for_each(|thing| write(Row::of("bring").set("text", thing)));
    for hazard in &digest.hazards {
        write(Row::of("caution").set("hazards", hazard.code()).set("text", hazard.text()));
    }
    if let Some(note) = digest.note() {
        write(Row::of("note").set("total_tasks", digest.left_out.to_string()).set("text", note));
    }
}

fn amounts(row: Row, totals: &Totals) -> Row {
    row.set("total_tasks", totals.tasks.to_string()).set("total_minutes", totals.minutes.to_string())
}

fn task(property: &PropertyTasks, line: &DigestTask) -> Row {
    let date = |date: Option<NaiveDate>| date.map(|date| date.to_string()).unwrap_or_default();
    let hazards: Vec<&str> = line.hazards.iter().copied().map(Hazard::code).collect();
    let (early, likely, late) =
        line.window.map(|window| (window.early_on, window.likely_on, window.late_on)).unwrap_or_default();
    Row::of("task")
        .set("property", words::one_line(&property.name))
        .set("due_on", date(line.due_on))
        .set("state", line.state.code())
        .set("system", words::one_line(&line.system_name))
        .set("component", words::one_line(&line.component_name))
        .set("what_to_do", line.duty.title())
        .set("minutes", line.duty.minutes().to_string())
        .set("text", words::one_line(&line.why.as_ref().map(Reason::text).unwrap_or_default()))
        .set("decided_by", line.decided_by.word())
        .set("early_on", date(early))
        .set("likely_on", date(likely))
        .set("late_on", date(late))
        .set("hazards", hazards.join(" "))
        .set("component_kind", line.kind.code())
        .set("duty", line.duty.word())
        .set("property_id", property.id.to_string())
        .set("system_id", line.system_id.to_string())
        .set("task_id", line.task_id.to_string())
}

/// A field that a spreadsheet does not read as a formula. An apostrophe is put before `=`, `+`, `-` and `@`, and
/// before their wide forms. The same goes for a tab or a return, which some programs drop. Unseen
/// characters before these change nothing, since some programs drop them too.
pub(crate) fn guarded(text: &str) -> String {
    let first = text.trim_start_matches(unseen).chars().next();
    let formula = matches!(
        first,
        Some('=' | '+' | '-' | '@' | '\t' | '\r' | '\u{ff1d}' | '\u{ff0b}' | '\u{ff0d}' | '\u{ff20}')
    );
    if formula { format!("'{text}") } else { text.to_owned() }
}

/// White space and characters without a width, but for those that are guarded against.
fn unseen(c: char) -> bool {
    let without_width = matches!(
        c,
        '\u{ad}'
            | '\u{34f}'
            | '\u{61c}'
            | '\u{180b}'..='\u{180f}'
            | '\u{200b}'..='\u{200f}'
            | '\u{202a}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}'
            | '\u{fe00}'..='\u{fe0f}'
            | '\u{feff}'
    );
    without_width || (c.is_whitespace() && !matches!(c, '\t' | '\r'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn unseen_characters_hide_no_formula() {
        for unseen in ["", " ", "\u{a0}", "\u{200b}", "\u{feff}", "\u{2060} \u{3000}", "\u{202e}\u{ad}", "\n"]
        {
            for formula in ["=1+1", "+1", "-1", "@a", "\t=1", "\r=1", "\u{ff1d}1"] {
                let text = format!("{unseen}{formula}");
                assert_eq!(guarded(&text), format!("'{text}"));
            }
            let text = format!("{unseen}shed =1");
            assert_eq!(guarded(&text), text);
        }
    }
}
