//! The golden files: read, compared, and written anew when that is asked for.

use super::pressed;
use serde::Deserialize;
use serde_json::value::RawValue;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::path::PathBuf;
use std::sync::{Mutex, PoisonError};

/// A row by its columns; those without a value are left out. JSON text stands there to the byte.
pub(super) type Row = BTreeMap<String, Box<RawValue>>;
/// The rows of a case by their tables.
pub(super) type Tables = BTreeMap<String, Vec<Row>>;

/// The forms that the rows of a case have, or had.
#[derive(Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Forms {
    /// The one that is written.
    pub(super) today: Tables,
    /// Those that earlier versions wrote, latest first.
    #[serde(default)]
    before: Vec<Tables>,
}

impl Forms {
    /// A form by its number: 0 for that of today.
    pub(super) fn form(&self, number: usize) -> Option<&Tables> {
        match number.checked_sub(1) {
            None => Some(&self.today),
            Some(index) => self.before.get(index),
        }
    }
}

/// Tests of both databases share the files.
static FILES: Mutex<()> = Mutex::new(());

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("data/stored")
}

/// The cases of a golden file; none where there is no file yet.
fn read(name: &str) -> BTreeMap<String, Forms> {
    let path = folder().join(name).with_extension("json");
    match std::fs::read_to_string(&path) {
        Ok(text) => serde_json::from_str(&text).unwrap_or_else(|error| panic!("{}: {error}", path.display())),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => BTreeMap::new(),
        Err(error) => panic!("{}: {error}", path.display()),
    }
}

/// The text of each golden file, by its name without the ending.
pub(super) fn texts() -> BTreeMap<String, String> {
    let _held = FILES.lock().unwrap_or_else(PoisonError::into_inner);
    let entries = std::fs::read_dir(folder()).expect("the folder of the golden files");
    let read = |entry: std::io::Result<std::fs::DirEntry>| {
        let path = entry.expect("a directory entry").path();
        let name = path.file_stem()?.to_str()?.to_owned();
        (path.extension()? == "json").then(|| (name, std::fs::read_to_string(&path).expect("UTF-8")))
    };
    entries.filter_map(read).collect()
}

/// The golden rows of a form. Where `UPDATE_GOLDEN` is set, what was written becomes the form of today first, and what was
/// that before is kept.
pub(super) fn settled(name: &str, written: &BTreeMap<String, Tables>) -> BTreeMap<String, Forms> {
    let _held = FILES.lock().unwrap_or_else(PoisonError::into_inner);
    let mut golden = read(name);
    if std::env::var_os("UPDATE_GOLDEN").is_none() {
        return golden;
    }
    let mut changed = false;
    for (case, found) in written {
        changed |= match golden.get_mut(case) {
            Some(forms) => forms.follow(case, found),
            None => golden.insert(case.clone(), Forms { today: found.clone(), before: Vec::new() }).is_none(),
        };
    }
    if changed {
        let path = folder().join(name).with_extension("json");
        std::fs::write(&path, printed(&golden)).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    }
    golden
}

impl Forms {
    /// Makes what was written the form of today; says whether it was another one.
    fn follow(&mut self, case: &str, found: &Tables) -> bool {
        if differences(case, &self.today, found).is_empty() {
            return false;
        }
        self.before.retain(|before| !differences(case, before, found).is_empty());
        self.before.insert(0, std::mem::replace(&mut self.today, found.clone()));
        true
    }
}

/// What is compared of a column.
fn shown(column: &str, written: Option<&RawValue>) -> String {
    match written {
        Some(written) if column == pressed::COLUMN => pressed::inside(written),
        Some(written) => written.get().to_owned(),
        None => "nothing".to_owned(),
    }
}

/// How what was written differs from the golden rows of a case, column by column.
pub(super) fn differences(case: &str, expected: &Tables, found: &Tables) -> Vec<String> {
    let mut faults = Vec::new();
    let none = Vec::new();
    for table in expected.keys().chain(found.keys()).collect::<BTreeSet<_>>() {
        let rows = (expected.get(table).unwrap_or(&none), found.get(table).unwrap_or(&none));
        if rows.0.len() != rows.1.len() {
            let counts = (rows.0.len(), rows.1.len());
            faults.push(format!("{table} of {case:?}: expected {} rows, found {}", counts.0, counts.1));
        }
        for (number, (expected, found)) in (1..).zip(rows.0.iter().zip(rows.1)) {
            for column in expected.keys().chain(found.keys()).collect::<BTreeSet<_>>() {
                let shown = [expected, found].map(|row| shown(column, row.get(column).map(AsRef::as_ref)));
                if shown[0] != shown[1] {
                    faults.push(format!(
                        "{table}.{column} of {case:?}, row {number}:\n  expected {}\n  found    {}",
                        shown[0], shown[1]
                    ));
                }
            }
        }
    }
    faults
}

/// The text of a golden file.
fn printed(golden: &BTreeMap<String, Forms>) -> String {
    let cases: Vec<String> = golden.iter().map(|(name, forms)| case(name, forms)).collect();
    format!("{{\n{}\n}}\n", cases.join(",\n"))
}

fn case(name: &str, forms: &Forms) -> String {
    let mut text = format!("  {}: {{\n    \"today\": {}", quoted(name), tables(&forms.today, "    "));
    if !forms.before.is_empty() {
        let before: Vec<String> =
            forms.before.iter().map(|form| format!("      {}", tables(form, "      "))).collect();
        let _ = write!(text, ",\n    \"before\": [\n{}\n    ]", before.join(",\n"));
    }
    text + "\n  }"
}

fn tables(tables: &Tables, margin: &str) -> String {
    let each = tables.iter().map(|(table, rows)| {
        let rows: Vec<String> = rows.iter().map(|row| columns(row, &format!("{margin}    "))).collect();
        format!("{margin}  {}: [\n{}\n{margin}  ]", quoted(table), rows.join(",\n"))
    });
    format!("{{\n{}\n{margin}}}", each.collect::<Vec<_>>().join(",\n"))
}

/// Plain columns on one line, those that hold JSON on lines of their own.
fn columns(row: &Row, margin: &str) -> String {
    let inner = format!("{margin}  ");
    let (mut plain, mut lines) = (Vec::new(), Vec::new());
    for (column, written) in row {
        let name = quoted(column);
        if column == pressed::COLUMN {
            lines.push(format!("{inner}{name}: {}", pressed::printed(written, &inner)));
        } else if written.get().starts_with(['{', '[']) {
            lines.push(format!("{inner}{name}: {}", written.get()));
        } else {
            plain.push(format!("{name}: {}", written.get()));
        }
    }
    lines.insert(0, format!("{inner}{}", plain.join(", ")));
    format!("{margin}{{\n{}\n{margin}}}", lines.join(",\n"))
}

fn quoted(text: &str) -> String {
    serde_json::to_string(text).expect("JSON")
}

mod can_fail {
    use super::*;

    fn rows(text: &str) -> Tables {
        serde_json::from_str(text).unwrap()
    }

    #[test]
    fn a_changed_form_is_seen_and_the_one_before_is_kept() {
        let old = rows(r#"{"systems": [{"id": 1, "roof": {"area":1.5}}]}"#);
        let new = rows(r#"{"systems": [{"id": 1, "roof": {"plan_area":1.5}}]}"#);
        assert_eq!(differences("a", &old, &old), Vec::<String>::new());
        let seen = differences("a", &old, &new);
        assert_eq!(seen.len(), 1);
        assert!(
            seen[0].contains("systems.roof of \"a\"") && seen[0].contains("{\"plan_area\":1.5}"),
            "{seen:?}"
        );
        assert_eq!(differences("a", &old, &rows("{}")).len(), 1, "a row that is not written");
        let more = rows(r#"{"systems": [{"id": 1, "roof": {"area":1.5}, "note": "b"}]}"#);
        assert_eq!(differences("a", &old, &more).len(), 1, "a column that is new");
        let mut forms = Forms { today: old.clone(), before: Vec::new() };
        assert!(!forms.follow("a", &old));
        assert!(forms.follow("a", &new));
        let text = printed(&BTreeMap::from([("a".to_owned(), forms)]));
        let read: BTreeMap<String, Forms> = serde_json::from_str(&text).unwrap();
        assert_eq!(differences("a", read["a"].form(0).unwrap(), &new), Vec::<String>::new());
        assert_eq!(differences("a", read["a"].form(1).unwrap(), &old), Vec::<String>::new());
        assert!(read["a"].form(2).is_none());
        // Back again: no form is kept twice.
        let mut forms = read["a"].clone();
        assert!(forms.follow("a", &old));
        assert_eq!(forms.before.len(), 1);
    }
}
