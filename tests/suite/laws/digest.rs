//! The forms of a digest: whatever people call their things, a table stays a table, a list a list, and a line short.

use chrono::{DateTime, Days, NaiveDate, Utc};
use eavesward_service::domain::base::ids::{AccountId, ComponentId, PropertyId, SystemId};
use eavesward_service::domain::model::duty::{DecidedBy, Duty};
use eavesward_service::domain::model::forecast::DutyForecast;
use eavesward_service::domain::model::hazard::Hazard;
use eavesward_service::domain::model::part::Kind;
use eavesward_service::domain::model::reason::Reason;
use eavesward_service::domain::model::task::{Counted, State, Task, TaskCount, TaskPlace};
use eavesward_service::domain::rules::digest::make::{Digest, DigestScope, MOST_TASKS, make};
use eavesward_service::domain::rules::digest::render::{Format, render};
use proptest::prelude::*;
use std::collections::BTreeSet;
use uuid::Uuid;

fn day(number: u64) -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 1, 1).expect("a date") + Days::new(number)
}

fn at() -> DateTime<Utc> {
    "2026-03-01T12:00:00Z".parse().expect("an instant")
}

fn task(number: u64, property: u128, names: [&str; 3], duty: Duty, state: State) -> Task {
    let [property_name, system_name, component_name] = names.map(str::to_owned);
    let component_id = ComponentId(Uuid::from_u128(number.into()));
    let why = format!("It is time for {component_name}.");
    let forecast = DutyForecast {
        due_on: Some(day(number)),
        decided_by: DecidedBy::LongestInterval,
        ceiling_on: Some(day(number)),
        reasons: ["Not this one.".to_owned(), why].map(Reason::Text).to_vec(),
        hazards: vec![Hazard::Fall, Hazard::LocalCodes],
        ..DutyForecast::new(Some(component_id), component_name, Kind::Vent, duty, day(0))
    };
    let place = TaskPlace {
        account_id: AccountId(Uuid::from_u128(1)),
        property_id: PropertyId(Uuid::from_u128(property)),
        property_name,
        system_id: SystemId(Uuid::from_u128(property + 1000)),
        system_name,
    };
    Task { state, ..Task::of(place, component_id, forecast, day(0), at()) }
}

fn due(count: u64) -> Vec<TaskCount> {
    vec![TaskCount { state: State::Due, duty: Duty::CheckMesh, count }]
}

fn of(names: [&str; 3]) -> Digest {
    make(
        DigestScope { to: Some(day(9)), ..DigestScope::default() },
        [task(1, 1, names, Duty::CheckMesh, State::Due)],
        None,
    )
}

#[test]
fn a_digest_groups_and_adds_up() {
    let tasks = [
        task(1, 7, ["Grove", "shed", "vent"], Duty::CheckMesh, State::Late),
        task(2, 3, ["Terrace", "barrel", "tank"], Duty::RemoveSediment, State::Due),
        task(3, 7, ["Grove", "shed", "gutter"], Duty::ClearGutter, State::Near),
    ];
    let digest = make(DigestScope::default(), tasks, None);
    let names: Vec<&str> = digest.properties.iter().map(|property| property.name.as_str()).collect();
    assert_eq!(names, ["Grove", "Terrace"], "by the earliest date");
    let totals = digest.totals;
    assert_eq!((totals.tasks, totals.late, totals.due, totals.near, totals.resting), (3, 1, 1, 1, 0));
    assert_eq!((totals.systems, totals.properties), (2, 2));
    let minutes = |duties: &[Duty]| duties.iter().map(|duty| u64::from(duty.minutes())).sum::<u64>();
    assert_eq!(totals.minutes, minutes(&[Duty::CheckMesh, Duty::RemoveSediment, Duty::ClearGutter]));
    assert_eq!(digest.properties[0].totals.minutes, minutes(&[Duty::CheckMesh, Duty::ClearGutter]));
    // A ladder is wanted by two of them, and brought once.
    assert_eq!(digest.bring.iter().filter(|thing| **thing == "ladder").count(), 1);
    assert_eq!(digest.hazards, [Hazard::Fall, Hazard::LocalCodes]);
    assert_eq!(
        digest.properties[1].tasks[0].why.as_ref().map(Reason::text).as_deref(),
        Some("It is time for tank.")
    );
    assert_eq!((digest.left_out, digest.note()), (0, None));
}

#[test]
fn what_is_left_out_is_counted() {
    let tasks = || (0..2_500).map(|n| task(n, 1, ["Grove", "shed", "vent"], Duty::CheckMesh, State::Due));
    let digest = make(DigestScope::default(), tasks(), None);
    assert_eq!((digest.listed(), digest.left_out), (MOST_TASKS as u64, 500));
    let counted = Counted { tasks: due(4_000), systems: 3, properties: 2 };
    let digest = make(DigestScope::default(), tasks(), Some(&counted));
    assert_eq!((digest.totals.tasks, digest.totals.systems, digest.left_out), (4_000, 3, 2_000));
    assert_eq!(digest.totals.minutes, 40_000);
    // A count that was taken a moment later and is less than what was read changes nothing.
    let fewer = Counted { tasks: due(10), systems: 1, properties: 1 };
    let digest = make(DigestScope::default(), tasks().take(20), Some(&fewer));
    assert_eq!((digest.totals.tasks, digest.left_out), (20, 0));
}

#[test]
fn no_field_of_the_table_is_a_formula() {
    for name in ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", " =1", "＝1", "  -2"] {
        let text = render(&of([name, name, name]), Format::Csv);
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let task = reader.records().next().expect("a row").expect("a record");
        let guarded: Vec<&str> = task.iter().filter(|field| field.starts_with('\'')).collect();
        assert_eq!(guarded.len(), 3, "{name:?}: {task:?}");
    }
    let harmless = render(&of(["A-1", "1=1", "a@b"]), Format::Csv);
    assert!(!harmless.split(',').any(|field| field.starts_with('\'')), "{harmless}");
}

/// Names with everything that means something to one of the forms.
fn nasty() -> impl Strategy<Value = String> {
    let piece = prop_oneof![
        "[ -~]{1,12}",
        Just("\n".to_owned()),
        Just("\r\n".to_owned()),
        Just("\t".to_owned()),
        Just("\u{1b}[31m".to_owned()),
        Just("\u{202e}".to_owned()),
        Just("\u{2028}".to_owned()),
        Just("**x** <b> [a](http://b) | `c`".to_owned()),
        Just("https://rain.example www.rain.example".to_owned()),
        Just("果樹園".repeat(20)),
        Just("x".repeat(170)),
        Just("\"\",\"".to_owned()),
        any::<char>().prop_map(String::from),
    ];
    proptest::collection::vec(piece, 1..6).prop_map(|pieces| pieces.concat())
}

/// A name as it stands on a line.
fn on_a_line(text: &str) -> String {
    let dropped =
        |c: char| matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    let spaced = |c: char| c.is_control() || c == '\u{2028}' || c == '\u{2029}';
    let text: String =
        text.chars().filter(|c| !dropped(*c)).map(|c| if spaced(c) { ' ' } else { c }).collect();
    text.split(' ').filter(|word| !word.is_empty()).collect::<Vec<_>>().join(" ")
}

/// Columns of a terminal, roughly: wide letters of the texts above take two.
fn columns(line: &str) -> usize {
    line.chars().map(|c| if matches!(c, '\u{2e80}'..='\u{a4cf}') { 2 } else { 1 }).sum()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn names_stay_names_in_every_form(property in nasty(), component in nasty()) {
        let digest = of([&property, "shed", &component]);
        let (property, component) = (on_a_line(&property), on_a_line(&component));

        let text = render(&digest, Format::Text);
        // Marks that take no column of their own make a line of more letters, never of more columns.
        let joining = text.chars().any(|c| matches!(c, '\u{300}'..='\u{36f}' | '\u{200b}'..='\u{200f}' | '\u{fe00}'..='\u{fe0f}' | '\u{20d0}'..='\u{20ff}'));
        for line in text.lines() {
            prop_assert!(joining || columns(line) <= 80, "{line:?}");
            prop_assert!(!line.chars().any(char::is_control), "{line:?}");
        }
        // Put together again, the name is whole: a line is broken at spaces, or inside a word too long for it.
        let letters = |text: &str| text.split_whitespace().collect::<String>();
        prop_assert!(letters(&text).contains(&letters(&property)), "{text}");

        let markdown = render(&digest, Format::Markdown);
        let heading = markdown.lines().find_map(|line| line.strip_prefix("## ")).expect("a heading");
        let mut shown = String::new();
        let mut chars = heading.chars();
        while let Some(c) = chars.next() {
            let plain = c != '\\';
            let c = if plain { c } else { chars.next().expect("a letter behind a backslash") };
            prop_assert!(if plain { !"`*_[]<>#|&!".contains(c) } else { c.is_ascii_punctuation() }, "{heading:?}");
            shown.push(c);
        }
        prop_assert_eq!(&shown, &property);
        prop_assert!(!heading.replace("\\:", "").contains("://") && !heading.to_lowercase().contains("www."));
        prop_assert_eq!(markdown.lines().filter(|line| line.starts_with("- **2026")).count(), 1);

        let table = render(&digest, Format::Csv);
        let mut reader = csv::Reader::from_reader(table.as_bytes());
        let records: Vec<csv::StringRecord> = reader.records().map(|record| record.expect("a record")).collect();
        let kinds: BTreeSet<&str> = records.iter().map(|record| &record[0]).collect();
        prop_assert_eq!(kinds, BTreeSet::from(["task", "property", "total", "bring", "caution"]));
        let unguarded = |field: &str| field.strip_prefix('\'').filter(|rest| *rest == property).map_or(field.to_owned(), str::to_owned);
        prop_assert_eq!(unguarded(&records[0][1]), property);
        prop_assert!(records[0][5].ends_with(&component));
        for field in records.iter().flatten() {
            let first = field.trim_start_matches(' ').chars().next();
            prop_assert!(!matches!(first, Some('=' | '+' | '-' | '@' | '\t' | '\r')), "{field:?}");
        }
    }
}
