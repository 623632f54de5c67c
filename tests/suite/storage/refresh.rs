//! Who refreshes what, and what is left in the end.

use super::make::{self, Home, at, claim_all, day, first, home, nameless, new_task, refreshed};
use super::{Rig, on_both};
use eavesward_service::domain::base::ids::{GaugeId, SystemId};
use eavesward_service::domain::model::duty::Duty;
use eavesward_service::domain::model::forecast::DutyForecast;
use eavesward_service::domain::model::task::{State, Task, TaskFilter};
use eavesward_service::domain::ports::store::corrections::CorrectionStore as _;
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
    a_renewed_claim_holds_on,
    a_refresh_for_a_day_to_come_is_stale,
    tasks_that_are_no_more_are_removed,
    released_systems_wait_for_their_time,
    a_release_after_anothers_refresh_changes_nothing,
    a_claim_of_another_account_writes_nothing,
    refreshes_and_rain_at_once_leave_nothing_behind,
    a_large_batch_is_written_whole,
);

const HOLD: chrono::TimeDelta = chrono::TimeDelta::seconds(60);

/// Further systems at the home, alternately under its own and another gauge.
pub async fn many(rig: &Rig, home: &Home, count: usize) -> HashMap<SystemId, GaugeId> {
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
    let expected = StaleSystem {
        account_id: home.account,
        system_id: home.system.id,
        inputs_version: 1,
        held_by: claims[0].held_by,
    };
    assert_eq!(claims, [expected]);
    assert_eq!(replica.claim_stale(at(59), at(99), 10).await.unwrap(), []);
    let taken = replica.claim_stale(at(60), at(99), 10).await.unwrap();
    assert_eq!(nameless(taken.clone()), nameless(claims));
    assert_ne!(taken[0].held_by, expected.held_by, "another claim");
    assert_eq!(claim_all(rig, at(61)).await, []);
    replica.finish_refresh(&[refreshed(taken[0], &home.system, Vec::new(), at(5000))], at(62)).await.unwrap();
    assert_eq!(claim_all(rig, at(4999)).await, []);
    assert_eq!(rig.database.stale_count(at(4999)).await.unwrap(), 0);
    assert_eq!(rig.database.stale_count(at(5000)).await.unwrap(), 1);
    assert_eq!(nameless(claim_all(rig, at(5000)).await), nameless(taken), "the local day is over");
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
    assert_eq!((again.len(), again[0].inputs_version), (1, 2), "and nobody holds it");
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
    assert_eq!(slow.inputs_version, quick.inputs_version);
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
    // Claimed in a month, or in two minutes, by somebody who dies of it.
    for ahead in [30 * 86_400, 120] {
        let claims = claim_all(rig, at(ahead)).await;
        assert_eq!(claims.len(), 1);
        assert_eq!(nameless(claim_all(rig, at(0)).await), nameless(claims), "it was set in the future");
        assert_eq!(claim_all(rig, at(1)).await, [], "and this one counts");
        let of_a_failure = claim_all(rig, at(ahead)).await;
        rig.database.release_stale(&of_a_failure, at(ahead), at(ahead + 900)).await.unwrap();
        let claims = claim_all(rig, at(2)).await;
        rig.database.release_stale(&claims, at(2), at(2)).await.unwrap();
        assert_eq!(claims.len(), 1, "a rest after a failure counts for nothing either");
    }
    // The clocks of two replicas differ by some seconds.
    assert_eq!(claim_all(rig, at(20)).await.len(), 1);
    assert_eq!(claim_all(rig, at(2)).await, []);
}

async fn a_renewed_claim_holds_on(rig: &Rig) {
    let home = home(rig).await;
    let (store, replica) = (&rig.database, rig.replica().await);
    let claims = claim_all(rig, at(0)).await;
    assert_eq!(replica.stale_held_until(at(1)).await.unwrap(), Some(at(60)));
    store.renew_stale(&claims, at(59), at(69)).await.unwrap();
    assert_eq!(replica.stale_held_until(at(60)).await.unwrap(), Some(at(69)));
    assert_eq!(replica.claim_stale(at(68), at(78), 10).await.unwrap(), []);
    // It renews too late, and finds that it has lost its work.
    let taken = replica.claim_stale(at(69), at(79), 10).await.unwrap();
    assert_eq!(taken.len(), 1);
    store.renew_stale(&claims, at(70), at(99)).await.unwrap();
    assert_eq!(replica.stale_held_until(at(70)).await.unwrap(), Some(at(79)));
    let task = new_task(&home, 0, Duty::ClearWeepHole, Some(day(4)), State::Near);
    let late = refreshed(claims[0], &home.system, vec![task], at(5000));
    assert_eq!(store.finish_refresh(&[late], at(71)).await.unwrap(), 0);
    assert_eq!(tasks(rig, &home).await, [], "whoever has lost its claim writes nothing");
    store.release_stale(&claims, at(72), at(72)).await.unwrap();
    assert_eq!(claim_all(rig, at(73)).await, [], "and frees nothing");
    replica.finish_refresh(&[refreshed(taken[0], &home.system, Vec::new(), at(5000))], at(74)).await.unwrap();
    assert_eq!(store.stale_count(at(75)).await.unwrap(), 0);
    assert_eq!(store.stale_held_until(at(75)).await.unwrap(), None);
    // Late, but nobody has taken it over: the claim is still its own.
    let slow = claim_all(rig, at(5000)).await;
    store.finish_refresh(&[refreshed(slow[0], &home.system, Vec::new(), at(9000))], at(5100)).await.unwrap();
    assert_eq!(store.stale_count(at(5100)).await.unwrap(), 0);
}

async fn a_refresh_for_a_day_to_come_is_stale(rig: &Rig) {
    const DAY: i64 = 86_400;
    let home = home(rig).await;
    let store = &rig.database;
    // The clock is five days ahead, then it is set right.
    let claim = claim_all(rig, at(5 * DAY)).await[0];
    let ahead = Refreshed {
        day_at: at(5 * DAY - 3600),
        ..refreshed(claim, &home.system, Vec::new(), at(6 * DAY - 3600))
    };
    store.finish_refresh(&[ahead], at(5 * DAY)).await.unwrap();
    assert_eq!(store.stale_count(at(0)).await.unwrap(), 0);
    assert!(store.undo_future(at(0)).await.unwrap() > 0);
    let claims = claim_all(rig, at(0)).await;
    assert_eq!(claims.len(), 1);
    store.finish_refresh(&[refreshed(claims[0], &home.system, Vec::new(), at(DAY))], at(1)).await.unwrap();
    assert_eq!(store.stale_count(at(2)).await.unwrap(), 0, "the earlier day is taken");
    assert_eq!(store.undo_future(at(2)).await.unwrap(), 0);
    assert_eq!(store.stale_count(at(2)).await.unwrap(), 0);
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
    let claim = make::claim_of(rig, home.system.id).await;
    store.finish_refresh(&[refreshed(claim, &home.system, Vec::new(), at(5000))], at(520)).await.unwrap();
    assert_eq!(tasks(rig, &home).await, []);
    store.finish_refresh(&[], at(530)).await.unwrap();
}

async fn released_systems_wait_for_their_time(rig: &Rig) {
    let _home = home(rig).await;
    let store = &rig.database;
    let claims = claim_all(rig, at(0)).await;
    store.release_stale(&claims, at(1), at(300)).await.unwrap();
    assert_eq!(store.stale_count(at(299)).await.unwrap(), 1);
    assert_eq!(claim_all(rig, at(299)).await, []);
    let claims = claim_all(rig, at(300)).await;
    assert_eq!(claims.len(), 1);
    store.release_stale(&claims, at(301), at(301)).await.unwrap();
    assert_eq!(claim_all(rig, at(301)).await.len(), 1, "earlier than the claim would have ended");
    store.release_stale(&[], at(301), at(301)).await.unwrap();
}

async fn a_release_after_anothers_refresh_changes_nothing(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    let claims = claim_all(rig, at(0)).await;
    let taken = claim_all(rig, at(61)).await;
    store.finish_refresh(&[refreshed(taken[0], &home.system, Vec::new(), at(500))], at(70)).await.unwrap();
    store.release_stale(&claims, at(71), at(9000)).await.unwrap();
    assert_eq!(claim_all(rig, at(500)).await.len(), 1);
}

async fn a_claim_of_another_account_writes_nothing(rig: &Rig) {
    let home = home(rig).await;
    let other = make::account(rig).await;
    let store = &rig.database;
    let claim = claim_all(rig, at(0)).await[0];
    let task = new_task(&home, 0, Duty::ClearWeepHole, Some(day(4)), State::Near);
    let foreign = StaleSystem { account_id: other, ..claim };
    store.finish_refresh(&[refreshed(foreign, &home.system, vec![task], at(5000))], at(10)).await.unwrap();
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
