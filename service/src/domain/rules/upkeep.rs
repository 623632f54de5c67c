//! What a refresh makes of one system: its tasks, its status, and what is needed to decide on reminders.

use crate::domain::base::error::Result;
use crate::domain::base::ids::{TaskId, VisitId};
use crate::domain::base::rounding::rounded;
use crate::domain::model::forecast::{Accumulated, BestDay, Chances, DutyForecast, Limit, Prediction};
use crate::domain::model::inputs::Inputs;
use crate::domain::model::status::{NextDuty, RecentRunoff, RunoffSince, Status};
use crate::domain::model::task::{State, Task, TaskPlace};
use crate::domain::rules::forecast::convert::to_day;
use crate::domain::rules::forecast::gauge_model::GaugeModel;
use crate::domain::rules::forecast::model_inputs::ModelInputs;
use crate::domain::rules::forecast::{history, system};
use crate::domain::rules::reminders::inputs::ReminderInputs;
use chrono::{DateTime, Days, NaiveDate, Utc};
use std::collections::HashMap;

/// Duties that a status lists as next.
const NEXT: usize = 5;

/// The most duties of a status that show their runoff. So a poll stays small for every system.
const MOST_SINCE: usize = 6;

/// What a refresh makes of a system.
pub(crate) struct Upkeep {
    pub tasks: Vec<Task>,
    pub status: Status,
    pub reminders: ReminderInputs,
}

pub(crate) fn upkeep(
    input: &Inputs,
    gauge_model: &GaugeModel,
    as_of: NaiveDate,
    now: DateTime<Utc>,
) -> Result<Upkeep> {
    let components = history::in_service(input, as_of);
    let seen: HashMap<_, _> = components.iter().filter_map(|one| Some((one.id?, &one.seen))).collect();
    let duties = system::forecast(&ModelInputs::of_system(input, gauge_model, as_of, false), &components)?;
    let tasks: Vec<Task> = duties.into_iter().filter_map(|duty| task(input, duty, as_of, now)).collect();
    let status = status(input, gauge_model, &tasks, as_of)?;
    let by_visit = tasks.iter().filter_map(|task| {
        let seen = seen.get(&task.component_id)?.iter().rev();
        let mut did = seen.filter(|seen| seen.item.done && seen.item.duty == task.duty);
        Some((task.id, did.find(|seen| seen.on == task.forecast.since)?.visit))
    });
    let by_visit: HashMap<TaskId, VisitId> = by_visit.collect();
    Ok(Upkeep { reminders: ReminderInputs::of(input, as_of, by_visit), tasks, status })
}

fn task(input: &Inputs, forecast: DutyForecast, as_of: NaiveDate, now: DateTime<Utc>) -> Option<Task> {
    let component_id = forecast.component_id?;
    let place = TaskPlace {
        account_id: input.system.account_id,
        property_id: input.property.id,
        property_name: input.property.facts.name.clone(),
        system_id: input.system.id,
        system_name: input.system.facts.name.clone(),
    };
    let forecast = DutyForecast { prediction: forecast.prediction.map(kept), ..forecast };
    Some(Task::of(place, component_id, forecast, as_of, now))
}

/// A prediction as it is stored: without what only the full forecast shows, and with as many digits as are ever
/// shown.
fn kept(prediction: Prediction) -> Prediction {
    Prediction {
        accumulated: prediction.accumulated.map(|accumulated| Accumulated {
            value: rounded(accumulated.value),
            from_readings: rounded(accumulated.from_readings),
            from_climate: rounded(accumulated.from_climate),
            ..accumulated
        }),
        limit: Limit {
            value: rounded(prediction.limit.value),
            log_sd: rounded(prediction.limit.log_sd),
            prior_value: rounded(prediction.limit.prior_value),
            prior_log_sd: rounded(prediction.limit.prior_log_sd),
            ..prediction.limit
        },
        chances: prediction.chances.map(|chances| Chances {
            today: rounded(chances.today),
            in_7_days: rounded(chances.in_7_days),
            in_30_days: rounded(chances.in_30_days),
            in_90_days: rounded(chances.in_90_days),
        }),
        best_day: prediction.best_day.map(|best| BestDay {
            water_lost_l: rounded(best.water_lost_l),
            water_lost_low_l: rounded(best.water_lost_low_l),
            water_lost_high_l: rounded(best.water_lost_high_l),
            ..best
        }),
        curve: Vec::new(),
        ..prediction
    }
}

fn status(input: &Inputs, gauge_model: &GaugeModel, tasks: &[Task], as_of: NaiveDate) -> Result<Status> {
    let roof = input.system.facts.roof.to_engine();
    let catchment = gauge_model.catchment(&roof)?;
    let runoff = |since: NaiveDate| catchment.runoff_mm(to_day(since), to_day(as_of));
    let next = tasks.iter().filter_map(|task| {
        Some(NextDuty {
            task_id: task.id,
            component_name: task.forecast.component_name.clone(),
            duty: task.duty,
            state: task.state,
            due_on: task.due_on?,
        })
    });
    let fed = tasks.iter().filter(|task| task.duty.facts().follows_runoff);
    let since_served = fed.map(|task| RunoffSince {
        task_id: Some(task.id),
        component_name: task.forecast.component_name.clone(),
        duty: task.duty,
        since: task.forecast.since,
        runoff_mm: rounded(runoff(task.forecast.since)),
    });
    let yesterday = as_of.pred_opt().unwrap_or(as_of);
    // The running day is a gap for nobody before it ends.
    let through = if gauge_model.through().is_some_and(|last| last >= as_of) { as_of } else { yesterday };
    let last = |days: u64| {
        let from = through.checked_sub_days(Days::new(days)).unwrap_or(through);
        let mm = catchment.runoff_mm(to_day(from), to_day(through));
        let read = gauge_model.gauge.days_read(to_day(from), to_day(through));
        RecentRunoff {
            mm: rounded(mm),
            litres: rounded(mm * roof.plan_area_m2),
            unread_days: days as u32 - read,
        }
    };
    Ok(Status {
        system_id: input.system.id,
        system_name: input.system.facts.name.clone(),
        as_of,
        state: tasks.iter().map(|task| task.state).max().unwrap_or(State::Resting),
        next: next.take(NEXT).collect(),
        rain_through: gauge_model.through(),
        last_7_days: last(7),
        last_30_days: last(30),
        since_served: since_served.take(MOST_SINCE).collect(),
    })
}
