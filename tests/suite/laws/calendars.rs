//! Calendar text: whatever people write comes back as they wrote it, and no line is too long.

use crate::support::python::read_with;
use chrono::{DateTime, NaiveDate, Utc};
use eavesward_service::domain::base::ids::{AccountId, CalendarId, PropertyId, TaskId};
use eavesward_service::domain::model::calendar::Calendar;
use eavesward_service::domain::model::duty::Duty;
use eavesward_service::domain::model::hazard::Hazard;
use eavesward_service::domain::model::part::Kind;
use eavesward_service::domain::model::property::Position;
use eavesward_service::domain::model::reason::Reason;
use eavesward_service::domain::rules::ical::{Event, escaped, write};
use proptest::prelude::*;
use uuid::Uuid;

fn at() -> DateTime<Utc> {
    "2026-03-01T12:00:00Z".parse().expect("an instant")
}

fn calendar(name: &str) -> Calendar {
    Calendar {
        id: CalendarId(Uuid::from_u128(1)),
        account_id: AccountId(Uuid::from_u128(2)),
        property_id: None,
        name: name.to_owned(),
        horizon_days: 400,
        hash: [0; 32],
        hint: "ewc_abcdef".to_owned(),
        created_at: at(),
        last_read_at: None,
        revoked_at: None,
    }
}

fn event(number: u128, names: [&str; 3], reason: &str) -> Event {
    let [property_name, system_name, component_name] = names.map(str::to_owned);
    Event {
        task_id: TaskId(Uuid::from_u128(number)),
        property_id: PropertyId(Uuid::from_u128(3)),
        property_name,
        system_name,
        component_name,
        position: Some(Position { latitude_deg: -33.25, longitude_deg: 151.000_000_4 }),
        kind: Kind::Vent,
        duty: Duty::CheckMesh,
        due_on: NaiveDate::from_ymd_opt(2028, 2, 28).expect("a day"),
        sequence: 3,
        changed_at: at(),
        lead_days: 7,
        reasons: vec![Reason::Text(reason.to_owned())],
        window: None,
        hazards: vec![Hazard::Mosquitoes, Hazard::LocalCodes],
    }
}

/// Lines put together again, as RFC 5545 (3.1) has it.
fn unfolded(text: &str) -> Vec<String> {
    text.replace("\r\n ", "").split_terminator("\r\n").map(str::to_owned).collect()
}

/// A value read back (3.3.11).
fn unescaped(value: &str) -> String {
    let (mut out, mut chars) = (String::new(), value.chars());
    while let Some(c) = chars.next() {
        match c {
            '\\' => match chars.next() {
                Some('n' | 'N') => out.push('\n'),
                Some(c @ ('\\' | ';' | ',')) => out.push(c),
                other => panic!("{other:?} behind a backslash in {value:?}"),
            },
            ';' | ',' => panic!("a bare {c} in {value:?}"),
            c => out.push(c),
        }
    }
    out
}

/// What a calendar can hold of a text: one kind of line end, and no other control characters but the tab.
fn held(text: &str) -> String {
    let text = text.replace("\r\n", "\n").replace('\r', "\n");
    text.chars().map(|c| if c.is_control() && c != '\n' && c != '\t' { ' ' } else { c }).collect()
}

/// Texts full of what has a meaning in a calendar, with letters of one to four octets.
fn nasty() -> impl Strategy<Value = String> {
    let piece = prop_oneof![
        Just("\\".to_owned()),
        Just(",".to_owned()),
        Just(";".to_owned()),
        Just(":".to_owned()),
        Just("\"".to_owned()),
        Just("\\n".to_owned()),
        Just("\n".to_owned()),
        Just("\r\n".to_owned()),
        Just("\r".to_owned()),
        Just("\t".to_owned()),
        Just("\u{0}".to_owned()),
        Just("\u{85}".to_owned()),
        Just("\u{2028}".to_owned()),
        Just("END:VCALENDAR".to_owned()),
        Just("BEGIN:VEVENT".to_owned()),
        Just("é".repeat(37)),
        Just("果".repeat(25)),
        Just("🌧".repeat(19)),
        Just(" ".repeat(80)),
        "[a-z]{1,80}",
        any::<char>().prop_map(String::from),
    ];
    proptest::collection::vec(piece, 0..12).prop_map(|pieces| pieces.concat())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn every_text_comes_back_and_every_line_is_short(name in nasty(), system in nasty(), reason in nasty()) {
        let text = write(&calendar(&name), &[event(9, [&name, &system, "vent"], &reason)], None);
        prop_assert!(text.ends_with("END:VCALENDAR\r\n"));
        for line in text.split_terminator("\r\n") {
            prop_assert!(line.len() <= 75, "{} octets: {line:?}", line.len());
            prop_assert!(!line.contains(['\r', '\n', '\0']), "{line:?}");
        }
        let lines = unfolded(&text);
        let value = |name: &str| {
            let mut found = lines.iter().filter_map(|line| line.strip_prefix(&format!("{name}:")));
            found.next().map(unescaped).unwrap_or_default()
        };
        prop_assert_eq!(value("NAME"), held(&name));
        prop_assert_eq!(value("LOCATION"), held(&name));
        prop_assert_eq!(value("SUMMARY"), format!("vent: check the vent's mesh ({})", held(&system)));
        let description = value("DESCRIPTION");
        prop_assert!(description.contains(&format!("Why this date: {}\n", held(&reason))), "{}", description);
        // Nothing that was written into a text begins or ends a part of the calendar.
        for part in ["BEGIN:VEVENT", "END:VEVENT", "BEGIN:VCALENDAR", "END:VCALENDAR", "BEGIN:VALARM"] {
            prop_assert_eq!(lines.iter().filter(|line| *line == part).count(), 1, "{}", part);
        }
        prop_assert_eq!(unescaped(&escaped(&reason)), held(&reason));
    }
}

/// Every length around the end of a line, with letters of one to four octets on it.
#[test]
fn a_foreign_library_reads_what_is_cut_at_every_place() {
    let mut events = Vec::new();
    let mut reasons = Vec::new();
    for letter in ["a", "é", "果", "🌧", "\\", ",", "\n"] {
        for length in 0..80_usize {
            reasons.push(format!("{}{letter}{letter};{letter} ", "x".repeat(length)));
        }
    }
    for (number, reason) in reasons.iter().enumerate() {
        events.push(event(number as u128, ["Grove", reason, "vent"], reason));
    }
    let calendar = calendar("a, b; c\\");
    let read = read_with("read_calendar.py", &write(&calendar, &events, None));
    let found = read["events"].as_array().expect("events");
    assert_eq!((found.len(), &read["name"]), (reasons.len(), &serde_json::json!("a, b; c\\")));
    for (event, reason) in found.iter().zip(&reasons) {
        assert_eq!(event["summary"], format!("vent: check the vent's mesh ({reason})"));
        assert!(event["description"].as_str().expect("a text").contains(reason.as_str()), "{event}");
        assert_eq!((&event["dtstart"], &event["dtend"]), (&"2028-02-28".into(), &"2028-02-29".into()));
        assert_eq!((&event["sequence"], &event["geo"]), (&3.into(), &serde_json::json!([-33.25, 151.0])));
        assert_eq!(event["errors"], serde_json::json!([]));
    }
}

#[test]
fn the_same_tasks_give_the_same_text() {
    let (calendar, events) = (calendar("Upkeep"), [event(1, ["Grove", "shed", "vent"], "It is time.")]);
    assert_eq!(write(&calendar, &events, None), write(&calendar, &events, None));
}
