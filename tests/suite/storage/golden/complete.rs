//! Nothing that is stored is without a golden row: tables, columns, words.

use super::file::texts;
use super::raw::{Raw, TABLES};
use super::{Form as _, Rig, systems};
use eavesward_service::domain::model::account::Scope;
use eavesward_service::domain::model::audit::{ActorKind, ThingKind};
use eavesward_service::domain::model::delivery::{Content, DeliveryState};
use eavesward_service::domain::model::duty::{DecidedBy, Duty};
use eavesward_service::domain::model::hazard::Hazard;
use eavesward_service::domain::model::measure::Measure;
use eavesward_service::domain::model::part::Clock;
use eavesward_service::domain::model::part::{Exposition, Kind, Material, Shade, ValveType};
use eavesward_service::domain::model::reminder::{Cause, ReminderKind, Stage};
use eavesward_service::domain::model::roof::{Canopy, Surface};
use eavesward_service::domain::model::subscription::DigestForm;
use eavesward_service::domain::model::task::State;
use eavesward_service::domain::model::visit::FoundClass;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// Tables without a golden row, and why they need none.
const NO_ROW: [(&str, &str); 9] = [
    ("_sqlx_migrations", "belongs to the database library"),
    ("account_usage", "holds counts, which triggers keep and tests hold to the rows"),
    ("audit_removal", "holds an instant"),
    ("bootstrap", "holds the number 1"),
    ("incarnation", "holds what tells this database from a copy"),
    ("oldest_version", "holds a number"),
    ("rain", "holds a day and a figure"),
    ("refreshes", "holds ids, counters and instants, and is made again by itself"),
    ("unscored", "holds ids, a counter and an instant, and is made again by itself"),
];

/// The columns that golden rows fill, as `table.column`.
fn filled() -> BTreeSet<String> {
    let mut filled = BTreeSet::new();
    for text in texts().values() {
        let cases: BTreeMap<String, Value> = serde_json::from_str(text).unwrap();
        for (table, rows) in cases.values().flat_map(|case| case["today"].as_object().unwrap()) {
            let rows = rows.as_array().unwrap().iter().flat_map(|row| row.as_object().unwrap().keys());
            filled.extend(rows.map(|column| format!("{table}.{column}")));
        }
    }
    filled
}

/// Holds the tables and columns of a migrated database to the golden rows.
pub(super) async fn columns(rig: &Rig) {
    let mut raw = Raw::connect(rig).await;
    let columns = raw.columns().await;
    raw.close().await;
    let filled = filled();
    let mut faults = Vec::new();
    for (table, column) in &columns {
        if NO_ROW.iter().any(|(name, _)| name == table) {
            continue;
        }
        if !TABLES.iter().any(|(name, ..)| name == table) {
            faults.push(format!("{table} is neither in raw::TABLES nor in NO_ROW"));
        }
        let full = format!("{table}.{column}");
        if !filled.contains(&full) {
            faults.push(format!("no golden row has a value of {full}: give it a case"));
        }
    }
    let known = |table: &str| columns.iter().any(|(name, _)| name == table);
    let listed = TABLES.iter().map(|(name, ..)| *name).chain(NO_ROW.iter().map(|(name, _)| *name));
    faults.extend(listed.filter(|name| !known(name)).map(|name| format!("there is no table {name}")));
    assert!(columns.len() > 100, "only {} columns were found", columns.len());
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

/// Words that are stored, and where each of them stands in a golden file: the file, and the key before it.
struct Words {
    name: &'static str,
    codes: Vec<&'static str>,
    places: Vec<(&'static str, &'static str)>,
}

macro_rules! words {
    ($($name:ident: $($file:literal $key:literal),+;)*) => {
        vec![$(Words {
            name: stringify!($name),
            codes: $name::ALL.iter().map(|word| word.code()).collect(),
            places: vec![$(($file, $key)),+],
        }),*]
    };
}

fn stored() -> Vec<Words> {
    words! {
        ActorKind: "audit" "actor";
        Canopy: "systems" "canopy";
        Cause: "reminders" "cause";
        Clock: "forecasts" "clock";
        Content: "deliveries" "content";
        DecidedBy: "forecasts" "decided_by";
        DeliveryState: "deliveries" "state";
        DigestForm: "subscriptions" "form";
        Duty: "forecasts" "duty", "visits" "duty", "duty_settings" "duty";
        Exposition: "components" "exposition";
        FoundClass: "visits" "Class", "answered" "Class";
        Hazard: "forecasts" "hazards";
        Kind: "forecasts" "kind";
        Material: "components" "material";
        Measure: "forecasts" "unit";
        ReminderKind: "reminders" "kind", "reminders" "covers";
        Shade: "components" "shade";
        Stage: "reminders" "stage";
        State: "forecasts" "state";
        Surface: "systems" "surface";
        ThingKind: "audit" "thing";
        ValveType: "components" "valve_type";
    }
}

/// Words that are not stored, and why.
const NOT_STORED: [(&str, &str); 3] = [
    ("ClimateBasis", "what a forecast's rain stands on is worked out for whoever asks"),
    ("Counted", "triggers write it, and tests hold their counts to the rows"),
    ("RoundState", "a round is done when it has a day on which it was"),
];

/// Every text that stands behind a key, anywhere in a value.
fn behind<'a>(value: &'a Value, key: &str, found: &mut BTreeSet<&'a str>) {
    match value {
        Value::Object(fields) => {
            for (name, value) in fields {
                if name == key {
                    let each = value.as_array().map_or(std::slice::from_ref(value), Vec::as_slice);
                    // Several words in one text are a list of them, or one that has blanks.
                    for text in each.iter().filter_map(Value::as_str) {
                        found.insert(text);
                        found.extend(text.split_whitespace());
                    }
                }
                behind(value, key, found);
            }
        }
        Value::Array(values) => values.iter().for_each(|value| behind(value, key, found)),
        _ => {}
    }
}

#[test]
fn every_stored_word_has_a_golden_row() {
    let files: BTreeMap<String, Value> =
        texts().into_iter().map(|(name, text)| (name, serde_json::from_str(&text).unwrap())).collect();
    let scopes = Words {
        name: "Scope",
        codes: Scope::ALL.iter().map(|scope| scope.as_str()).collect(),
        places: vec![("keys", "scopes")],
    };
    let mut faults = Vec::new();
    for Words { name, codes, places } in stored().into_iter().chain([scopes]) {
        for (file, key) in places {
            let mut found = BTreeSet::new();
            behind(&files[file], key, &mut found);
            let missing: Vec<&str> = codes.iter().copied().filter(|code| !found.contains(code)).collect();
            if !missing.is_empty() {
                faults.push(format!("{name}: {file}.json has no {key} of {}", missing.join(", ")));
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn every_kind_of_part_has_a_case() {
    let cases = systems::Components::cases();
    let has = |kind| cases.iter().any(|case| case.value.facts.part.kind() == kind);
    let missing: Vec<&str> = Kind::ALL.iter().filter(|kind| !has(**kind)).map(|kind| kind.code()).collect();
    assert!(missing.is_empty(), "no component of the cases is a {}", missing.join(", "));
}

/// The names of the lists of words in the service's sources.
fn lists(dir: &Path, found: &mut BTreeSet<String>) {
    for entry in std::fs::read_dir(dir).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            lists(&path, found);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            let text = std::fs::read_to_string(&path).unwrap();
            let mut lines = text.lines();
            while lines.by_ref().any(|line| line.trim() == "words! {") {
                let name = lines.by_ref().find(|line| !line.trim().starts_with("///"));
                let name = name.and_then(|line| line.trim().strip_suffix(" {"));
                found.insert(name.expect("a list of words begins with its name").to_owned());
            }
        }
    }
}

#[test]
fn every_list_of_words_is_stored_or_excused() {
    let mut found = BTreeSet::new();
    lists(&Path::new(env!("CARGO_MANIFEST_DIR")).join("../service/src"), &mut found);
    let known = stored().into_iter().map(|words| words.name).chain(NOT_STORED.iter().map(|(name, _)| *name));
    let known: BTreeSet<String> = known.map(str::to_owned).collect();
    assert_eq!(found, known, "the lists in the sources, and those in this file");
}
