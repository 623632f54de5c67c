//! Who may use whom. Cargo holds the doors between crates as long as the manifests do; inside the service, rooms are
//! modules and nothing but this test stands between them.
//!
//! A door that breaks is reported as `file:line`. To let a room use another, change [`ROOMS`] and say in the commit
//! why the map changes; the lists of exceptions are meant to shrink, and an exception that nothing needs fails too.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

#[path = "support/scanner.rs"]
mod scanner;
#[path = "support/tokens.rs"]
mod tokens;

use scanner::{Named, Place, named, pulled_in};

const OURS: [&str; 5] =
    ["eavesward_contract", "eavesward_engine", "eavesward_service", "eavesward_client", "eavesward_tests"];
const HTTP_CRATES: [&str; 7] = [
    "actix_web",
    "actix_http",
    "tracing_actix_web",
    "actix_web_prom",
    "utoipa",
    "utoipa_actix_web",
    "utoipa_swagger_ui",
];
const SQL_CRATES: [&str; 1] = ["sqlx"];

/// A room of the service: a module below its `src`.
struct Room {
    name: &'static str,
    /// Rooms it may use besides itself.
    uses: &'static [&'static str],
    /// Crates of this workspace it may use.
    ours: &'static [&'static str],
    /// Crates that are no business of this room.
    without: &'static [&'static [&'static str]],
}

const ROOMS: [Room; 10] = [
    Room {
        name: "domain",
        uses: &[],
        ours: &["eavesward_engine"],
        without: &[&HTTP_CRATES, &SQL_CRATES, &["reqwest"]],
    },
    Room { name: "storage", uses: &["domain"], ours: &[], without: &[&HTTP_CRATES] },
    Room { name: "http", uses: &["domain"], ours: &["eavesward_contract"], without: &[&SQL_CRATES] },
    Room { name: "jobs", uses: &["domain"], ours: &[], without: &[&HTTP_CRATES, &SQL_CRATES] },
    // What goes out to addresses that callers chose goes through this door alone.
    Room { name: "outbound", uses: &["domain"], ours: &[], without: &[&HTTP_CRATES, &SQL_CRATES] },
    Room { name: "pages", uses: &["domain"], ours: &[], without: &[&SQL_CRATES] },
    // Settings name what they set: a log format, a limit of the domain.
    Room { name: "config", uses: &["domain", "telemetry"], ours: &[], without: &[&HTTP_CRATES, &SQL_CRATES] },
    Room { name: "telemetry", uses: &[], ours: &[], without: &[&SQL_CRATES] },
    Room {
        name: "server",
        uses: &["domain", "storage", "http", "jobs", "outbound", "pages", "config", "telemetry"],
        ours: &["eavesward_contract", "eavesward_engine"],
        without: &[],
    },
    // The binary reads the settings and hands them to the server; storage and http do not meet in it.
    Room { name: "main", uses: &["config", "telemetry", "server"], ours: &[], without: &[&SQL_CRATES] },
];

/// Rooms whose absence would mean that this test looks in the wrong place.
const BUILT: [&str; 4] = ["domain", "storage", "http", "jobs"];

/// A crate of the workspace other than the service, and what its sources may not use.
struct House {
    dir: &'static str,
    ours: &'static [&'static str],
    without: &'static [&'static str],
    /// A feature whose code may use what the rest may not.
    except_under: Option<&'static str>,
}

const HOUSES: [House; 3] = [
    House {
        dir: "service/engine",
        ours: &[],
        without: &[
            "chrono",
            "chrono_tz",
            "serde",
            "serde_json",
            "log",
            "tracing",
            "rand",
            "getrandom",
            "std::fs",
            "std::net",
            "std::thread",
            "std::time",
            "std::env",
            "std::process",
        ],
        except_under: None,
    },
    House {
        dir: "openapi",
        ours: &[],
        without: &["actix_web", "utoipa", "sqlx", "tokio", "reqwest"],
        except_under: Some("openapi"),
    },
    House {
        dir: "client",
        ours: &["eavesward_contract"],
        without: &["actix_web", "utoipa", "sqlx"],
        except_under: None,
    },
];

/// Time and chance that come from the machine instead of from a parameter. A name with a small first letter is a
/// path from its crate on, any other the end of a path.
const AMBIENT: [&str; 16] = [
    "Utc::now",
    "Local::now",
    "SystemTime::now",
    "Instant::now",
    "Timestamp::now",
    "Uuid::now_v1",
    "Uuid::now_v6",
    "Uuid::now_v7",
    "Uuid::new_v4",
    "rand",
    "fastrand",
    // Not all of getrandom: naming its error takes nothing from the machine.
    "getrandom::fill",
    "getrandom::fill_uninit",
    "getrandom::u32",
    "getrandom::u64",
    "RandomState::new",
];

/// Where the machine's clock and chance come in: a file or folder, what it may use, and why. May only shrink.
const AMBIENT_ALLOWED: [(&str, &[&str], &str); 3] = [
    ("service/src/domain/base/clock.rs", &["Utc::now"], "the one clock that everything else is handed"),
    (
        "service/src/domain/base/ids.rs",
        &["Uuid::now_v7", "getrandom::fill"],
        "the one source of ids and keys",
    ),
    (
        "client/src/client.rs",
        &["Instant::now", "Uuid::new_v4"],
        "the deadline of a call, its idempotency key and the jitter of its retries",
    ),
];

/// The most lines a source file may have. May only shrink.
const LONGEST: usize = 700;

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
fn rooms_keep_their_doors() {
    let files = sources("service/src");
    let mut faults: Vec<String> = BUILT
        .iter()
        .filter(|room| !files.keys().any(|file| room_of(file) == **room))
        .map(|room| format!("service/src: the room {room} is not there"))
        .collect();
    faults.extend(files.iter().flat_map(|(file, source)| room_faults(file, source)));
    assert_none(&faults);
}

#[test]
fn houses_keep_their_doors() {
    for house in &HOUSES {
        let files = sources(&format!("{}/src", house.dir));
        assert!(!files.is_empty(), "{}/src holds no source", house.dir);
        let faults: Vec<String> =
            files.iter().flat_map(|(file, source)| house_faults(house, file, source)).collect();
        assert_none(&faults);
    }
}

#[test]
fn clock_and_chance_come_in_by_one_door() {
    let mut faults = Vec::new();
    let mut used = BTreeSet::new();
    for dir in ["service/src", "service/engine/src", "openapi/src", "client/src"] {
        for (file, source) in sources(dir) {
            let (broken, exceptions) = ambient_faults(&format!("{dir}/{file}"), &source);
            faults.extend(broken);
            used.extend(exceptions);
        }
    }
    for (place, allowed, _) in AMBIENT_ALLOWED {
        for what in allowed.iter().filter(|what| !used.contains(&(place, **what))) {
            faults.push(format!("{place} does not use {what}: strike the exception"));
        }
    }
    assert_none(&faults);
}

#[test]
fn manifests_keep_the_doors_between_crates() {
    for (dir, check) in [
        ("service/engine", engine_manifest as fn(&Manifest) -> Vec<String>),
        ("openapi", contract_manifest),
        ("client", client_manifest),
        ("service", service_manifest),
    ] {
        let text = fs::read_to_string(root().join(dir).join("Cargo.toml")).unwrap();
        let manifest = Manifest::read(&text);
        assert!(!manifest.dependencies.is_empty(), "{dir}/Cargo.toml: no dependency was read");
        let faults: Vec<String> =
            check(&manifest).into_iter().map(|fault| format!("{dir}/Cargo.toml: {fault}")).collect();
        assert_none(&faults);
    }
}

#[test]
fn files_stay_short() {
    let mut faults = Vec::new();
    let mut count = 0;
    for dir in ["service", "client", "openapi", "tests"] {
        for (file, source) in sources(dir) {
            count += 1;
            let lines = source.lines().count();
            if lines > LONGEST {
                faults.push(format!("{dir}/{file}: {lines} lines, more than {LONGEST}"));
            }
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

fn room_of(file: &str) -> &str {
    let first = file.split('/').next().unwrap_or(file);
    first.strip_suffix(".rs").unwrap_or(first)
}

/// What a file of the service, given by its path below `src`, uses past its room's doors.
fn room_faults(file: &str, source: &str) -> Vec<String> {
    // The library's root only names the rooms; what it would re-export could be reached from all of them.
    let root = Room { name: "lib", uses: &[], ours: &[], without: &[&HTTP_CRATES, &SQL_CRATES] };
    let name = room_of(file);
    let Some(room) = ROOMS.iter().chain([&root]).find(|room| room.name == name) else {
        return vec![format!("service/src/{file}:1: the room {name} is not on the map")];
    };
    let mut faults = pulled_in_faults(&format!("service/src/{file}"), source);
    for found in named(source, &Place::of(file, "eavesward_service")) {
        let path: Vec<&str> = found.path.iter().map(String::as_str).collect();
        let broken = match path.as_slice() {
            // The crate's root itself is a fault only where it opens all rooms at once.
            ["crate"] => found.open,
            ["crate", other, ..] => *other != room.name && !room.uses.contains(other),
            [first, ..] if OURS.contains(first) => !room.ours.contains(first),
            _ => room.without.iter().copied().flatten().any(|target| found.reaches(target)),
        };
        if broken {
            faults.push(format!("service/src/{file}:{}: {name} may not use {}", found.line, found.text()));
        }
    }
    faults
}

/// What a file of another crate, given by its path below `src`, uses past its crate's doors.
fn house_faults(house: &House, file: &str, source: &str) -> Vec<String> {
    let shown = format!("{}/src/{file}", house.dir);
    let mut faults = pulled_in_faults(&shown, source);
    let place = Place { without_feature: house.except_under, ..Place::of(file, "") };
    // A crate's own binaries and examples see its library by name.
    let itself = match house.dir {
        "client" => "eavesward_client",
        _ => "",
    };
    for found in named(source, &place) {
        let ours = OURS
            .iter()
            .filter(|name| **name != itself && !house.ours.contains(name))
            .any(|name| found.path[0] == **name);
        if ours || house.without.iter().any(|target| found.reaches(target)) {
            faults.push(format!("{shown}:{}: {} may not use {}", found.line, house.dir, found.text()));
        }
    }
    faults
}

fn pulled_in_faults(file: &str, source: &str) -> Vec<String> {
    pulled_in(source)
        .iter()
        .map(|line| format!("{file}:{line}: source is pulled in by its place on disk, past the doors"))
        .collect()
}

/// Uses of [`AMBIENT`] that nothing allows, and the exceptions that were needed.
fn ambient_faults(file: &str, source: &str) -> (Vec<String>, Vec<(&'static str, &'static str)>) {
    let mut faults = Vec::new();
    let mut used = Vec::new();
    for found in named(source, &Place::of(file, "")) {
        for what in AMBIENT.into_iter().filter(|what| is_ambient(&found, what)) {
            let exception = AMBIENT_ALLOWED.iter().find(|(place, allowed, _)| {
                let inside = file
                    .strip_prefix(place)
                    .is_some_and(|rest| rest.is_empty() || rest.starts_with(['/', '.']));
                inside && allowed.contains(&what)
            });
            match exception {
                Some((place, ..)) => used.push((*place, what)),
                None => faults.push(format!("{file}:{}: {what} is taken from the machine", found.line)),
            }
        }
    }
    (faults, used)
}

fn is_ambient(found: &Named, what: &str) -> bool {
    if what.starts_with(char::is_lowercase) { found.reaches(what) } else { found.ends_in(what) }
}

/// The dependency lists of a Cargo.toml, read line by line: enough for the plain form that ours keep.
struct Manifest {
    /// (table, crate, the rest of its line)
    dependencies: Vec<(String, String, String)>,
}

impl Manifest {
    fn read(text: &str) -> Self {
        let mut dependencies = Vec::new();
        let mut table = String::new();
        for line in text.lines().map(|line| line.split('#').next().unwrap_or(line).trim()) {
            if let Some(header) = line.strip_prefix('[') {
                header.trim_end_matches(']').clone_into(&mut table);
                // `[dependencies.name]` is an entry as well as a table.
                if let Some((before, name)) = table.rsplit_once("dependencies.") {
                    dependencies.push((format!("{before}dependencies"), name.to_owned(), String::new()));
                }
            } else if table.ends_with("dependencies")
                && let Some((key, value)) = line.split_once('=')
            {
                let (name, detail) = key.trim().split_once('.').unwrap_or((key.trim(), ""));
                let detail = format!("{detail} {}", value.trim());
                dependencies.push((table.clone(), name.trim_matches('"').to_owned(), detail));
            }
        }
        Self { dependencies }
    }

    /// Dependencies that are ours or listed in `without`, in whatever table, save `allowed`.
    fn refused(&self, allowed: &[&str], without: &[&str]) -> Vec<String> {
        self.dependencies
            .iter()
            .filter(|(_, name, detail)| {
                let ours = name.starts_with("eavesward-") && !allowed.contains(&name.as_str());
                // A new name for a crate would pass every other check by.
                ours || without.contains(&name.as_str()) || detail.contains("package")
            })
            .map(|(table, name, _)| format!("[{table}] may not hold {name}"))
            .collect()
    }
}

fn engine_manifest(manifest: &Manifest) -> Vec<String> {
    manifest.refused(
        &[],
        &[
            "chrono",
            "chrono-tz",
            "serde",
            "serde_json",
            "log",
            "tracing",
            "rand",
            "getrandom",
            "tokio",
            "uuid",
        ],
    )
}

fn contract_manifest(manifest: &Manifest) -> Vec<String> {
    let mut faults = manifest.refused(&[], &["actix-web", "sqlx", "tokio", "reqwest"]);
    for (_, _, detail) in manifest.dependencies.iter().filter(|(_, name, _)| name == "utoipa") {
        if !detail.contains("optional = true") {
            faults.push("utoipa has to be optional, or every SDK user builds it".to_owned());
        }
    }
    faults
}

fn client_manifest(manifest: &Manifest) -> Vec<String> {
    let mut faults = manifest.refused(&["eavesward-contract"], &["actix-web", "sqlx", "utoipa"]);
    for (_, _, detail) in manifest.dependencies.iter().filter(|(_, name, _)| name == "eavesward-contract") {
        if detail.contains("openapi") {
            faults.push("eavesward-contract's feature openapi is the service's alone".to_owned());
        }
    }
    faults
}

fn service_manifest(manifest: &Manifest) -> Vec<String> {
    manifest.refused(&["eavesward-contract", "eavesward-engine"], &["openssl", "native-tls", "rand"])
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
fn sources(dir: &str) -> BTreeMap<String, String> {
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

/// A door test that cannot fail is a defect.
mod can_fail {
    use super::*;

    #[test]
    fn rooms() {
        for (file, source, fault) in [
            (
                "domain/task.rs",
                "use crate::storage::Db;",
                "domain/task.rs:1: domain may not use crate::storage::Db",
            ),
            (
                "domain/task.rs",
                "\nuse crate::{domain::Day, http::Page};",
                ":2: domain may not use crate::http::Page",
            ),
            ("domain.rs", "fn f() { super::jobs::run() }", "domain may not use crate::jobs::run"),
            ("domain/task.rs", "use crate::*;", "domain may not use crate::*"),
            ("domain/task.rs", "use crate::{self as all};", "domain may not use crate::*"),
            ("domain/task.rs", "mod tests { use eavesward_contract::Task; }", "eavesward_contract::Task"),
            ("domain/task.rs", "#[derive(sqlx::FromRow)] struct A;", "sqlx::FromRow"),
            ("domain/task.rs", "use actix_web as web;", "actix_web"),
            ("domain/task.rs", "#[derive(utoipa::ToSchema)] struct A;", "utoipa::ToSchema"),
            ("domain/task.rs", "#[path = \"../storage/db.rs\"] mod db;", "by its place on disk"),
            ("storage/mod.rs", "use super::http::Page;", "storage may not use crate::http::Page"),
            ("storage/task.rs", "use eavesward_contract::Task;", "storage may not use"),
            ("storage/task.rs", "use actix_web::web::Data;", "storage may not use"),
            ("http/task.rs", "type A = crate::storage::Db;", "http may not use crate::storage::Db"),
            ("http/task.rs", "use sqlx::Row;", "http may not use sqlx::Row"),
            ("http/task.rs", "use crate::config::Config;", "http may not use crate::config::Config"),
            ("jobs/mod.rs", "use crate::{domain::Clock, server};", "jobs may not use crate::server"),
            ("pages/mod.rs", "use crate::http::Problem;", "pages may not use crate::http::Problem"),
            ("telemetry.rs", "use crate::config::Log;", "telemetry may not use crate::config::Log"),
            ("lib.rs", "pub mod storage; pub use storage::Db;", "lib may not use crate::storage::Db"),
            ("main.rs", "use eavesward_service::storage::Db;", "main may not use crate::storage::Db"),
            ("extra/mod.rs", "", "the room extra is not on the map"),
        ] {
            let faults = room_faults(file, source);
            assert!(faults.len() == 1 && faults[0].contains(fault), "{file} {source}: {faults:?}");
        }
        for (file, source) in [
            ("domain/task.rs", "use crate::domain::Day; use eavesward_engine::Day as D; // crate::storage"),
            ("storage/db.rs", "use crate::domain::Day; use sqlx::Row; pub(crate) use crate::storage::x;"),
            ("http/task.rs", "use crate::domain; use eavesward_contract::Task; use actix_web::web;"),
            ("server/mod.rs", "use crate::{config, http, storage}; use sqlx::Row;"),
            ("lib.rs", "pub mod domain; pub mod storage; mod http;"),
            ("main.rs", "use eavesward_service::{config::Config, server};"),
        ] {
            assert_none(&room_faults(file, source));
        }
    }

    #[test]
    fn houses() {
        let [engine, contract, client] = &HOUSES;
        for (house, source) in [
            (engine, "use std::{fmt, time::Instant};"),
            (engine, "fn f() { std::env::var(\"A\") }"),
            (engine, "use std::*;"),
            (engine, "#[derive(serde::Serialize)] struct A;"),
            (engine, "use eavesward_contract::Task;"),
            (contract, "#[derive(utoipa::ToSchema)] struct A;"),
            (contract, "use eavesward_engine::Day;"),
            (client, "use eavesward_service::server;"),
            (client, "use sqlx::Row;"),
        ] {
            assert_eq!(house_faults(house, "a.rs", source).len(), 1, "{} {source}", house.dir);
        }
        assert_none(&house_faults(engine, "a.rs", "use std::{collections::BTreeMap, fmt}; use crate::rain;"));
        assert_none(&house_faults(
            contract,
            "a.rs",
            "#[cfg_attr(feature = \"openapi\", derive(utoipa::ToSchema))] struct A;",
        ));
        assert_none(&house_faults(client, "bin/x/main.rs", "use eavesward_client::Client;"));
    }

    #[test]
    fn clock_and_chance() {
        for source in [
            "fn f() { chrono::Utc::now() }",
            "use chrono::Utc as Zulu; fn f() { Zulu::now() }",
            "fn f(x: Option<A>) { x.unwrap_or_else(SystemTime::now) }",
            "fn f() { uuid::Uuid::now_v7() }",
            "use rand::Rng;",
            "fn f() { getrandom::fill(&mut a) }",
            "use getrandom::*;",
        ] {
            let (faults, used) = ambient_faults("service/src/domain/task.rs", source);
            assert!(!faults.is_empty() && used.is_empty(), "{source}: {faults:?}");
        }
        assert_none(&ambient_faults("service/src/domain/error.rs", "struct A(getrandom::Error);").0);
        let (faults, used) = ambient_faults("service/src/domain/clock.rs", "fn f() { Utc::now() }");
        assert_eq!((faults.len(), used), (0, vec![("service/src/domain/clock.rs", "Utc::now")]));
        // An exception is for one thing in one place.
        assert_eq!(ambient_faults("service/src/domain/clock.rs", "fn f() { Local::now() }").0.len(), 1);
        assert_eq!(ambient_faults("service/src/server_side.rs", "fn f() { Instant::now() }").0.len(), 1);
    }

    #[test]
    fn manifests() {
        let faults = |check: fn(&Manifest) -> Vec<String>, text: &str| check(&Manifest::read(text)).len();
        assert_eq!(faults(engine_manifest, "[dependencies]\nstatrs.workspace = true # serde = 1\n"), 0);
        assert_eq!(faults(engine_manifest, "[dependencies]\nserde.workspace = true\n"), 1);
        assert_eq!(faults(engine_manifest, "[dependencies.chrono]\nversion = \"1\"\n"), 1);
        assert_eq!(faults(engine_manifest, "[target.'cfg(unix)'.dependencies]\nlog = \"1\"\n"), 1);
        assert_eq!(faults(engine_manifest, "[dev-dependencies]\neavesward-service = { path = \"..\" }\n"), 1);
        assert_eq!(
            faults(engine_manifest, "[dependencies]\nday = { package = \"chrono\", version = \"1\" }\n"),
            1
        );
        assert_eq!(
            faults(contract_manifest, "[dependencies]\nutoipa = { version = \"6\", optional = true }\n"),
            0
        );
        assert_eq!(faults(contract_manifest, "[dependencies]\nutoipa.workspace = true\n"), 1);
        assert_eq!(faults(client_manifest, "[dependencies]\neavesward-contract.workspace = true\n"), 0);
        let switched_on = "[dependencies]\neavesward-contract = { path = \"x\", features = [\"openapi\"] }\n";
        assert_eq!(faults(client_manifest, switched_on), 1);
        assert_eq!(faults(client_manifest, "[dependencies]\neavesward-engine.workspace = true\n"), 1);
        assert_eq!(faults(service_manifest, "[dev-dependencies]\neavesward-client.workspace = true\n"), 1);
    }

    #[test]
    fn top() {
        let mut names: Vec<String> = TOP.iter().map(|name| (*name).to_owned()).collect();
        names.extend([".git".to_owned(), "target".to_owned()]);
        assert_none(&top_faults(&names));
        names.push("notes.txt".to_owned());
        names.retain(|name| name != "deploy");
        assert_eq!(top_faults(&names).len(), 2);
    }
}
