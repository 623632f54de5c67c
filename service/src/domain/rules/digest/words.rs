//! Sentences that all texts of a digest share, and a way to put text of users on one line.

use crate::domain::base::plural::counted;
use crate::domain::model::forecast::Window;
use crate::domain::rules::digest::make::{Digest, DigestTask, Totals};
use chrono::NaiveDate;

/// Minutes as people write them, such as `1 h 30 min`.
pub(crate) fn minutes(minutes: u64) -> String {
    match (minutes / 60, minutes % 60) {
        (0, minutes) => format!("{minutes} min"),
        (hours, 0) => format!("{hours} h"),
        (hours, minutes) => format!("{hours} h {minutes} min"),
    }
}

/// What the digest covers.
pub(crate) fn title(digest: &Digest) -> String {
    match (digest.asked.from, digest.asked.to) {
        (Some(from), Some(to)) => format!("What falls due from {from} to {to}"),
        (Some(from), None) => format!("What falls due from {from}"),
        (None, Some(to)) => format!("What is due by {to}"),
        (None, None) => "What falls due".to_owned(),
    }
}

/// How much there is to do, in one or two sentences.
pub(crate) fn summary(digest: &Digest) -> String {
    let totals = digest.totals;
    if totals.tasks == 0 {
        return "Nothing.".to_owned();
    }
    let tasks = counted(totals.tasks, "task", "tasks");
    let properties = counted(totals.properties, "property", "properties");
    let systems = counted(totals.systems, "system", "systems");
    let work = minutes(totals.minutes);
    format!(
        "{tasks} at {properties}, {systems}: {}. About {work} of work on the spot, without the way there.",
        states(&totals)
    )
}

/// The same for one property.
pub(crate) fn summary_there(totals: &Totals) -> String {
    let tasks = counted(totals.tasks, "task", "tasks");
    format!("{tasks}, about {}: {}.", minutes(totals.minutes), states(totals))
}

/// How many tasks are in each state, without states that have none.
fn states(totals: &Totals) -> String {
    let counts =
        [(totals.late, "late"), (totals.due, "due"), (totals.near, "near"), (totals.resting, "resting")];
    let words = counts.iter().filter(|(count, _)| *count > 0).map(|(count, word)| format!("{count} {word}"));
    words.collect::<Vec<_>>().join(", ")
}

/// The day a task falls due.
pub(crate) fn due(line: &DigestTask) -> String {
    line.due_on.map_or_else(|| "no date".to_owned(), |date| date.to_string())
}

/// The window of a task, if it has one.
pub(crate) fn window(window: &Window) -> String {
    let date = |date: Option<NaiveDate>| date.map_or_else(|| "later".to_owned(), |date| date.to_string());
    if window.early_on.is_some() && window.early_on == window.late_on {
        return format!("Window: {} alone.", date(window.likely_on));
    }
    format!(
        "Window: {} / {} / {} (chance of 10, 50 and 90 %).",
        date(window.early_on),
        date(window.likely_on),
        date(window.late_on)
    )
}

/// Text on one line, without control characters and without marks that change the direction of the text after them.
pub(crate) fn one_line(text: &str) -> String {
    let turns =
        |c: char| matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    let breaks = |c: char| c.is_control() || matches!(c, '\u{2028}' | '\u{2029}');
    let text: String = text.chars().filter(|c| !turns(*c)).map(|c| if breaks(c) { ' ' } else { c }).collect();
    text.split(' ').filter(|word| !word.is_empty()).collect::<Vec<_>>().join(" ")
}

/// The word of a hazard as people write it, such as `confined space`.
pub(crate) fn plain(code: &str) -> String {
    code.replace('_', " ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_window_of_one_day_names_it_once() {
        let day = NaiveDate::from_ymd_opt(2026, 11, 28);
        let all = |early_on, likely_on, late_on| window(&Window { early_on, likely_on, late_on });
        assert_eq!(all(day, day, day), "Window: 2026-11-28 alone.");
        assert_eq!(
            all(day, day, None),
            "Window: 2026-11-28 / 2026-11-28 / later (chance of 10, 50 and 90 %)."
        );
    }
}
