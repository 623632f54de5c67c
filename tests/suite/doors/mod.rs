//! Who may use whom. Cargo holds the doors between crates as long as the manifests do; inside the service, rooms and
//! the folders of the domain are modules, and nothing but this test stands between them.
//!
//! A door that breaks is reported as `file:line`. To let a room or folder use another, change its row in [`rooms`] or
//! [`folders`] and say in the commit why the map changes. The lists of exceptions are meant to shrink, and an
//! exception that nothing needs fails too. Each file's `can_fail` shows on made-up sources that its tests can fail.

mod ambient;
mod circles;
mod folders;
mod gates;
mod graph;
mod growing;
mod manifests;
mod outline;
mod plurals;
mod rooms;
mod scanner;
mod tokens;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// The most lines a source file may have: what its path begins with, and the number. The first row that fits counts.
/// The numbers may only shrink.
const LONGEST: [(&str, usize); 2] = [("service/src/domain/", 400), ("", 700)];

/// What stands at the top of the repository, besides names with a leading dot.
const TOP: [&str; 9] = [
    "Cargo.toml",
    "Cargo.lock",
    "README.md",
    "DEVELOPERS.md",
    "service",
    "client",
    "openapi",
    "tests",
    "deploy",
];

#[test]
fn files_stay_short() {
    let mut faults = Vec::new();
    let mut count = 0;
    for dir in ["service", "client", "openapi", "tests"] {
        for (file, source) in sources(dir) {
            count += 1;
            faults.extend(length_fault(&format!("{dir}/{file}"), &source));
        }
    }
    assert!(count > 10, "only {count} source files were found");
    assert_none(&faults);
}

#[test]
fn the_top_holds_what_the_map_says() {
    let names: Vec<String> = fs::read_dir(root())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .collect();
    assert_none(&top_faults(&names));
}

fn length_fault(file: &str, source: &str) -> Option<String> {
    let (_, longest) = LONGEST.into_iter().find(|(dir, _)| file.starts_with(dir))?;
    let lines = source.lines().count();
    (lines > longest).then(|| format!("{file}: {lines} lines, more than {longest}"))
}

fn top_faults(names: &[String]) -> Vec<String> {
    // `target` is where Cargo builds; it is not tracked and need not be there.
    let surplus = names
        .iter()
        .filter(|name| !name.starts_with('.') && *name != "target" && !TOP.contains(&name.as_str()))
        .map(|name| format!("{name}: not on the map of the top"));
    let missing = TOP
        .iter()
        .filter(|name| !names.iter().any(|there| there == *name))
        .map(|name| format!("{name}: on the map of the top, but not there"));
    surplus.chain(missing).collect()
}

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..").canonicalize().expect("the workspace root")
}

/// Every Rust file below `dir` of the workspace: its path from there, and its text.
pub fn sources(dir: &str) -> BTreeMap<String, String> {
    fn collect(base: &Path, dir: &Path, into: &mut BTreeMap<String, String>) {
        for entry in fs::read_dir(dir).into_iter().flatten() {
            let path = entry.expect("a directory entry").path();
            if path.is_dir() {
                collect(base, &path, into);
            } else if path.extension().is_some_and(|extension| extension == "rs") {
                let name = path.strip_prefix(base).expect("a path below its base");
                let text = fs::read_to_string(&path).expect("a source file in UTF-8");
                into.insert(name.to_string_lossy().replace('\\', "/"), text);
            }
        }
    }
    let base = root().join(dir);
    let mut into = BTreeMap::new();
    collect(&base, &base, &mut into);
    into
}

fn assert_none(faults: &[String]) {
    assert!(faults.is_empty(), "{} broken:\n{}", faults.len(), faults.join("\n"));
}

mod can_fail {
    use super::*;

    #[test]
    fn top() {
        let mut names: Vec<String> = TOP.iter().map(|name| (*name).to_owned()).collect();
        names.extend([".git".to_owned(), "target".to_owned()]);
        assert_none(&top_faults(&names));
        names.push("notes.txt".to_owned());
        names.retain(|name| name != "deploy");
        assert_eq!(top_faults(&names).len(), 2);
    }

    #[test]
    fn lengths() {
        let fault = |file: &str, lines: usize| length_fault(file, &"\n".repeat(lines));
        assert_eq!(fault("service/src/domain/model/task.rs", 400), None);
        assert_eq!(
            fault("service/src/domain/model/task.rs", 401).unwrap(),
            "service/src/domain/model/task.rs: 401 lines, more than 400"
        );
        for file in ["service/src/storage/tasks.rs", "service/engine/src/domain.rs", "tests/suite/main.rs"] {
            assert_eq!(fault(file, 700), None, "{file}");
            assert!(fault(file, 701).is_some(), "{file}");
        }
    }
}
