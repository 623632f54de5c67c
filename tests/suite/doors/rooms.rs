//! Which room of the service may use which, and which crate of the workspace may use what.

use super::scanner::{Place, named, pulled_in};
use super::{assert_none, sources};

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
const SQL_CRATES: [&str; 4] = ["sqlx", "sqlx_core", "sqlx_postgres", "sqlx_sqlite"];

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

/// The room that sends to addresses that callers chose.
const OUTWARD: &str = "outbound";

const ROOMS: [Room; 10] = [
    Room {
        name: "domain",
        uses: &[],
        ours: &["eavesward_engine"],
        without: &[&HTTP_CRATES, &SQL_CRATES, &["reqwest"]],
    },
    Room { name: "storage", uses: &["domain"], ours: &[], without: &[&HTTP_CRATES] },
    Room { name: "gate", uses: &["domain"], ours: &[], without: &[&HTTP_CRATES, &SQL_CRATES, &["reqwest"]] },
    Room { name: "http", uses: &["domain", "gate"], ours: &["eavesward_contract"], without: &[&SQL_CRATES] },
    Room { name: "jobs", uses: &["domain"], ours: &[], without: &[&HTTP_CRATES, &SQL_CRATES] },
    // What goes out to addresses that callers chose goes through this door alone.
    Room { name: OUTWARD, uses: &["domain"], ours: &[], without: &[&HTTP_CRATES, &SQL_CRATES] },
    // Settings name what they set: a log format, a limit of the domain.
    Room {
        name: "config",
        uses: &["domain", "gate", "telemetry"],
        ours: &[],
        without: &[&HTTP_CRATES, &SQL_CRATES],
    },
    // The clock, chance and the target of spans.
    Room { name: "telemetry", uses: &["domain"], ours: &[], without: &[&HTTP_CRATES, &SQL_CRATES] },
    Room {
        name: "server",
        uses: &["domain", "storage", "gate", "http", "jobs", OUTWARD, "config", "telemetry"],
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
}
