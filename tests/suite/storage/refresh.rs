//! Who refreshes what, and what is left in the end.

use super::make::{self, Home, at, claim_all, day, first, home, new_task, refreshed};
use super::{Rig, on_both};
use eavesward_service::domain::base::ids::{GaugeId, SystemId};
use eavesward_service::domain::model::duty::Duty;
use eavesward_service::domain::model::forecast::DutyForecast;
use eavesward_service::domain::model::task::{State, Task, TaskFilter};
use eavesward_service::domain::ports::store::gauges::GaugeStore as _;
use eavesward_service::domain::ports::store::systems::SystemStore as _;
use eavesward_service::domain::ports::store::tasks::{Refreshed, StaleSystem, TaskStore as _};
use std::collections::{HashMap, HashSet};

on_both!(
    no_system_is_claimed_twice_by_eight_claimers,
    claims_come_grouped_by_gauge,
    a_claim_holds_until_it_ends,
    changed_inputs_stay_stale,
    an_older_refresh_does_not_set_a_newer_one_back,
    a_refresh_of_the_day_before_does_not_set_today_back,
    a_hold_of_a_clock_that_was_ahead_counts_for_nothing,
    tasks_that_are_no_more_are_removed,
    released_systems_wait_for_their_time,
    a_release_after_anothers_refresh_changes_nothing,
    a_claim_of_another_account_writes_nothing,
    refreshes_and_rain_at_once_leave_nothing_behind,
    a_large_batch_is_written_whole,
);

const HOLD: chrono::TimeDelta = chrono::TimeDelta::seconds(60);

/// Further systems at the home, alternately under its own and another gauge.
async fn many(rig: &Rig, home: &Home, count: usize) -> HashMap<SystemId, GaugeId> {
    let gauge = make::new_gauge(home.account, "Second gauge");
    rig.database.insert_gauge(&gauge).await.unwrap();
    let mut systems = HashMap::from([(home.system.id, home.gauge.id)]);
    for number in 1..count {
        let under = if number % 2 == 0 { home.gauge.id } else { gauge.id };
        let system = make::new_system(home.account, home.property.id, under, &format!("System {number}"));
        rig.database.insert_system(&system, &[]).await.unwrap();
        systems.insert(system.id, under);
    }
    systems
}

async fn no_system_is_claimed_twice_by_eight_claimers(rig: &Rig) {
    let home = home(rig).await;
    let systems = many(rig, &home, 120).await;
    let mut claimers = Vec::new();
    for _ in 0..8 {
        let replica = rig.replica().await;
        claimers.push(tokio::spawn(async move {
            let mut mine = Vec::new();
            let mut idle = 0;
            // On PostgreSQL a round may pass over rows that another is just claiming and find none.
            while idle < 3 {
                let found = replica.claim_stale(at(0), at(0) + HOLD, 7).await.unwrap();
                assert!(found.len() <= 7);
                idle = if found.is_empty() { idle + 1 } else { 0 };
                mine.extend(found.into_iter().map(|claim| claim.system_id));
            }
            mine
        }));
    }
    let mut all = Vec::new();
    for claimer in claimers {
        all.extend(claimer.await.unwrap());
    }
    assert_eq!(all.len(), systems.len(), "each once");
    assert_eq!(all.into_iter().collect::<HashSet<_>>().len(), systems.len());
    assert_eq!(rig.database.stale_count(at(0)).await.unwrap(), 120, "held ones are stale all the same");
}

async fn claims_come_grouped_by_gauge(rig: &Rig) {
    let home = home(rig).await;
    let systems = many(rig, &home, 20).await;
    let claims = claim_all(rig, at(0)).await;
    assert_eq!(claims.len(), 20);
    assert!(claims.iter().all(|claim| claim.account_id == home.account && claim.inputs_version == 1));
    let changes = claims.windows(2).filter(|pair| systems[&pair[0].system_id] != systems[&pair[1].system_id]);
    assert_eq!(changes.count(), 1);
}

async fn a_claim_holds_until_it_ends(rig: &Rig) {
    let home = home(rig).await;
    let replica = rig.replica().await;
    let claims = claim_all(rig, at(0)).await;
    let expected = StaleSystem { account_id: home.account, system_id: home.system.id, inputs_version: 1 };
    assert_eq!(claims, [expected]);
    assert_eq!(replica.claim_stale(at(59), at(99), 10).await.unwrap(), []);
    assert_eq!(replica.claim_stale(at(60), at(99), 10).await.unwrap(), [expected]);
    assert_eq!(claim_all(rig, at(61)).await, []);
    replica.finish_refresh(&[refreshed(expected, &home.system, Vec::new(), at(5000))], at(62)).await.unwrap();
    assert_eq!(claim_all(rig, at(4999)).await, []);
    assert_eq!(rig.database.stale_count(at(4999)).await.unwrap(), 0);
    assert_eq!(rig.database.stale_count(at(5000)).await.unwrap(), 1);
    assert_eq!(claim_all(rig, at(5000)).await, [expected], "the local day is over");
}

async fn changed_inputs_stay_stale(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    let claim = claim_all(rig, at(0)).await[0];
    store.put_rain(home.account, home.gauge.id, &make::readings(0, &[3.0])).await.unwrap();
    let task = new_task(&home, 0, Duty::ClearWeepHole, Some(day(4)), State::Near);
    store
        .finish_refresh(&[refreshed(claim, &home.system, vec![task.clone()], at(5000))], at(10))
        .await
        .unwrap();
    assert_eq!(store.task(home.account, task.id).await.unwrap(), Some(task), "better than none");
    assert_eq!(store.stale_count(at(11)).await.unwrap(), 1);
    let again = claim_all(rig, at(11)).await;
    assert_eq!(again, [StaleSystem { inputs_version: 2, ..claim }], "and nobody holds it");
}

/// The home's tasks.
async fn tasks(rig: &Rig, home: &Home) -> Vec<Task> {
    rig.database.tasks(home.account, &TaskFilter::default(), &first(100)).await.unwrap()
}

async fn an_older_refresh_does_not_set_a_newer_one_back(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    let slow = claim_all(rig, at(0)).await[0];
    store.put_rain(home.account, home.gauge.id, &make::readings(0, &[3.0])).await.unwrap();
    let quick = claim_all(rig, at(61)).await[0];
    assert!(quick.inputs_version > slow.inputs_version);
    let newer = new_task(&home, 0, Duty::ClearWeepHole, Some(day(4)), State::Near);
    let older = new_task(&home, 1, Duty::RemoveSediment, Some(day(9)), State::Resting);
    store
        .finish_refresh(&[refreshed(quick, &home.system, vec![newer.clone()], at(5000))], at(70))
        .await
        .unwrap();
    let mut late = refreshed(slow, &home.system, vec![older], at(5000));
    late.status.as_of = day(-7);
    store.finish_refresh(&[late], at(80)).await.unwrap();
    assert_eq!(tasks(rig, &home).await, [newer]);
    let status = store.status(home.account, home.system.id).await.unwrap().unwrap();
    assert_eq!(status.status.as_of, day(0));
    assert_eq!(store.stale_count(at(81)).await.unwrap(), 0);
}

async fn a_refresh_of_the_day_before_does_not_set_today_back(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    let slow = claim_all(rig, at(0)).await[0];
    let quick = claim_all(rig, at(61)).await[0];
    assert_eq!(slow, quick, "the same inputs");
    let today = new_task(&home, 0, Duty::ClearWeepHole, Some(day(4)), State::Near);
    let yesterday = Task { as_of: day(-1), state: State::Resting, ..today.clone() };
    store
        .finish_refresh(&[refreshed(quick, &home.system, vec![today.clone()], at(5000))], at(70))
        .await
        .unwrap();
    store.finish_refresh(&[refreshed(slow, &home.system, vec![yesterday], at(65))], at(80)).await.unwrap();
    assert_eq!(tasks(rig, &home).await, [today]);
    assert_eq!(store.stale_count(at(81)).await.unwrap(), 0);
}

async fn a_hold_of_a_clock_that_was_ahead_counts_for_nothing(rig: &Rig) {
    home(rig).await;
    // Claimed in a month, by somebody who dies of it.
    let claims = claim_all(rig, at(30 * 86_400)).await;
    assert_eq!(claims.len(), 1);
    assert_eq!(claim_all(rig, at(0)).await, claims, "no hold is as long as that");
    assert_eq!(claim_all(rig, at(1)).await, [], "and this one counts");
}

async fn tasks_that_are_no_more_are_removed(rig: &Rig) {
    let home = home(rig).await;
    let other = make::home(rig).await;
    let store = &rig.database;
    let claims = claim_all(rig, at(0)).await;
    let of = |home: &Home| *claims.iter().find(|claim| claim.system_id == home.system.id).unwrap();
    let keep = new_task(&home, 0, Duty::ClearWeepHole, Some(day(4)), State::Near);
    let gone = new_task(&home, 1, Duty::RemoveSediment, Some(day(9)), State::Resting);
    let theirs = new_task(&other, 0, Duty::ClearWeepHole, Some(day(4)), State::Near);
    let both = [
        refreshed(of(&home), &home.system, vec![keep.clone(), gone], at(500)),
        refreshed(of(&other), &other.system, vec![theirs.clone()], at(5000)),
    ];
    store.finish_refresh(&both, at(10)).await.unwrap();
    let claim = claim_all(rig, at(500)).await[0];
    let forecast = DutyForecast { due_on: None, ..keep.forecast.clone() };
    let moved = Task { due_on: None, state: State::Resting, forecast, ..keep };
    store
        .finish_refresh(&[refreshed(claim, &home.system, vec![moved.clone()], at(5000))], at(510))
        .await
        .unwrap();
    assert_eq!(tasks(rig, &home).await, [moved]);
    assert_eq!(tasks(rig, &other).await, [theirs], "of the other account");
    store.finish_refresh(&[refreshed(claim, &home.system, Vec::new(), at(5000))], at(520)).await.unwrap();
    assert_eq!(tasks(rig, &home).await, []);
    store.finish_refresh(&[], at(530)).await.unwrap();
}

async fn released_systems_wait_for_their_time(rig: &Rig) {
    let _home = home(rig).await;
    let store = &rig.database;
    let claims = claim_all(rig, at(0)).await;
    store.release_stale(&claims, at(300)).await.unwrap();
    assert_eq!(store.stale_count(at(299)).await.unwrap(), 1);
    assert_eq!(claim_all(rig, at(299)).await, []);
    assert_eq!(claim_all(rig, at(300)).await, claims);
    store.release_stale(&claims, at(301)).await.unwrap();
    assert_eq!(claim_all(rig, at(301)).await, claims, "earlier than the claim would have ended");
    store.release_stale(&[], at(301)).await.unwrap();
}

async fn a_release_after_anothers_refresh_changes_nothing(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    let claims = claim_all(rig, at(0)).await;
    assert_eq!(claim_all(rig, at(61)).await, claims);
    store.finish_refresh(&[refreshed(claims[0], &home.system, Vec::new(), at(500))], at(70)).await.unwrap();
    store.release_stale(&claims, at(9000)).await.unwrap();
    assert_eq!(claim_all(rig, at(500)).await, claims);
}

async fn a_claim_of_another_account_writes_nothing(rig: &Rig) {
    let home = home(rig).await;
    let other = make::account(rig).await;
    let store = &rig.database;
    let claim = claim_all(rig, at(0)).await[0];
    let task = new_task(&home, 0, Duty::ClearWeepHole, Some(day(4)), State::Near);
    let foreign = StaleSystem { account_id: other, ..claim };
    store.finish_refresh(&[refreshed(foreign, &home.system, vec![task], at(5000))], at(10)).await.unwrap();
    store.release_stale(&[foreign], at(1)).await.unwrap();
    assert_eq!(tasks(rig, &home).await, []);
    assert_eq!(store.status(home.account, home.system.id).await.unwrap(), None);
    assert_eq!(claim_all(rig, at(11)).await, [], "the true claim still holds");
}

async fn refreshes_and_rain_at_once_leave_nothing_behind(rig: &Rig) {
    let home = home(rig).await;
    let systems = many(rig, &home, 40).await;
    let gauges: Vec<GaugeId> = systems.values().copied().collect::<HashSet<_>>().into_iter().collect();
    let account = home.account;
    let mut running = Vec::new();
    for (number, gauge) in gauges.into_iter().cycle().take(4).enumerate() {
        let database = if number < 2 { rig.database.clone() } else { rig.replica().await };
        running.push(tokio::spawn(async move {
            for step in 0..15_i64 {
                let mm = f64::from(u32::try_from(step).unwrap()) + if number < 2 { 0.25 } else { 0.5 };
                database.put_rain(account, gauge, &make::readings(step, &[mm, mm])).await.unwrap().unwrap();
            }
        }));
    }
    for _ in 0..3 {
        let (database, system) = (rig.replica().await, home.system.clone());
        running.push(tokio::spawn(async move {
            for step in 0..15 {
                let claims = database.claim_stale(at(step), at(step) + HOLD, 25).await.unwrap();
                let all: Vec<Refreshed> = claims
                    .into_iter()
                    .map(|claim| refreshed(claim, &system, Vec::new(), at(90_000)))
                    .collect();
                database.finish_refresh(&all, at(step)).await.unwrap();
            }
        }));
    }
    for task in running {
        task.await.unwrap();
    }
    make::settle(rig, &home, at(1000), at(90_000)).await;
    let inputs = rig.database.inputs(&[(account, home.system.id)]).await.unwrap();
    assert_eq!(inputs[0].gauge.span.days, 16);
}

async fn a_large_batch_is_written_whole(rig: &Rig) {
    let home = home(rig).await;
    let duties =
        [Duty::ClearWeepHole, Duty::CheckBands, Duty::LookOverTank, Duty::CheckMesh, Duty::WorkValve];
    let mut systems = vec![(home.system.clone(), home.components.clone())];
    for number in 0..210 {
        let name = format!("System {number}");
        systems.push(make::add_system(rig, home.account, home.property.id, home.gauge.id, &name).await);
    }
    let by_id: HashMap<SystemId, _> = systems.iter().map(|pair| (pair.0.id, pair)).collect();
    for (round, now) in [at(0), at(500)].into_iter().enumerate() {
        let claims = claim_all(rig, now).await;
        assert_eq!(claims.len(), 211);
        let all: Vec<Refreshed> = claims
            .into_iter()
            .map(|claim| {
                let (system, components) = by_id[&claim.system_id];
                let tasks = components.iter().flat_map(|component| {
                    duties[round..].iter().map(|duty| {
                        make::task_of(&home, system, component, *duty, Some(day(round as i64)), State::Due)
                    })
                });
                refreshed(claim, system, tasks.collect(), if round == 0 { at(500) } else { at(5000) })
            })
            .collect();
        rig.database.finish_refresh(&all, now).await.unwrap();
        assert_eq!(rig.database.stale_count(now).await.unwrap(), 0);
    }
    let mut count = 0;
    let mut page = first(500);
    loop {
        let mut rows = rig.database.tasks(home.account, &TaskFilter::default(), &page).await.unwrap();
        assert!(rows.iter().all(|task| task.due_on == Some(day(1)) && task.duty != duties[0]));
        rows.truncate(500);
        count += rows.len();
        let Some(last) = rows.last().filter(|_| rows.len() == 500) else { break };
        page = make::after(last.sort_on(), last.id.0, 500);
    }
    assert_eq!(count, 211 * 3 * 4);
}
