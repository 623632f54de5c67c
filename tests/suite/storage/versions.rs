//! Versions of the service at once on one database, and steps of the tables.

use super::make::{Home, at, claim_all, day, home, refreshed, settle};
use super::{Rig, on_both, options};
use eavesward_service::domain::ports::store::Store as _;
use eavesward_service::domain::ports::store::systems::SystemStore as _;
use eavesward_service::domain::ports::store::tasks::TaskStore as _;
use eavesward_service::domain::rules::forecast::MODEL_VERSION;
use eavesward_service::storage::{ConnectOptions, Database};

on_both!(
    an_older_version_leaves_alone_what_a_newer_model_has_refreshed,
    the_first_start_of_a_newer_model_refreshes_everything_once,
    what_is_claimed_by_an_older_version_and_refreshed_by_a_newer_one_stays,
);

/// A replica whose model is one newer.
async fn newer(rig: &Rig) -> Database {
    let options = ConnectOptions { model_version: MODEL_VERSION + 1, ..options() };
    Database::connect(&rig.url, &options).await.unwrap()
}

/// Lets a replica refresh the one system of a home.
async fn refresh(database: &Database, home: &Home, now: i64, until: i64) -> usize {
    let claims = database.claim_stale(at(now), at(now + 10), 10).await.unwrap();
    let done: Vec<_> =
        claims.iter().map(|claim| refreshed(*claim, &home.system, Vec::new(), at(until))).collect();
    database.finish_refresh(&done, at(now)).await.unwrap();
    done.len()
}

async fn an_older_version_leaves_alone_what_a_newer_model_has_refreshed(rig: &Rig) {
    let home = home(rig).await;
    let newer = newer(rig).await;
    assert_eq!(refresh(&newer, &home, 0, 100).await, 1);
    assert_eq!(rig.database.refreshed_by_newer_model().await.unwrap(), 1);
    // The local day has ended, and the inputs change as well.
    assert_eq!(claim_all(rig, at(200)).await, []);
    rig.database.update_system(home.account, home.system.id, 1, &home.system.facts, at(201)).await.unwrap();
    assert_eq!(claim_all(rig, at(202)).await, []);
    assert_eq!(rig.database.stale_count(at(202)).await.unwrap(), 0, "nothing that it could refresh");
    assert_eq!(newer.stale_count(at(202)).await.unwrap(), 1);
    // After a rollback the operator says so.
    assert_eq!(rig.database.take_back_model().await.unwrap(), 1);
    assert_eq!(rig.database.refreshed_by_newer_model().await.unwrap(), 0);
    assert_eq!(refresh(&rig.database, &home, 203, 300).await, 1);
    assert_eq!(rig.database.take_back_model().await.unwrap(), 0, "once is enough");
    newer.close().await;
}

async fn the_first_start_of_a_newer_model_refreshes_everything_once(rig: &Rig) {
    let home = home(rig).await;
    settle(rig, &home, at(0), at(1000)).await;
    assert_eq!(rig.database.adopt_model().await.unwrap(), 0, "its own model");
    let newer = newer(rig).await;
    assert_eq!(newer.adopt_model().await.unwrap(), 1);
    assert_eq!(newer.adopt_model().await.unwrap(), 0, "it waits already");
    assert_eq!(refresh(&newer, &home, 1, 1000).await, 1);
    assert_eq!(newer.adopt_model().await.unwrap(), 0);
    assert_eq!(newer.stale_count(at(2)).await.unwrap(), 0);
    newer.close().await;
}

async fn what_is_claimed_by_an_older_version_and_refreshed_by_a_newer_one_stays(rig: &Rig) {
    let home = home(rig).await;
    let slow = claim_all(rig, at(0)).await;
    let newer = newer(rig).await;
    // The claim of the older one has ended before it writes.
    assert_eq!(refresh(&newer, &home, 100, 1000).await, 1);
    let late: Vec<_> =
        slow.iter().map(|claim| refreshed(*claim, &home.system, Vec::new(), at(900))).collect();
    rig.database.finish_refresh(&late, at(101)).await.unwrap();
    assert_eq!(rig.database.refreshed_by_newer_model().await.unwrap(), 1);
    let status = rig.database.status(home.account, home.system.id).await.unwrap().unwrap();
    assert_eq!(status.status.as_of, day(0));
    newer.close().await;
}

/// Each migration names the oldest step that a version has to know, the same in both folders. It stores that step if it
/// raises it.
#[test]
fn each_step_names_the_oldest_version_that_may_run_on_it() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../service/migrations");
    let mut named = [Vec::new(), Vec::new()];
    for (kind, named) in ["sqlite", "postgres"].iter().zip(&mut named) {
        let mut files: Vec<_> =
            std::fs::read_dir(folder.join(kind)).unwrap().map(|file| file.unwrap().path()).collect();
        files.sort();
        for (number, file) in (1_i64..).zip(&files) {
            let name = file.file_name().unwrap().to_str().unwrap();
            assert!(name.starts_with(&format!("{number:04}_")), "{name}: the steps have no gap");
            // Nothing that is deployed has fewer.
            if number < 14 {
                continue;
            }
            let text = std::fs::read_to_string(file).unwrap();
            let line = text
                .lines()
                .find_map(|line| line.strip_prefix("-- Oldest step that a version has to know: "));
            let oldest: i64 = line
                .unwrap_or_else(|| panic!("{name} names no oldest step"))
                .trim_end_matches('.')
                .parse()
                .unwrap();
            assert!(oldest <= number, "{name}");
            let stores = text.contains(&format!("oldest_version (one, step) VALUES (1, {oldest})"))
                || text.contains(&format!("UPDATE oldest_version SET step = {oldest};"));
            let before = named.last().map_or(0, |(_, oldest)| *oldest);
            assert!(oldest >= before, "{name} lets older versions run than the step before it");
            assert_eq!(stores, oldest > before, "{name}: a step that is raised is stored");
            named.push((number, oldest));
        }
    }
    assert_eq!(named[0], named[1], "both databases say the same");
    assert!(!named[0].is_empty());
}
