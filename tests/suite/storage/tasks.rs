//! Tasks and statuses as they are read.

use super::make::{self, Home, account, after, at, day, first, home, new_task, refreshed, task_of};
use super::{Rig, on_both};
use chrono::NaiveDate;
use eavesward_service::domain::base::ids::TaskId;
use eavesward_service::domain::base::paging::PageRequest;
use eavesward_service::domain::model::duty::Duty;
use eavesward_service::domain::model::part::Kind;
use eavesward_service::domain::model::property::PropertyFacts;
use eavesward_service::domain::model::system::{System, SystemFacts};
use eavesward_service::domain::model::task::{MovedTask, Moves, NO_DATE, State, Task, TaskCount, TaskFilter};
use eavesward_service::domain::ports::store::outcomes::Updated;
use eavesward_service::domain::ports::store::properties::PropertyStore as _;
use eavesward_service::domain::ports::store::systems::SystemStore as _;
use eavesward_service::domain::ports::store::tasks::{StaleSystem, TaskStore as _};

on_both!(
    tasks_and_statuses_come_back_as_they_were,
    tasks_are_filtered_and_those_without_a_date_come_last,
    every_page_goes_on_where_the_last_one_ended,
    names_and_places_are_those_of_now,
    tasks_of_another_account_are_out_of_reach,
    tasks_are_counted_as_they_are_listed,
    moves_of_a_due_date_are_counted,
);

/// Writes tasks as a refresh of these systems does.
async fn write(rig: &Rig, systems: &[&System], tasks: &[Task]) {
    let claims = make::claim_all(rig, at(100)).await;
    let all: Vec<_> = systems
        .iter()
        .map(|system| {
            let claim: StaleSystem = *claims.iter().find(|claim| claim.system_id == system.id).unwrap();
            let own = tasks.iter().filter(|task| task.system_id == system.id).cloned().collect();
            refreshed(claim, system, own, at(90_000))
        })
        .collect();
    rig.database.finish_refresh(&all, at(110)).await.unwrap();
}

struct Fleet {
    home: Home,
    second: System,
    /// In the order they are listed.
    tasks: Vec<Task>,
}

async fn fleet(rig: &Rig) -> Fleet {
    let home = home(rig).await;
    let elsewhere = make::new_property(home.account, "Greenhouse lane");
    rig.database.insert_property(&elsewhere).await.unwrap();
    let (second, parts) =
        make::add_system(rig, home.account, elsewhere.id, home.gauge.id, "Greenhouse").await;
    let other = |index: usize, duty, due_on, state| {
        let mut task = task_of(&home, &second, &parts[index], duty, due_on, state);
        task.property_name.clone_from(&elsewhere.facts.name);
        task
    };
    let mut tasks = vec![
        other(0, Duty::ClearWeepHole, Some(day(4)), State::Near),
        other(1, Duty::RemoveSediment, None, State::Resting),
        other(2, Duty::CompareLevelGauge, Some(day(-30)), State::Late),
        new_task(&home, 0, Duty::ClearWeepHole, Some(day(4)), State::Near),
        new_task(&home, 1, Duty::RemoveSediment, None, State::Resting),
        new_task(&home, 1, Duty::MeasureSediment, Some(day(4)), State::Near),
        new_task(&home, 1, Duty::LookOverTank, Some(day(0)), State::Due),
        new_task(&home, 2, Duty::CompareLevelGauge, Some(day(90)), State::Resting),
    ];
    write(rig, &[&home.system, &second], &tasks).await;
    tasks.sort_by_key(|task| (task.sort_on(), task.id));
    Fleet { home, second, tasks }
}

async fn tasks_and_statuses_come_back_as_they_were(rig: &Rig) {
    let fleet = fleet(rig).await;
    let (store, account) = (&rig.database, fleet.home.account);
    for task in &fleet.tasks {
        assert_eq!(store.task(account, task.id).await.unwrap().as_ref(), Some(task));
    }
    assert_eq!(store.task(account, TaskId(uuid::Uuid::nil())).await.unwrap(), None);
    let polled = store.status(account, fleet.second.id).await.unwrap().unwrap();
    assert_eq!(polled.status, make::status(&fleet.second, day(0)));
    let (fresh, _) =
        make::add_system(rig, account, fleet.home.property.id, fleet.home.gauge.id, "Never refreshed").await;
    assert_eq!(store.status(account, fresh.id).await.unwrap(), None);
}

fn matches(filter: &TaskFilter, task: &Task) -> bool {
    filter.property_id.is_none_or(|id| task.property_id == id)
        && filter.system_id.is_none_or(|id| task.system_id == id)
        && filter.kind.is_none_or(|kind| task.kind == kind)
        && (filter.states.is_empty() || filter.states.contains(&task.state))
        && filter.from.is_none_or(|from| task.due_on.is_some_and(|due| due >= from))
        && filter.to.is_none_or(|to| task.due_on.is_some_and(|due| due <= to))
}

fn filters(fleet: &Fleet) -> Vec<TaskFilter> {
    let all = TaskFilter::default;
    vec![
        all(),
        TaskFilter { property_id: Some(fleet.home.property.id), ..all() },
        TaskFilter { system_id: Some(fleet.second.id), ..all() },
        TaskFilter { kind: Some(Kind::Tank), ..all() },
        TaskFilter { states: vec![State::Near], ..all() },
        TaskFilter { states: vec![State::Near, State::Due, State::Late], ..all() },
        TaskFilter { from: Some(day(0)), ..all() },
        TaskFilter { to: Some(day(4)), ..all() },
        TaskFilter { from: Some(day(1)), to: Some(day(60)), ..all() },
        TaskFilter { to: Some(NO_DATE), ..all() },
        TaskFilter {
            system_id: Some(fleet.home.system.id),
            kind: Some(Kind::Tank),
            from: Some(day(4)),
            ..all()
        },
    ]
}

async fn tasks_are_filtered_and_those_without_a_date_come_last(rig: &Rig) {
    let fleet = fleet(rig).await;
    let nobody = TaskFilter { kind: Some(Kind::Pump), ..TaskFilter::default() };
    assert_eq!(rig.database.tasks(fleet.home.account, &nobody, &first(100)).await.unwrap(), []);
    for filter in filters(&fleet) {
        let expected: Vec<Task> = fleet.tasks.iter().filter(|task| matches(&filter, task)).cloned().collect();
        assert!(!expected.is_empty());
        let found = rig.database.tasks(fleet.home.account, &filter, &first(100)).await.unwrap();
        assert_eq!(found, expected, "{filter:?}");
    }
    assert!(fleet.tasks.last().is_some_and(|task| task.due_on.is_none()));
}

async fn every_page_goes_on_where_the_last_one_ended(rig: &Rig) {
    let fleet = fleet(rig).await;
    let list = async |filter: &TaskFilter, page: PageRequest<NaiveDate>| {
        rig.database.tasks(fleet.home.account, filter, &page).await.unwrap()
    };
    for filter in filters(&fleet) {
        let whole = list(&filter, first(100)).await;
        let mut walked: Vec<Task> = Vec::new();
        let mut page = first(1);
        while let Some(next) = list(&filter, page).await.into_iter().next() {
            page = after(next.sort_on(), next.id.0, 1);
            walked.push(next);
        }
        assert_eq!(walked, whole, "{filter:?}");
    }
    // A cursor below the filter's beginning does not let rows below it in.
    let late = TaskFilter { from: Some(day(90)), ..TaskFilter::default() };
    assert_eq!(list(&late, after(day(-90), uuid::Uuid::nil(), 9)).await.len(), 1);
}

async fn names_and_places_are_those_of_now(rig: &Rig) {
    let fleet = fleet(rig).await;
    let (store, home) = (&rig.database, &fleet.home);
    let facts = PropertyFacts { name: "Old orchard".to_owned(), ..home.property.facts.clone() };
    let updated = store.update_property(home.account, home.property.id, 1, &facts, at(120)).await.unwrap();
    assert_eq!(updated, Updated::Done);
    let moved = SystemFacts {
        name: "Hothouse".to_owned(),
        property_id: home.property.id,
        ..fleet.second.facts.clone()
    };
    let updated = store.update_system(home.account, fleet.second.id, 1, &moved, at(120)).await.unwrap();
    assert_eq!(updated, Updated::Done);
    let filter = TaskFilter { property_id: Some(home.property.id), ..TaskFilter::default() };
    let found = store.tasks(home.account, &filter, &first(100)).await.unwrap();
    assert_eq!(found.len(), fleet.tasks.len());
    for task in found {
        let system = if task.system_id == fleet.second.id { "Hothouse" } else { "Terrace" };
        assert_eq!((task.property_name.as_str(), task.system_name.as_str()), ("Old orchard", system));
        assert_eq!(task.property_id, home.property.id);
    }
    let status = store.status(home.account, fleet.second.id).await.unwrap().unwrap();
    assert_eq!(status.status.system_name, "Hothouse");
}

async fn tasks_of_another_account_are_out_of_reach(rig: &Rig) {
    let fleet = fleet(rig).await;
    let store = &rig.database;
    let other = account(rig).await;
    assert_eq!(store.task(other, fleet.tasks[0].id).await.unwrap(), None);
    assert_eq!(store.tasks(other, &TaskFilter::default(), &first(100)).await.unwrap(), []);
    let filter = TaskFilter { system_id: Some(fleet.second.id), ..TaskFilter::default() };
    assert_eq!(store.tasks(other, &filter, &first(100)).await.unwrap(), []);
    assert_eq!(store.status(other, fleet.second.id).await.unwrap(), None);
}

async fn tasks_are_counted_as_they_are_listed(rig: &Rig) {
    let fleet = fleet(rig).await;
    let (store, account) = (&rig.database, fleet.home.account);
    for filter in [
        TaskFilter::default(),
        TaskFilter { to: Some(day(4)), ..TaskFilter::default() },
        TaskFilter { from: Some(day(0)), ..TaskFilter::default() },
        TaskFilter { system_id: Some(fleet.second.id), ..TaskFilter::default() },
        TaskFilter { property_id: Some(fleet.home.property.id), to: Some(day(4)), ..TaskFilter::default() },
        TaskFilter { states: vec![State::Late], ..TaskFilter::default() },
        TaskFilter { from: Some(day(5000)), ..TaskFilter::default() },
    ] {
        let listed = store.tasks(account, &filter, &first(100)).await.unwrap();
        let counted = store.count_tasks(account, &filter).await.unwrap();
        assert_eq!(counted.total(), listed.len() as u64, "{filter:?}");
        for TaskCount { state, duty, count } in counted.tasks {
            let same = listed.iter().filter(|task| (task.state, task.duty) == (state, duty)).count();
            assert_eq!(count, same as u64, "{state:?} {duty:?}");
        }
        let distinct = |of: fn(&Task) -> uuid::Uuid| {
            listed.iter().map(of).collect::<std::collections::BTreeSet<_>>().len() as u64
        };
        let places = (distinct(|task| task.system_id.0), distinct(|task| task.property_id.0));
        assert_eq!((counted.systems, counted.properties), places, "{filter:?}");
    }
    let other = make::account(rig).await;
    assert_eq!(store.count_tasks(other, &TaskFilter::default()).await.unwrap().total(), 0);
    let theirs = TaskFilter { system_id: Some(fleet.second.id), ..TaskFilter::default() };
    assert_eq!(store.count_tasks(other, &theirs).await.unwrap().total(), 0);
}

async fn moves_of_a_due_date_are_counted(rig: &Rig) {
    let fleet = fleet(rig).await;
    let (store, account) = (&rig.database, fleet.home.account);
    let filter = TaskFilter { system_id: Some(fleet.home.system.id), ..TaskFilter::default() };
    let before = store.moved_tasks(account, &filter, &first(100)).await.unwrap();
    let tasks: Vec<Task> = before.iter().map(|one| one.task.clone()).collect();
    assert_eq!(tasks, store.tasks(account, &filter, &first(100)).await.unwrap());
    let never = Moves { sequence: 0, changed_at: at(110) };
    assert!(before.iter().all(|one| one.moves == never), "{before:?}");
    let mut moved = tasks[0].clone();
    moved.due_on = Some(day(44));
    moved.forecast.due_on = moved.due_on;
    // Stale again, and refreshed with one date moved.
    let touched = store
        .update_system(account, fleet.home.system.id, 1, &fleet.home.system.facts, at(120))
        .await
        .unwrap();
    assert_eq!(touched, Updated::Done);
    let all: Vec<Task> =
        tasks.iter().map(|task| if task.id == moved.id { moved.clone() } else { task.clone() }).collect();
    write(rig, &[&fleet.home.system], &all).await;
    for MovedTask { task, moves } in store.moved_tasks(account, &filter, &first(100)).await.unwrap() {
        assert_eq!(moves.sequence, i64::from(task.id == moved.id), "{task:?}");
    }
    // Gone and back again: who saw it before must not take it for an older one.
    for (version, there) in [(2, false), (3, true)] {
        let touched = store
            .update_system(account, fleet.home.system.id, version, &fleet.home.system.facts, at(130))
            .await;
        assert_eq!(touched.unwrap(), Updated::Done);
        let all: Vec<Task> = all.iter().filter(|task| there || task.id != moved.id).cloned().collect();
        write(rig, &[&fleet.home.system], &all).await;
    }
    for MovedTask { task, moves } in store.moved_tasks(account, &filter, &first(100)).await.unwrap() {
        assert_eq!(moves.sequence, if task.id == moved.id { 2 } else { 0 }, "{task:?}");
    }
}
