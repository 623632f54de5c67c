//! Time and chance come in from the machine by a few doors alone.

use std::collections::BTreeSet;

use super::scanner::{Named, Place, named};
use super::{assert_none, sources};

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

/// The files of the clock, and of ids and keys.
const CLOCK: &str = "service/src/domain/base/clock.rs";
const IDS: &str = "service/src/domain/base/ids.rs";

/// Where the machine's clock and chance come in: a file or folder, what it may use, and why. May only shrink.
const AMBIENT_ALLOWED: [(&str, &[&str], &str); 3] = [
    (
        CLOCK,
        &["Utc::now", "Instant::now"],
        "the one clock that everything else is handed, and the one stopwatch",
    ),
    (IDS, &["Uuid::now_v7", "getrandom::fill"], "the one source of ids and keys"),
    (
        "client/src/client.rs",
        &["Instant::now", "Uuid::new_v4"],
        "the deadline of a call, its idempotency key and the jitter of its retries",
    ),
];

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

mod can_fail {
    use super::*;

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
            let (faults, used) = ambient_faults("service/src/domain/model/task.rs", source);
            assert!(!faults.is_empty() && used.is_empty(), "{source}: {faults:?}");
        }
        assert_none(&ambient_faults("service/src/domain/base/error.rs", "struct A(getrandom::Error);").0);
        let (faults, used) = ambient_faults(CLOCK, "fn f() { Utc::now() }");
        assert_eq!((faults.len(), used), (0, vec![(CLOCK, "Utc::now")]));
        // An exception is for one thing in one place.
        assert_eq!(ambient_faults(CLOCK, "fn f() { Local::now() }").0.len(), 1);
        assert_eq!(ambient_faults("service/src/server_side.rs", "fn f() { Instant::now() }").0.len(), 1);
    }
}
