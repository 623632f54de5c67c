//! What a refresh wrote comes back, whatever changed in between and however much there is of it.

use super::make::{self, Home, at, claim_all, day, first, home, new_task, refreshed};
use super::{Rig, on_both};
use eavesward_service::domain::base::ids::TaskId;
use eavesward_service::domain::model::component::Component;
use eavesward_service::domain::model::duty::Duty;
use eavesward_service::domain::model::forecast::DutyForecast;
use eavesward_service::domain::model::part::Part;
use eavesward_service::domain::model::reason::Reason;
use eavesward_service::domain::model::status::{NextDuty, Status};
use eavesward_service::domain::model::task::{State, Task, TaskFilter};
use eavesward_service::domain::ports::store::systems::SystemStore as _;
use eavesward_service::domain::ports::store::tasks::{Refreshed, TaskStore as _};

on_both!(
    figures_follow_where_no_row_of_a_task_changes,
    rows_follow_where_tasks_come_and_go,
    a_status_names_its_tasks,
    many_tasks_of_odd_words_come_back,
);

/// Writes tasks as the next refresh of the home does.
async fn write(rig: &Rig, home: &Home, round: i64, tasks: &[Task], status: Status) {
    let claim =
        claim_all(rig, at(round * 1000)).await.into_iter().find(|one| one.system_id == home.system.id);
    let next_at = at(round * 1000 + 500);
    let one =
        Refreshed { status, ..refreshed(claim.expect("it is stale"), &home.system, tasks.to_vec(), next_at) };
    rig.database.finish_refresh(&[one], at(round * 1000 + 1)).await.unwrap();
}

async fn tasks(rig: &Rig, home: &Home) -> Vec<Task> {
    rig.database.tasks(home.account, &TaskFilter::default(), &first(100)).await.unwrap()
}

fn sorted(mut tasks: Vec<Task>) -> Vec<Task> {
    tasks.sort_by_key(|task| (task.sort_on(), task.id));
    tasks
}

async fn figures_follow_where_no_row_of_a_task_changes(rig: &Rig) {
    let home = home(rig).await;
    let task = new_task(&home, 0, Duty::ClearWeepHole, Some(day(4)), State::Near);
    write(rig, &home, 0, std::slice::from_ref(&task), make::status(&home.system, day(0))).await;
    assert_eq!(tasks(rig, &home).await, std::slice::from_ref(&task));
    let mut next = Task { as_of: day(1), refreshed_at: at(1000), ..task };
    next.forecast.reasons =
        vec![Reason::Text("It has rained since.".to_owned()), Reason::Text(String::new())];
    next.forecast.since = day(-3);
    next.forecast.prediction = None;
    write(rig, &home, 1, std::slice::from_ref(&next), make::status(&home.system, day(1))).await;
    assert_eq!(tasks(rig, &home).await, [next]);
    let status = rig.database.status(home.account, home.system.id).await.unwrap();
    assert_eq!(status.map(|polled| polled.status), Some(make::status(&home.system, day(1))));
}

async fn rows_follow_where_tasks_come_and_go(rig: &Rig) {
    let home = home(rig).await;
    let all: Vec<Task> = [
        (0, Duty::ClearWeepHole),
        (1, Duty::RemoveSediment),
        (1, Duty::MeasureSediment),
        (1, Duty::LookOverTank),
        (2, Duty::CompareLevelGauge),
    ]
    .into_iter()
    .zip(0..)
    .map(|((index, duty), number)| {
        let mut task = new_task(&home, index, duty, Some(day(number)), State::Due);
        task.forecast.reasons = vec![Reason::Text(format!("reason of {}", duty.code()))];
        task
    })
    .collect();
    // Each of them missing in turn: every line moves, and each time all forecasts are with their tasks.
    for missing in 0..=all.len() {
        let round = i64::try_from(missing).unwrap();
        let there = |(number, task): (usize, &Task)| {
            let task = Task { refreshed_at: at(round), ..task.clone() };
            (number != missing).then_some(task)
        };
        let now: Vec<Task> = all.iter().enumerate().filter_map(there).collect();
        write(rig, &home, round, &now, make::status(&home.system, day(0))).await;
        assert_eq!(tasks(rig, &home).await, sorted(now));
    }
    // A state or a date that changes alone.
    let mut now: Vec<Task> = all.iter().map(|task| Task { refreshed_at: at(70), ..task.clone() }).collect();
    now[1].state = State::Late;
    now[3].due_on = Some(day(-9));
    now[3].forecast.due_on = now[3].due_on;
    write(rig, &home, 10, &now, make::status(&home.system, day(0))).await;
    assert_eq!(tasks(rig, &home).await, sorted(now));
}

async fn a_status_names_its_tasks(rig: &Rig) {
    let home = home(rig).await;
    let tasks: Vec<Task> =
        [(0, Duty::ClearWeepHole), (1, Duty::RemoveSediment), (2, Duty::CompareLevelGauge)]
            .map(|(index, duty)| new_task(&home, index, duty, Some(day(4)), State::Near))
            .to_vec();
    let next = |id: TaskId, task: &Task| NextDuty {
        task_id: id,
        component_name: task.forecast.component_name.clone(),
        duty: task.duty,
        state: task.state,
        due_on: day(4),
    };
    let mut status = make::status(&home.system, day(0));
    status.next = tasks.iter().rev().map(|task| next(task.id, task)).collect();
    // One that is not among the tasks stays what it is, too.
    status.next.push(next(TaskId(uuid::Uuid::from_u128(5)), &tasks[0]));
    write(rig, &home, 0, &tasks, status.clone()).await;
    let kept = async || rig.database.status(home.account, home.system.id).await.unwrap().unwrap().status;
    assert_eq!(kept().await, status);
    let none = Status { next: Vec::new(), since_served: Vec::new(), ..make::status(&home.system, day(1)) };
    write(rig, &home, 1, &[], none.clone()).await;
    assert_eq!(kept().await, none);
    assert_eq!(self::tasks(rig, &home).await, []);
}

async fn many_tasks_of_odd_words_come_back(rig: &Rig) {
    let home = home(rig).await;
    let names = ["line\nbreak", "\"quoted\" \\ and {braced}", "Ωμέγα – 雨水槽", "", "\u{1}\u{7f}\u{2028}"];
    let mut all = Vec::new();
    for number in 0..150 {
        let mut component = make::new_component(home.system.id, number, Part::LevelGauge);
        component.facts.name = names[usize::try_from(number).unwrap() % names.len()].to_owned();
        rig.database.insert_component(home.account, &component).await.unwrap();
        all.push(task_of(&home, &component, number));
    }
    write(rig, &home, 0, &all, make::status(&home.system, day(0))).await;
    let stored = rig.database.tasks(home.account, &TaskFilter::default(), &first(200)).await.unwrap();
    assert_eq!(stored, sorted(all.clone()));
    for task in &all {
        assert_eq!(rig.database.task(home.account, task.id).await.unwrap().as_ref(), Some(task));
    }
}

fn task_of(home: &Home, component: &Component, number: i64) -> Task {
    let due_on = (number % 7 > 0).then(|| day(number % 5));
    let task = make::task_of(home, &home.system, component, Duty::CompareLevelGauge, due_on, State::Due);
    let reasons = [component.facts.name.repeat(20), format!("{number}")].map(Reason::Text).to_vec();
    Task { forecast: DutyForecast { reasons, ..task.forecast }, ..task }
}
