//! Rounds that are kept.

use super::make::{
    self, Home, account, after, at, claim_all, day, first, home, new_task, refreshed, round_task,
};
use super::{Rig, on_both};
use eavesward_service::domain::base::error::StoreError;
use eavesward_service::domain::base::ids::{PropertyId, RoundId, TaskId, VisitId};
use eavesward_service::domain::base::paging::PageRequest;
use eavesward_service::domain::model::duty::Duty;
use eavesward_service::domain::model::property::PropertyFacts;
use eavesward_service::domain::model::round::{
    DoneOn, Round, RoundFilter, RoundState, RoundTask, TaskOutcome,
};
use eavesward_service::domain::model::task::{State, Task};
use eavesward_service::domain::model::visit::{Visit, VisitFacts, VisitItem, Withdrawn};
use eavesward_service::domain::ports::store::outcomes::{Cancelled, Finished, Inserted, Updated};
use eavesward_service::domain::ports::store::properties::PropertyStore as _;
use eavesward_service::domain::ports::store::rounds::RoundStore as _;
use eavesward_service::domain::ports::store::tasks::TaskStore as _;
use eavesward_service::domain::ports::store::visits::VisitStore as _;
use std::collections::HashMap;

on_both!(
    a_round_comes_back_as_it_was_kept,
    a_task_stands_in_one_planned_round_at_most,
    rivals_for_a_task_keep_one_round,
    rounds_are_listed_by_day_page_by_page,
    a_planned_round_is_cancelled_and_a_done_one_stays,
    a_round_is_done_once_with_all_its_visits,
    a_round_whose_visit_cannot_be_logged_is_not_done,
    a_visit_takes_what_it_did_out_of_planned_rounds,
    a_visit_gives_back_what_it_did_not_do,
    a_round_that_is_done_meanwhile_gets_nothing_back,
    tasks_and_positions_are_found_by_id,
    rounds_of_another_account_are_out_of_reach,
);

const DUTIES: [(usize, Duty); 3] =
    [(0, Duty::ClearWeepHole), (1, Duty::MeasureSediment), (2, Duty::CompareLevelGauge)];

fn new_round(home: &Home, on: i64, tasks: &[(usize, Duty)]) -> Round {
    let round = Round {
        id: RoundId::new(),
        account_id: home.account,
        on: day(on),
        note: Some("ladder – the long one".to_owned()),
        tasks: tasks.iter().map(|(index, duty)| round_task(home, *index, *duty)).collect(),
        done: None,
        version: 1,
        created_at: at(30),
        updated_at: at(31),
    };
    round.in_order()
}

async fn kept(rig: &Rig, home: &Home, on: i64, tasks: &[(usize, Duty)]) -> Round {
    let round = new_round(home, on, tasks);
    assert_eq!(rig.database.insert_round(&round).await.unwrap(), Inserted::Done);
    round
}

async fn planned(rig: &Rig, home: &Home) -> Vec<TaskId> {
    let tasks = rig.database.planned_tasks(home.account).await.unwrap();
    let mut tasks: Vec<TaskId> = tasks.into_iter().map(|task| task.task_id).collect();
    tasks.sort_unstable();
    tasks
}

fn ids(round: &Round) -> Vec<TaskId> {
    let mut ids: Vec<TaskId> = round.tasks.iter().map(|task| task.task_id).collect();
    ids.sort_unstable();
    ids
}

/// The round as it was done, its last task skipped, and its visit.
fn done(home: &Home, round: &Round) -> (Round, Visit) {
    let visit_id = VisitId::of(round.id, home.system.id);
    let mut done = Round {
        done: Some(DoneOn { on: day(4), at: at(60) }),
        version: 2,
        updated_at: at(60),
        ..round.clone()
    };
    let last = done.tasks.len() - 1;
    for (index, task) in done.tasks.iter_mut().enumerate() {
        task.outcome = Some(if index == last {
            TaskOutcome::Skipped(Some("the shed was locked".to_owned()))
        } else {
            TaskOutcome::Visited(visit_id)
        });
    }
    let items = done.tasks[..last].iter().map(|task| VisitItem::done(task.component_id, task.duty));
    let facts = VisitFacts {
        system_id: home.system.id,
        visited_on: day(4),
        visited_by: None,
        items: items.collect(),
        note: None,
    };
    let (created_at, updated_at) = (at(60), at(60));
    let visit = Visit {
        id: visit_id,
        account_id: home.account,
        facts,
        withdrawn: None,
        version: 1,
        created_at,
        updated_at,
    };
    (done, visit)
}

async fn a_round_comes_back_as_it_was_kept(rig: &Rig) {
    let home = home(rig).await;
    let round = kept(rig, &home, 3, &DUTIES).await;
    assert_eq!(rig.database.round(home.account, round.id).await.unwrap().as_ref(), Some(&round));
    // A repeated request keeps what is there.
    let mut again = round.clone();
    again.note = None;
    assert_eq!(rig.database.insert_round(&again).await.unwrap(), Inserted::Done);
    assert_eq!(rig.database.round(home.account, round.id).await.unwrap().as_ref(), Some(&round));
    assert_eq!(planned(rig, &home).await, ids(&round));
    // Names are those of now.
    let facts = PropertyFacts { name: "Old orchard".to_owned(), ..home.property.facts.clone() };
    let updated =
        rig.database.update_property(home.account, home.property.id, 1, &facts, at(50)).await.unwrap();
    assert_eq!(updated, Updated::Done);
    let read = rig.database.round(home.account, round.id).await.unwrap().unwrap();
    assert!(read.tasks.iter().all(|task| task.property_name == "Old orchard"), "{read:?}");
}

async fn a_task_stands_in_one_planned_round_at_most(rig: &Rig) {
    let home = home(rig).await;
    let first = kept(rig, &home, 3, &DUTIES[..2]).await;
    let second = new_round(&home, 5, &DUTIES[1..]);
    let task_id = TaskId::of(home.components[1].id, Duty::MeasureSediment);
    let refused = rig.database.insert_round(&second).await.unwrap();
    assert_eq!(refused, Inserted::Taken { task_id, round_id: first.id });
    assert_eq!(rig.database.round(home.account, second.id).await.unwrap(), None, "nothing was kept");
    assert_eq!(planned(rig, &home).await, ids(&first));
    assert_eq!(rig.database.delete_round(home.account, first.id, 1).await.unwrap(), Cancelled::Done);
    assert_eq!(rig.database.insert_round(&second).await.unwrap(), Inserted::Done);
}

async fn rivals_for_a_task_keep_one_round(rig: &Rig) {
    let home = home(rig).await;
    let other = rig.replica().await;
    for turn in 0..10 {
        let (one, two) = (new_round(&home, turn, &DUTIES), new_round(&home, turn, &DUTIES));
        let (a, b) = tokio::join!(rig.database.insert_round(&one), other.insert_round(&two));
        let outcomes = [a.unwrap(), b.unwrap()];
        let winners = outcomes.iter().filter(|outcome| **outcome == Inserted::Done).count();
        assert_eq!(winners, 1, "{outcomes:?}");
        let winner = if outcomes[0] == Inserted::Done { one } else { two };
        assert_eq!(rig.database.delete_round(home.account, winner.id, 1).await.unwrap(), Cancelled::Done);
    }
    eavesward_service::domain::ports::store::Store::close(&other).await;
}

async fn rounds_are_listed_by_day_page_by_page(rig: &Rig) {
    let home = home(rig).await;
    let done_one = kept(rig, &home, 4, &DUTIES).await;
    let (finished, visit) = done(&home, &done_one);
    assert_eq!(rig.database.finish_round(&finished, &[visit]).await.unwrap(), Finished::Done);
    for (on, duty) in [(7, DUTIES[0]), (4, DUTIES[1]), (4, DUTIES[2])] {
        kept(rig, &home, on, &[duty]).await;
    }
    let list =
        async |filter: &RoundFilter, page| rig.database.rounds(home.account, filter, &page).await.unwrap();
    let all = list(&RoundFilter::default(), first(100)).await;
    assert_eq!(all.len(), 4);
    assert!(all.is_sorted_by(|a, b| (a.on, a.id) < (b.on, b.id)));
    for (filter, number) in [
        (RoundFilter::default(), 4),
        (RoundFilter { state: Some(RoundState::Planned), ..RoundFilter::default() }, 3),
        (RoundFilter { state: Some(RoundState::Done), ..RoundFilter::default() }, 1),
        (RoundFilter { from: Some(day(5)), ..RoundFilter::default() }, 1),
        (RoundFilter { to: Some(day(4)), ..RoundFilter::default() }, 3),
        (RoundFilter { from: Some(day(8)), to: Some(day(9)), ..RoundFilter::default() }, 0),
    ] {
        let whole = list(&filter, first(100)).await;
        assert_eq!(whole.len(), number, "{filter:?}");
        let mut walked: Vec<Round> = Vec::new();
        let mut page: PageRequest<chrono::NaiveDate> = first(1);
        while let Some(next) = list(&filter, page).await.into_iter().next() {
            page = after(next.on, next.id.0, 1);
            walked.push(next);
        }
        assert_eq!(walked, whole, "{filter:?}");
    }
    // A cursor below the filter's beginning does not let rows below it in.
    let late = RoundFilter { from: Some(day(7)), ..RoundFilter::default() };
    assert_eq!(list(&late, after(day(1), uuid::Uuid::nil(), 9)).await.len(), 1);
}

async fn a_planned_round_is_cancelled_and_a_done_one_stays(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    let round = kept(rig, &home, 3, &DUTIES).await;
    assert_eq!(store.delete_round(home.account, round.id, 4).await.unwrap(), Cancelled::Stale { current: 1 });
    assert_eq!(store.delete_round(home.account, RoundId::new(), 1).await.unwrap(), Cancelled::Missing);
    assert_eq!(store.delete_round(home.account, round.id, 1).await.unwrap(), Cancelled::Done);
    assert_eq!(store.round(home.account, round.id).await.unwrap(), None);
    assert_eq!(planned(rig, &home).await, []);
    let round = kept(rig, &home, 3, &DUTIES).await;
    let (finished, visit) = done(&home, &round);
    assert_eq!(store.finish_round(&finished, &[visit]).await.unwrap(), Finished::Done);
    assert_eq!(store.delete_round(home.account, round.id, 2).await.unwrap(), Cancelled::WasDone);
    assert!(store.round(home.account, round.id).await.unwrap().is_some());
}

async fn a_round_is_done_once_with_all_its_visits(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    let round = kept(rig, &home, 3, &DUTIES).await;
    make::settle(rig, &home, at(40), at(90_000)).await;
    let (finished, visit) = done(&home, &round);
    assert_eq!(store.finish_round(&finished, std::slice::from_ref(&visit)).await.unwrap(), Finished::Done);
    assert_eq!(store.round(home.account, round.id).await.unwrap().as_ref(), Some(&finished));
    assert_eq!(store.visit(home.account, visit.id).await.unwrap().as_ref(), Some(&visit));
    assert_eq!(store.stale_count(at(60)).await.unwrap(), 1, "the system visited is to be forecast anew");
    assert_eq!(planned(rig, &home).await, [], "its tasks are free, skipped or done");
    // Somebody slower changes nothing.
    let (mut other, mut second) = done(&home, &round);
    other.done = Some(DoneOn { on: day(6), at: at(70) });
    second.facts.visited_on = day(6);
    assert_eq!(store.finish_round(&other, &[second]).await.unwrap(), Finished::Before);
    assert_eq!(store.round(home.account, round.id).await.unwrap(), Some(finished));
    assert_eq!(store.visit(home.account, visit.id).await.unwrap(), Some(visit));
    let unknown = Round { id: RoundId::new(), ..other };
    assert_eq!(store.finish_round(&unknown, &[]).await.unwrap(), Finished::Missing);
}

async fn a_round_whose_visit_cannot_be_logged_is_not_done(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    let round = kept(rig, &home, 3, &DUTIES).await;
    let (finished, visit) = done(&home, &round);
    let mut nowhere = visit.clone();
    nowhere.id = VisitId::new();
    nowhere.facts.system_id = eavesward_service::domain::base::ids::SystemId::new();
    let failed = store.finish_round(&finished, &[visit.clone(), nowhere]).await;
    assert!(matches!(failed, Err(StoreError::Dangling(_))), "{failed:?}");
    assert_eq!(store.round(home.account, round.id).await.unwrap().as_ref(), Some(&round));
    assert_eq!(store.visit(home.account, visit.id).await.unwrap(), None, "all of them or none");
    assert_eq!(planned(rig, &home).await, ids(&round));
}

/// A visit that did some of these on a day and looked at the rest.
fn visited(home: &Home, on: chrono::NaiveDate, done: &[RoundTask], looked: &[RoundTask]) -> Visit {
    let item = |task: &RoundTask, done| VisitItem { done, ..VisitItem::done(task.component_id, task.duty) };
    let items = done.iter().map(|task| item(task, true)).chain(looked.iter().map(|task| item(task, false)));
    let facts = VisitFacts {
        system_id: home.system.id,
        visited_on: on,
        visited_by: None,
        items: items.collect(),
        note: None,
    };
    let (created_at, updated_at) = (at(60), at(60));
    let (id, account_id) = (VisitId::new(), home.account);
    Visit { id, account_id, facts, withdrawn: None, version: 1, created_at, updated_at }
}

async fn a_visit_takes_what_it_did_out_of_planned_rounds(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    let round = kept(rig, &home, 3, &DUTIES).await;
    let kept_on = round.created_at.date_naive();
    let [first, second, third] = round.tasks.as_slice() else { panic!("three tasks: {round:?}") };
    let one = std::slice::from_ref(first);
    // The visits of past years mean no round of today, and a look does nothing.
    let old = visited(&home, kept_on - chrono::TimeDelta::days(32), one, &[]);
    let look = visited(&home, kept_on, &[], one);
    for visit in [&old, &look] {
        store.insert_visit(visit).await.unwrap();
        assert_eq!(store.round(home.account, round.id).await.unwrap().as_ref(), Some(&round));
    }
    let done_before =
        visited(&home, kept_on - chrono::TimeDelta::days(30), one, std::slice::from_ref(second));
    store.insert_visit(&done_before).await.unwrap();
    let read = store.round(home.account, round.id).await.unwrap().unwrap();
    let outcomes: Vec<_> = read.tasks.iter().map(|task| task.outcome.clone()).collect();
    assert_eq!(outcomes, [Some(TaskOutcome::Visited(done_before.id)), None, None]);
    assert_eq!(read.tasks[0].done_elsewhere(round.id), Some(done_before.id));
    assert_eq!(planned(rig, &home).await.len(), 2);
    // It is free for another round.
    let free = Round { tasks: one.to_vec(), ..new_round(&home, 5, &DUTIES[..1]) };
    assert_eq!(store.insert_round(&free).await.unwrap(), Inserted::Done);
    // Whoever read the round before is told to read it again, and logs nothing.
    let (stale, visit) = done(&home, &round);
    assert_eq!(store.finish_round(&stale, std::slice::from_ref(&visit)).await.unwrap(), Finished::Moved);
    assert_eq!(store.visit(home.account, visit.id).await.unwrap(), None);
    let (mut finished, _) = done(&home, &read);
    finished.tasks[0].outcome.clone_from(&read.tasks[0].outcome);
    let mut visit = visited(&home, day(4), std::slice::from_ref(second), &[]);
    visit.id = VisitId::of(round.id, home.system.id);
    assert_eq!(store.finish_round(&finished, std::slice::from_ref(&visit)).await.unwrap(), Finished::Done);
    let read = store.round(home.account, round.id).await.unwrap().unwrap();
    assert_eq!(read, finished);
    assert_eq!((read.visits(), third.task_id), (vec![visit.id], read.tasks[2].task_id));
    assert_eq!(planned(rig, &home).await, ids(&free), "another round's task stays planned");
}

async fn a_visit_gives_back_what_it_did_not_do(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    let first_round = kept(rig, &home, 3, &DUTIES).await;
    let [first, second, third] = DUTIES.map(|(index, duty)| round_task(&home, index, duty).task_id);
    let visit = visited(&home, first_round.created_at.date_naive(), &first_round.tasks, &[]);
    store.insert_visit(&visit).await.unwrap();
    let open = async |round: &Round| {
        let read = store.round(home.account, round.id).await.unwrap().unwrap();
        let mut open: Vec<TaskId> =
            read.tasks.iter().filter(|task| task.outcome.is_none()).map(|task| task.task_id).collect();
        open.sort_by_key(|id| [first, second, third].iter().position(|known| known == id));
        open
    };
    let mut version = 1;
    let mut corrected = async |visit: Visit| {
        let new = Visit { version: version + 1, ..visit };
        assert_eq!(store.update_visit(home.account, version, &new).await.unwrap(), Updated::Done);
        version += 1;
    };
    let less = |gone: &[TaskId]| {
        let mut visit = visit.clone();
        visit.facts.items.retain(|item| !gone.contains(&TaskId::of(item.component_id, item.duty)));
        visit
    };
    assert_eq!(open(&first_round).await, []);
    // Whoever keeps a round later means to do it again, whatever is then said of the visit's note.
    let later = kept(rig, &home, 4, &DUTIES[..2]).await;
    let mut noted = visit.clone();
    noted.facts.note = Some("the long ladder".to_owned());
    corrected(noted).await;
    assert_eq!((open(&first_round).await, open(&later).await), (vec![], vec![first, second]));
    // Two were not done: one is free, the other stands in the later round.
    corrected(less(&[first, third])).await;
    assert_eq!((open(&first_round).await, open(&later).await), (vec![third], vec![first, second]));
    // They were, after all: then they were so before the later round as well.
    corrected(visit.clone()).await;
    assert_eq!((open(&first_round).await, open(&later).await), (vec![], vec![second]));
    // It was in another year, as good as; and back.
    let mut old = visit.clone();
    old.facts.visited_on = visit.facts.visited_on - chrono::TimeDelta::days(40);
    corrected(old).await;
    assert_eq!((open(&first_round).await, open(&later).await), (vec![third], vec![first, second]));
    corrected(visit.clone()).await;
    assert_eq!((open(&first_round).await, open(&later).await), (vec![], vec![]));
    let wanted = kept(rig, &home, 5, &DUTIES[1..2]).await;
    let withdrawn = Some(Withdrawn { at: at(90), because: "next door".to_owned() });
    corrected(Visit { withdrawn, ..visit.clone() }).await;
    assert_eq!(open(&wanted).await, [second]);
    assert_eq!(open(&later).await, [first], "the newest of those that lost it");
    assert_eq!(open(&first_round).await, [third]);
}

async fn a_round_that_is_done_meanwhile_gets_nothing_back(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    for attempt in 0..12 {
        let round = kept(rig, &home, 3, &DUTIES).await;
        let visit = visited(&home, round.created_at.date_naive(), &round.tasks[..1], &[]);
        store.insert_visit(&visit).await.unwrap();
        let read = store.round(home.account, round.id).await.unwrap().unwrap();
        let (mut finished, made) = done(&home, &read);
        finished.tasks[0].outcome.clone_from(&read.tasks[0].outcome);
        let withdrawn = Some(Withdrawn { at: at(90), because: "next door".to_owned() });
        let none = Visit { version: 2, withdrawn, ..visit };
        // A rival for the task that becomes free.
        let rival = Round { tasks: round.tasks[..1].to_vec(), ..new_round(&home, 9, &DUTIES[..1]) };
        let replica = rig.replica().await;
        let (reported, gone, kept) = tokio::join!(
            replica.finish_round(&finished, std::slice::from_ref(&made)),
            store.update_visit(home.account, 1, &none),
            replica.insert_round(&rival),
        );
        assert_eq!(gone.unwrap(), Updated::Done, "{attempt}");
        assert!(matches!(kept.unwrap(), Inserted::Done | Inserted::Taken { .. }));
        let reported = reported.unwrap();
        assert!(matches!(reported, Finished::Done | Finished::Moved), "{reported:?}");
        let now = store.round(home.account, round.id).await.unwrap().unwrap();
        let open = now.tasks.iter().filter(|task| task.outcome.is_none()).count();
        assert_eq!(now.done.is_some(), reported == Finished::Done);
        assert!(now.done.is_none() || open == 0, "a round that is done has nothing open: {now:?}");
        // Clear the table for the next attempt.
        for round in [round.id, rival.id] {
            let left = store.round(home.account, round).await.unwrap().filter(|round| round.done.is_none());
            if let Some(left) = left {
                assert_eq!(
                    store.delete_round(home.account, round, left.version).await.unwrap(),
                    Cancelled::Done
                );
            }
        }
        assert_eq!(planned(rig, &home).await, [], "{attempt}");
    }
}

async fn tasks_and_positions_are_found_by_id(rig: &Rig) {
    let home = home(rig).await;
    let claim = claim_all(rig, at(100)).await.remove(0);
    let tasks = vec![
        new_task(&home, 0, Duty::ClearWeepHole, Some(day(4)), State::Near),
        new_task(&home, 2, Duty::CompareLevelGauge, None, State::Resting),
    ];
    let all = [refreshed(claim, &home.system, tasks.clone(), at(90_000))];
    rig.database.finish_refresh(&all, at(110)).await.unwrap();
    let mut asked: Vec<TaskId> = tasks.iter().map(|task| task.id).collect();
    asked.push(TaskId(uuid::Uuid::nil()));
    let mut found = rig.database.tasks_by_id(home.account, &asked).await.unwrap();
    found.sort_by_key(Task::sort_on);
    assert_eq!(found, tasks);
    assert_eq!(rig.database.tasks_by_id(home.account, &[]).await.unwrap(), []);
    let other = account(rig).await;
    assert_eq!(rig.database.tasks_by_id(other, &asked).await.unwrap(), []);
    let properties = [home.property.id, PropertyId::new()];
    assert_eq!(
        rig.database.positions(home.account, &properties).await.unwrap(),
        HashMap::from([(home.property.id, home.property.facts.position())])
    );
    assert_eq!(rig.database.positions(other, &properties).await.unwrap(), HashMap::new());
}

async fn rounds_of_another_account_are_out_of_reach(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    let other = account(rig).await;
    let round = kept(rig, &home, 3, &DUTIES).await;
    assert_eq!(store.round(other, round.id).await.unwrap(), None);
    assert_eq!(store.rounds(other, &RoundFilter::default(), &first(9)).await.unwrap(), []);
    assert_eq!(store.planned_tasks(other).await.unwrap(), []);
    assert_eq!(store.delete_round(other, round.id, 1).await.unwrap(), Cancelled::Missing);
    let (mut finished, _) = done(&home, &round);
    finished.account_id = other;
    assert_eq!(store.finish_round(&finished, &[]).await.unwrap(), Finished::Missing);
    let smuggled = Round { id: RoundId::new(), account_id: other, ..new_round(&home, 3, &DUTIES) };
    assert!(matches!(store.insert_round(&smuggled).await, Err(StoreError::Dangling(_))));
    assert_eq!(store.round(home.account, round.id).await.unwrap(), Some(round));
}
