//! What a refresh found: the packed forecasts, and the rows of the tasks beside them.

use super::super::make::{self, Home, at, claim_all, day, first, refreshed};
use super::systems::full_parts;
use super::{Case, Form, Rig, settle};
use eavesward_service::domain::base::error::Stored;
use eavesward_service::domain::base::ids::{ComponentId, TaskId};
use eavesward_service::domain::model::component::Component;
use eavesward_service::domain::model::duty;
use eavesward_service::domain::model::duty::{DecidedBy, Duty};
use eavesward_service::domain::model::forecast::{BestDay, Prediction, Window};
use eavesward_service::domain::model::hazard::Hazard;
use eavesward_service::domain::model::measure::Measure;
use eavesward_service::domain::model::part::Clock;
use eavesward_service::domain::model::part::Part;
use eavesward_service::domain::model::reason::Reason;
use eavesward_service::domain::model::status::{NextDuty, RunoffSince, Status};
use eavesward_service::domain::model::task::{State, Task, TaskFilter};
use eavesward_service::domain::ports::store::systems::SystemStore as _;
use eavesward_service::domain::ports::store::tasks::{Refreshed, TaskStore as _};
use uuid::Uuid;

/// The status of a system, and its tasks by date.
pub(super) struct Forecasts;

type Found = (Status, Vec<Task>);

/// A part that has a duty.
fn part_of(duty: Duty) -> Part {
    let weep_hole = make::parts()[0].clone();
    let mut parts = full_parts().into_iter().chain([weep_hole]);
    let found = parts.find(|part| duty::of(part).contains(&duty));
    found.unwrap_or_else(|| panic!("no part of the cases has the duty {}", duty.code()))
}

/// A component of a home that has a duty.
fn component(home: &Home, duty: Duty) -> Component {
    let id = ComponentId(Uuid::new_v5(&home.system.id.0, b"of the duty"));
    Component { id, ..make::new_component(home.system.id, 20, part_of(duty)) }
}

/// One task of a duty, and a status that names it.
fn one(name: String, duty: Duty, change: impl FnOnce(&mut Status, &mut Task)) -> Case<Found> {
    Case::of(name, |home| {
        let component = component(home, duty);
        let mut task = make::task_of(home, &home.system, &component, duty, Some(day(4)), State::Near);
        let mut status = make::status(&home.system, day(0));
        status.next = vec![next(&task)];
        change(&mut status, &mut task);
        (status, vec![task])
    })
}

fn next(task: &Task) -> NextDuty {
    NextDuty {
        task_id: task.id,
        component_name: task.forecast.component_name.clone(),
        duty: task.duty,
        state: task.state,
        due_on: day(4),
    }
}

/// Fills everything of a prediction that may be absent.
fn with_everything(prediction: &mut Prediction, clock: Clock) {
    prediction.clock = Some(clock);
    prediction.window =
        Some(Window { early_on: Some(day(10)), likely_on: Some(day(20)), late_on: Some(day(40)) });
    prediction.best_day = Some(BestDay {
        on: day(17),
        water_lost_l: 120.5,
        water_lost_low_l: 0.1 + 0.2,
        water_lost_high_l: 900.25,
        in_wet_season: true,
    });
}

/// Takes everything out of a prediction that may be absent.
fn with_nothing(prediction: &mut Prediction) {
    (prediction.window, prediction.accumulated, prediction.chances) = (None, None, None);
    (prediction.clock, prediction.best_day) = (None, None);
    prediction.limit.judgement = true;
}

fn of_words() -> Vec<Case<Found>> {
    let usual = Duty::CleanScreen;
    let duties = Duty::ALL.iter().map(|&duty| one(format!("duty: {}", duty.code()), duty, |_, _| {}));
    let states = State::ALL.iter().map(|&state| {
        one(format!("state: {}", state.code()), usual, |status, task| {
            (status.state, status.next[0].state, task.state) = (state, state, state);
        })
    });
    let decided = DecidedBy::ALL.iter().map(|&word| {
        one(format!("decided by: {}", word.code()), usual, |_, task| task.forecast.decided_by = word)
    });
    let hazards = Hazard::ALL.iter().map(|&hazard| {
        one(format!("hazard: {}", hazard.code()), usual, |_, task| task.forecast.hazards = vec![hazard])
    });
    let clocks = Clock::ALL.iter().map(|&clock| {
        one(format!("a prediction with everything, clock: {}", clock.code()), usual, |_, task| {
            with_everything(task.forecast.prediction.as_mut().unwrap(), clock);
        })
    });
    let measures = Measure::ALL.iter().map(|&measure| {
        one(format!("measure: {}", measure.code()), usual, |_, task| {
            let prediction = task.forecast.prediction.as_mut().unwrap();
            prediction.accumulated.as_mut().unwrap().unit = measure;
            prediction.limit.unit = measure;
            task.forecast.reasons =
                vec![Reason::Accumulated { accumulated: 9.5, unit: measure, since: day(-20), limit: 20.0 }];
        })
    });
    duties.chain(states).chain(decided).chain(hazards).chain(clocks).chain(measures).collect()
}

impl Form for Forecasts {
    const FILE: &'static str = "forecasts";
    type Value = Found;

    fn cases() -> Vec<Case<Found>> {
        let mut cases = of_words();
        cases.push(one("a prediction with nothing".to_owned(), Duty::CleanScreen, |_, task| {
            with_nothing(task.forecast.prediction.as_mut().unwrap());
        }));
        cases.push(one("no prediction, no date".to_owned(), Duty::CheckPump, |status, task| {
            (task.due_on, task.forecast.due_on, task.state) = (None, None, State::Resting);
            (task.forecast.prediction, task.forecast.ceiling_on) = (None, None);
            task.forecast.own_ceiling = false;
            task.forecast.hazards = Vec::new();
            task.forecast.reasons =
                ["The rain of March.", "\"Ωμέγα\"\n"].map(|text| Reason::Text(text.to_owned())).to_vec();
            status.rain_through = None;
            status.next = Vec::new();
            status.since_served = Vec::new();
        }));
        cases.push(one("runoff since a task".to_owned(), Duty::CleanScreen, |status, task| {
            status.since_served[0].task_id = Some(task.id);
            let other = RunoffSince { task_id: Some(TaskId(Uuid::nil())), ..status.since_served[0].clone() };
            status.since_served.push(other);
        }));
        cases.push(Case::of("several tasks, and one by its id", |home| {
            let duties = [(0, Duty::ClearWeepHole), (1, Duty::RemoveSediment), (2, Duty::CompareLevelGauge)];
            let each = duties.map(|(index, duty)| {
                make::new_task(home, index, duty, Some(day(4 + index as i64)), State::Near)
            });
            let mut status = make::status(&home.system, day(0));
            // The one that is there goes by its id, since no such task is among these.
            status.next.extend(each.iter().rev().map(next));
            (status, each.to_vec())
        }));
        cases
    }

    fn rows(case: &Case<Found>) -> Vec<(&'static str, Uuid)> {
        let system = case.home.system.id.0;
        vec![("forecasts", system), ("tasks", system)]
    }

    async fn ground(rig: &Rig, case: &Case<Found>) {
        settle(rig, &case.home).await;
        let own = case
            .value
            .1
            .first()
            .filter(|task| case.home.components.iter().all(|one| one.id != task.component_id));
        if let Some(task) = own {
            let component = component(&case.home, task.duty);
            rig.database.insert_component(case.home.account, &component).await.unwrap();
        }
    }

    async fn write(rig: &Rig, case: &Case<Found>) {
        let (system, (status, tasks)) = (&case.home.system, &case.value);
        let claims = claim_all(rig, at(0)).await;
        let claim = *claims.iter().find(|claim| claim.system_id == system.id).unwrap();
        let found = refreshed(claim, system, tasks.clone(), at(90_000));
        let found = Refreshed { status: status.clone(), ..found };
        rig.database.finish_refresh(&[found], at(20)).await.unwrap();
    }

    async fn read(rig: &Rig, case: &Case<Found>) -> Stored<Self::Value> {
        let (account, store) = (case.home.account, &rig.database);
        let polled = store.status(account, case.home.system.id).await?.expect("it was refreshed");
        Ok((polled.status, store.tasks(account, &TaskFilter::default(), &first(500)).await?))
    }
}
