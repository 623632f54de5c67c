//! A feed as iCalendar text (RFC 5545).
//!
//! Every event lasts a whole day and names no time zone, so calendars show it on the property's civil date.
//!
//! DTSTAMP and LAST-MODIFIED say when the date last moved, and SEQUENCE how often it did. They follow only the
//! date, although window, reasons and names may change as well. So the text of a feed changes only with its
//! content, not with each request. The note at the end of a feed that is cut off has no LAST-MODIFIED, because it
//! is not stored when its count changed.

use crate::domain::base::ids::{CalendarId, PropertyId, TaskId};
use crate::domain::base::plural::counted;
use crate::domain::model::calendar::Calendar;
use crate::domain::model::duty::Duty;
use crate::domain::model::forecast::Window;
use crate::domain::model::hazard::Hazard;
use crate::domain::model::part::Kind;
use crate::domain::model::property::Position;
use crate::domain::model::reason::Reason;
use crate::domain::model::task::{Moves, Task};
use chrono::{DateTime, NaiveDate, Utc};
use std::fmt::Write as _;

/// The most octets of a line, without its end (RFC 5545, 3.1).
const WIDTH: usize = 75;

/// How often a calendar program is asked to read the feed again. Judgement: dates move once a day, and after a
/// visit.
const LOOK_AGAIN: &str = "PT6H";

/// One task on its due date.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// The task.
    pub task_id: TaskId,
    /// Its property.
    pub property_id: PropertyId,
    /// The property's name.
    pub property_name: String,
    /// The system's name.
    pub system_name: String,
    /// The component's name.
    pub component_name: String,
    /// Where the property lies, once it has been looked up.
    pub position: Option<Position>,
    /// What the component is.
    pub kind: Kind,
    /// What has to be done.
    pub duty: Duty,
    /// The day it falls due.
    pub due_on: NaiveDate,
    /// How often the date has moved.
    pub sequence: i64,
    /// When it last moved.
    pub changed_at: DateTime<Utc>,
    /// Days before the due date on which the calendar shows an alarm.
    pub lead_days: u32,
    /// Why this date, one sentence each.
    pub reasons: Vec<Reason>,
    /// The predicted window.
    pub window: Option<Window>,
    /// What to be careful of.
    pub hazards: Vec<Hazard>,
}

impl Event {
    /// The event of a task; none if it has no date. The position is not set yet.
    pub fn of(task: Task, moves: Moves, lead_days: u32) -> Option<Self> {
        Some(Self {
            task_id: task.id,
            property_id: task.property_id,
            property_name: task.property_name,
            system_name: task.system_name,
            component_name: task.forecast.component_name,
            position: None,
            kind: task.kind,
            duty: task.duty,
            due_on: task.due_on?,
            sequence: moves.sequence,
            changed_at: moves.changed_at,
            lead_days,
            reasons: task.forecast.reasons,
            window: task.forecast.prediction.and_then(|prediction| prediction.window),
            hazards: task.forecast.hazards,
        })
    }

    fn summary(&self) -> String {
        format!("{}: {} ({})", self.component_name, self.duty.title(), self.system_name)
    }

    fn description(&self) -> String {
        let mut text = String::new();
        // Writing to a string cannot fail.
        let _ = writeln!(text, "{}, about {} min.", self.duty.title(), self.duty.minutes());
        let Self { property_name, system_name, component_name, .. } = self;
        let _ = writeln!(text, "{component_name}, {system_name}, {property_name}");
        let reasons: Vec<String> = self.reasons.iter().map(Reason::text).collect();
        let _ = writeln!(text, "\nWhy this date: {}", reasons.join(" "));
        if let Some(window) = &self.window {
            let date =
                |date: Option<NaiveDate>| date.map_or_else(|| "later".to_owned(), |date| date.to_string());
            let (early, likely, late) = (date(window.early_on), date(window.likely_on), date(window.late_on));
            let _ = writeln!(text, "Window (chance of 10, 50 and 90 %): {early} / {likely} / {late}");
        }
        let _ = writeln!(text, "\nBring: {}", self.duty.facts().bring.join(", "));
        text.push_str("\nBe careful");
        for hazard in &self.hazards {
            let _ = write!(text, "\n- {}: {}", hazard.code().replace('_', " "), hazard.text());
        }
        text
    }
}

/// The tasks that a feed has no room for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LeftOut {
    /// How many tasks.
    pub tasks: u64,
    /// The due date of the first of them.
    pub from: NaiveDate,
}

/// The whole feed.
pub fn write(calendar: &Calendar, events: &[Event], left_out: Option<LeftOut>) -> String {
    let mut out = Lines(String::new());
    out.line("BEGIN", "VCALENDAR");
    out.line("VERSION", "2.0");
    out.line("PRODID", "-//Eavesward//Calendar feed//EN");
    out.line("CALSCALE", "GREGORIAN");
    // Calendar programs older than RFC 7986 read the second name.
    out.text("NAME", &calendar.name);
    out.text("X-WR-CALNAME", &calendar.name);
    out.line("REFRESH-INTERVAL;VALUE=DURATION", LOOK_AGAIN);
    out.line("X-PUBLISHED-TTL", LOOK_AGAIN);
    for event in events {
        write_event(&mut out, event);
    }
    if let Some(left_out) = left_out {
        // No date in the feed has moved since.
        let moved = events.iter().map(|event| event.changed_at).max();
        let at = moved.map_or(calendar.created_at, |moved| moved.max(calendar.created_at));
        write_left_out(&mut out, calendar, left_out, at);
    } else if events.is_empty() {
        // A calendar must have at least one component (RFC 5545, 3.6).
        out.0.push_str(NO_EVENTS);
    }
    out.line("END", "VCALENDAR");
    out.0
}

/// A time zone that no event uses.
const NO_EVENTS: &str = "BEGIN:VTIMEZONE\r\nTZID:Etc/UTC\r\nBEGIN:STANDARD\r\nDTSTART:19700101T000000\r\n\
                         TZOFFSETFROM:+0000\r\nTZOFFSETTO:+0000\r\nEND:STANDARD\r\nEND:VTIMEZONE\r\n";

fn write_event(out: &mut Lines, event: &Event) {
    out.line("BEGIN", "VEVENT");
    out.line("UID", &uid(event.task_id));
    out.stamps(event.changed_at);
    out.line("SEQUENCE", &event.sequence.to_string());
    out.day(event.due_on);
    let summary = event.summary();
    out.text("SUMMARY", &summary);
    out.text("DESCRIPTION", &event.description());
    out.text("LOCATION", &event.property_name);
    if let Some(Position { latitude_deg, longitude_deg }) = event.position {
        out.line("GEO", &format!("{latitude_deg:.6};{longitude_deg:.6}"));
    }
    out.text("CATEGORIES", &event.kind.code().replace('_', " "));
    out.line("TRANSP", "TRANSPARENT");
    out.line("BEGIN", "VALARM");
    out.line("ACTION", "DISPLAY");
    out.text("DESCRIPTION", &summary);
    out.line("TRIGGER", &trigger(event.lead_days));
    out.line("END", "VALARM");
    out.line("END", "VEVENT");
}

/// When the alarm for a lead time rings: at nine in the morning, counted from midnight at the start of the event. A
/// change of the clock on that day makes it eight or ten. Judgement: a gutter is no reason to wake a person.
fn trigger(lead_days: u32) -> String {
    match lead_days {
        0 => "PT9H".to_owned(),
        1 => "-PT15H".to_owned(),
        days => format!("-P{}DT15H", days - 1),
    }
}

/// Adds a note that the feed is cut off, on the first day that is not complete.
fn write_left_out(out: &mut Lines, calendar: &Calendar, left_out: LeftOut, at: DateTime<Utc>) {
    let LeftOut { tasks, from } = left_out;
    out.line("BEGIN", "VEVENT");
    out.line("UID", &note_uid(calendar.id));
    out.stamp("DTSTAMP", at);
    out.day(from);
    let tasks = counted(tasks, "task is", "tasks are");
    out.text("SUMMARY", &format!("This calendar is full: from here on {tasks} missing"));
    let way_out =
        "It has room for 2,000 tasks. Make a calendar for one property, or one that looks fewer days ahead.";
    out.text("DESCRIPTION", way_out);
    out.line("TRANSP", "TRANSPARENT");
    out.line("END", "VEVENT");
}

/// The id of a task's event. It is the same in every feed, for as long as the component is in service.
pub fn uid(task: TaskId) -> String {
    format!("{task}@eavesward")
}

fn note_uid(calendar: CalendarId) -> String {
    format!("{calendar}.rest@eavesward")
}

/// The content lines of a feed.
struct Lines(String);

impl Lines {
    /// A line whose value needs no escaping.
    fn line(&mut self, name: &str, value: &str) {
        fold(&mut self.0, &format!("{name}:{value}"));
    }

    /// A line with text, which is escaped.
    fn text(&mut self, name: &str, value: &str) {
        self.line(name, &escaped(value));
    }

    /// When the content was last changed.
    fn stamps(&mut self, at: DateTime<Utc>) {
        self.stamp("DTSTAMP", at);
        self.stamp("LAST-MODIFIED", at);
    }

    /// An instant.
    fn stamp(&mut self, name: &str, at: DateTime<Utc>) {
        self.line(name, &at.format("%Y%m%dT%H%M%SZ").to_string());
    }

    /// A whole day; the end is the next day, which is not included.
    fn day(&mut self, day: NaiveDate) {
        self.line("DTSTART;VALUE=DATE", &day.format("%Y%m%d").to_string());
        self.line("DTEND;VALUE=DATE", &day.succ_opt().unwrap_or(day).format("%Y%m%d").to_string());
    }
}

/// Text as a value (RFC 5545, 3.3.11). Backslash, semicolon and comma get a backslash in front, and every kind of
/// line end becomes `\\n`. A value cannot have other control characters, so they become spaces.
pub fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + text.len() / 8);
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        match c {
            '\\' | ';' | ',' => out.extend(['\\', c]),
            '\n' => out.push_str("\\n"),
            '\r' => {
                chars.next_if_eq(&'\n');
                out.push_str("\\n");
            }
            '\t' => out.push(c),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// Writes a content line in pieces of at most [`WIDTH`] octets (RFC 5545, 3.1). Each piece but the first has a
/// space in front, which belongs to the cut. No cut splits a character.
fn fold(out: &mut String, line: &str) {
    let mut used = 0;
    for c in line.chars() {
        if used + c.len_utf8() > WIDTH {
            out.push_str("\r\n ");
            used = 1;
        }
        out.push(c);
        used += c.len_utf8();
    }
    out.push_str("\r\n");
}
