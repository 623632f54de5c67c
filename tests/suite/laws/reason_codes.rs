//! The list of reasons in the document is the one of the code.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// The calls that put a figure into a sentence.
const FIGURES: [&str; 12] = [
    "quantity",
    "measured",
    "same_measure",
    "exactly",
    "temperature",
    "bare",
    "decimal",
    "count",
    "number",
    "percent",
    "day",
    "word",
];
/// Where sentences are made.
const FOLDERS: [&str; 2] = ["service/src/domain", "service/src/http/wire"];

#[test]
fn the_document_lists_every_reason_with_its_figures() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let mut found: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for file in FOLDERS.iter().flat_map(|folder| sources(&root.join(folder))) {
        let text = std::fs::read_to_string(&file).expect("a source");
        if text.contains("sentence::Sentence") {
            read(&text, &mut found);
        }
    }
    assert!(found.len() > 50 && found["accumulated"].contains("limit"), "{found:?}");
    let path = root.join("service/src/http/openapi/reasons.json");
    if std::env::var_os("UPDATE_EXAMPLES").is_some() {
        let text = serde_json::to_string_pretty(&found).expect("JSON") + "\n";
        std::fs::write(&path, text).expect("it is written");
    }
    let listed = std::fs::read_to_string(&path).expect("reasons.json");
    let listed: BTreeMap<String, BTreeSet<String>> = serde_json::from_str(&listed).expect("JSON");
    assert_eq!(
        listed, found,
        "repair it with `UPDATE_EXAMPLES=1 ./tests/run reason_codes`, then UPDATE_OPENAPI"
    );
}

/// The Rust files of a folder and below.
fn sources(folder: &Path) -> Vec<PathBuf> {
    let mut all = Vec::new();
    for entry in std::fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            all.extend(sources(&path));
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            all.push(path);
        }
    }
    all
}

/// Adds the codes of a source and the figures of each. A sentence begins with `of(` and ends where the next begins or its
/// function ends. Figures before the first sentence of a function, as in a closure, belong to each of them.
fn read(text: &str, found: &mut BTreeMap<String, BTreeSet<String>>) {
    let text = text.split("#[cfg(test)]").next().unwrap_or_default();
    for function in text.split("\n}\n") {
        let mut parts = function.split("of(");
        let shared = figures(parts.next().unwrap_or_default());
        for part in parts {
            let head = part.split(')').next().unwrap_or_default();
            // `of(if .. { "one" } else { "other" })` has two codes.
            for code in head.split('"').skip(1).step_by(2).filter(|word| is_word(word)) {
                found.entry(code.to_owned()).or_default().extend(figures(part).union(&shared).cloned());
            }
        }
    }
}

fn figures(text: &str) -> BTreeSet<String> {
    let mut names = BTreeSet::new();
    for call in FIGURES {
        for rest in text.split(&format!(".{call}(")).skip(1) {
            let name = rest.trim_start().strip_prefix('"').and_then(|rest| rest.split('"').next());
            names.extend(name.filter(|name| is_word(name)).map(str::to_owned));
        }
    }
    names
}

fn is_word(text: &str) -> bool {
    !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_lowercase() || byte == b'_')
}
