//! Which folder of the domain may use which. The rows stand from the ground up, and none uses what stands above it.

use std::collections::BTreeMap;

use super::scanner::{Named, Place, named};
use super::tokens::{Token, tokens};
use super::{assert_none, sources};

struct Folder {
    name: &'static str,
    /// Folders it may use besides itself.
    uses: &'static [&'static str],
    engine: Engine,
    /// Crates that are no business of this folder.
    without: &'static [&'static str],
}

/// What a folder may use of the engine.
#[derive(PartialEq)]
enum Engine {
    Nothing,
    Error,
    All,
}

const FOLDERS: [Folder; 7] = [
    Folder { name: "base", uses: &[], engine: Engine::Error, without: &[] },
    // What is stored, and pure decisions about it: nothing waits, and nothing asks a store.
    Folder { name: "model", uses: &["base"], engine: Engine::All, without: &["tokio"] },
    Folder { name: "rules", uses: &["model", "base"], engine: Engine::All, without: &["tokio"] },
    Folder { name: "ports", uses: &["rules", "model", "base"], engine: Engine::Nothing, without: &[] },
    Folder { name: "context", uses: &["ports", "rules", "model", "base"], engine: Engine::All, without: &[] },
    Folder {
        name: "use_cases",
        uses: &["context", "ports", "rules", "model", "base"],
        engine: Engine::All,
        without: &[],
    },
    Folder {
        name: "background",
        uses: &["use_cases", "context", "ports", "rules", "model", "base"],
        engine: Engine::All,
        without: &[],
    },
];

#[test]
fn folders_of_the_domain_keep_their_order() {
    assert_none(&domain_faults(&sources("service/src/domain")));
}

/// What the files of the domain, given by their paths below it, use past their folders' doors.
fn domain_faults(files: &BTreeMap<String, String>) -> Vec<String> {
    let mut faults = Vec::new();
    for (file, source) in files {
        match file.split_once('/') {
            Some((folder, _)) => faults.extend(file_faults(folder, file, source)),
            None if file == "mod.rs" => faults.extend(root_faults(source)),
            None => {
                faults.push(format!("service/src/domain/{file}:1: a file of the domain lies in a folder"));
            }
        }
    }
    if !files.contains_key("mod.rs") {
        faults.push("service/src/domain/mod.rs: not there".to_owned());
    }
    for Folder { name, .. } in &FOLDERS {
        if !files.keys().any(|file| file.split_once('/').is_some_and(|(folder, _)| folder == *name)) {
            faults.push(format!("service/src/domain/{name}: on the map of the domain, but not there"));
        }
    }
    faults
}

fn file_faults(folder: &str, file: &str, source: &str) -> Vec<String> {
    let Some(folder) = FOLDERS.iter().find(|known| known.name == folder) else {
        return vec![format!(
            "service/src/domain/{file}:1: the folder {folder} is not on the map of the domain"
        )];
    };
    named(source, &Place::of(&format!("domain/{file}"), "eavesward_service"))
        .iter()
        .filter(|found| breaks(folder, found))
        .map(|found| {
            format!("service/src/domain/{file}:{}: {} may not use {}", found.line, folder.name, found.text())
        })
        .collect()
}

fn breaks(folder: &Folder, found: &Named) -> bool {
    let path: Vec<&str> = found.path.iter().map(String::as_str).collect();
    match path.as_slice() {
        // The domain itself is a fault only where it opens all folders at once.
        ["crate", "domain"] => found.open,
        ["crate", "domain", other, ..] => *other != folder.name && !folder.uses.contains(other),
        ["eavesward_engine", rest @ ..] => match folder.engine {
            Engine::Nothing => true,
            Engine::Error => rest.first() != Some(&"EngineError"),
            Engine::All => false,
        },
        _ => folder.without.iter().any(|target| found.reaches(target)),
    }
}

/// What the root of the domain holds besides the line of each folder.
fn root_faults(source: &str) -> Vec<String> {
    let tokens = tokens(source);
    let mut faults = Vec::new();
    let mut at = 0;
    while at < tokens.len() {
        let folder = folder_line(&tokens[at..]);
        if let Some(name) = folder
            && FOLDERS.iter().any(|known| known.name == name)
        {
            at += 4;
            continue;
        }
        let line = tokens[at].line;
        faults.push(match folder {
            Some(name) => format!("service/src/domain/mod.rs:{line}: {name} is not on the map of the domain"),
            None => format!("service/src/domain/mod.rs:{line}: only `pub mod` lines stand here"),
        });
        // One fault a statement.
        at += tokens[at..].iter().position(|token| token.is(';')).map_or(tokens.len(), |end| end + 1);
    }
    faults
}

/// The name in `pub mod name;` if that is how the tokens begin.
fn folder_line(tokens: &[Token]) -> Option<&str> {
    let [public, module, name, end, ..] = tokens else { return None };
    let plain = public.word() == Some("pub") && module.word() == Some("mod") && end.is(';');
    name.word().filter(|_| plain)
}

mod can_fail {
    use super::*;

    fn faults(file: &str, source: &str) -> Vec<String> {
        file_faults(file.split('/').next().unwrap_or(file), file, source)
    }

    #[test]
    fn upward_paths() {
        for (file, source, fault) in [
            (
                "rules/upkeep.rs",
                "\nuse crate::domain::context::Context;",
                "service/src/domain/rules/upkeep.rs:2: rules may not use crate::domain::context::Context",
            ),
            ("base/ids.rs", "use crate::domain::model::duty::Duty;", "crate::domain::model::duty::Duty"),
            ("base/error.rs", "use eavesward_engine::Day;", "base may not use eavesward_engine::Day"),
            ("base/error.rs", "use eavesward_engine::*;", "base may not use eavesward_engine::*"),
            ("model/task.rs", "fn f() { super::super::rules::f() }", "crate::domain::rules::f"),
            ("model/task.rs", "use super::super::ports as p;", "crate::domain::ports::*"),
            (
                "model/task.rs",
                "async fn f() { tokio::time::sleep(x) }",
                "model may not use tokio::time::sleep",
            ),
            (
                "rules/digest/mod.rs",
                "use super::super::ports::store::Store;",
                "crate::domain::ports::store::Store",
            ),
            ("rules/rain/judge.rs", "use tokio::task;", "rules may not use tokio::task"),
            ("ports/senders.rs", "use eavesward_engine::Day;", "ports may not use eavesward_engine::Day"),
            ("ports/senders.rs", "type A = crate::domain::context::Context;", "ports may not use"),
            (
                "context/mod.rs",
                "use crate::domain::{base::ids, use_cases::tasks};",
                "crate::domain::use_cases::tasks",
            ),
            ("use_cases/tasks.rs", "use crate::domain::background::refresh;", "use_cases may not use"),
            // A test holds to the order as well, and nobody opens all folders at once.
            (
                "model/task.rs",
                "mod tests { use crate::domain::use_cases::tasks::list; }",
                "model may not use",
            ),
            ("background/refresh.rs", "use crate::domain::*;", "background may not use crate::domain::*"),
            (
                "background/refresh.rs",
                "use crate::domain::Context;",
                "background may not use crate::domain::Context",
            ),
        ] {
            let found = faults(file, source);
            assert!(found.len() == 1 && found[0].contains(fault), "{file} {source}: {found:?}");
        }
    }

    #[test]
    fn downward_paths_are_open() {
        for (file, source) in [
            ("base/error.rs", "use eavesward_engine::EngineError; use super::ids::TaskId; use std::fmt;"),
            (
                "model/task.rs",
                "use crate::domain::base::ids::TaskId; use super::duty::Duty; use eavesward_engine::Day;",
            ),
            (
                "rules/digest/mod.rs",
                "use crate::domain::model::task::Task; use super::upkeep; fn f(x: serde::A) {}",
            ),
            ("ports/store/tasks.rs", "use crate::domain::{base, model, rules::upkeep::Inputs};"),
            (
                "context/mod.rs",
                "use crate::domain::ports::store::Store; use eavesward_engine::Day; use tokio::sync::X;",
            ),
            (
                "use_cases/tasks.rs",
                "use crate::domain::{base, context::Context, model, ports, rules}; use crate::domain;",
            ),
            ("background/refresh.rs", "use crate::domain::{context, use_cases::tasks}; use tokio::task;"),
        ] {
            assert_none(&faults(file, source));
        }
    }

    /// Every folder stands above the ones it may use, so that the table itself allows no circle.
    #[test]
    fn the_table_runs_upward() {
        for (at, folder) in FOLDERS.iter().enumerate() {
            for used in folder.uses {
                assert!(FOLDERS[..at].iter().any(|below| below.name == *used), "{} {used}", folder.name);
            }
        }
    }

    #[test]
    fn what_lies_in_the_domain() {
        let of = |files: &[(&str, &str)]| {
            let owned = files.iter().map(|(file, source)| ((*file).to_owned(), (*source).to_owned()));
            domain_faults(&owned.collect())
        };
        let lines: Vec<String> = FOLDERS.iter().map(|folder| format!("pub mod {};", folder.name)).collect();
        let lines = format!("//! The domain.\n\n{}\n", lines.join("\n"));
        let whole = [
            ("mod.rs", lines.as_str()),
            ("base/mod.rs", ""),
            ("model/mod.rs", ""),
            ("rules/rain/mod.rs", ""),
            ("ports/mod.rs", ""),
            ("context/mod.rs", ""),
            ("use_cases/mod.rs", ""),
            ("background/mod.rs", ""),
        ];
        assert_none(&of(&whole));
        assert_eq!(of(&whole[1..]), ["service/src/domain/mod.rs: not there"]);
        assert_eq!(
            of(&whole[..7]),
            ["service/src/domain/background: on the map of the domain, but not there"]
        );
        for (more, fault) in [
            (("task.rs", ""), "service/src/domain/task.rs:1: a file of the domain lies in a folder"),
            (
                ("rounds/mod.rs", ""),
                "service/src/domain/rounds/mod.rs:1: the folder rounds is not on the map of the domain",
            ),
        ] {
            assert_eq!(of(&[&whole[..], &[more]].concat()), [fault]);
        }
        for (source, fault) in [
            ("pub mod base;\npub use base::{A, B};", "mod.rs:2: only `pub mod` lines stand here"),
            ("use self::base::A; pub mod model;", "mod.rs:1: only `pub mod` lines stand here"),
            ("mod base;", "mod.rs:1: only `pub mod` lines stand here"),
            ("pub mod base;\nfn f() { x; y }", "mod.rs:2: only `pub mod` lines stand here"),
            ("pub mod base; pub mod rounds;", "mod.rs:1: rounds is not on the map of the domain"),
        ] {
            let found = root_faults(source);
            assert!(!found.is_empty() && found[0].ends_with(fault), "{source}: {found:?}");
        }
    }
}
