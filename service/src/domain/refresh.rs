//! Refreshing: stale systems are forecast for their local day and their tasks and status written, so that readers never
//! compute a fleet.

use crate::domain::Context;
use crate::domain::clock::{end_of_day, local_date};
use crate::domain::error::{Error, Result};
use crate::domain::forecast::{self, DutyForecast, Ground, to_day};
use crate::domain::ids::{AccountId, GaugeId, SystemId, TaskId};
use crate::domain::rain::RainDay;
use crate::domain::status::{NextDuty, RecentRunoff, RunoffSince, Status};
use crate::domain::store::{Inputs, Refreshed, StaleSystem};
use crate::domain::task::{State, Task};
use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use std::collections::hash_map::Entry;
use std::collections::{BTreeMap, HashMap};
use std::panic::{AssertUnwindSafe, catch_unwind};

/// How many systems are claimed at a time.
const BATCH: u32 = 200;
/// How long a claim holds others off.
const HELD: TimeDelta = TimeDelta::minutes(5);
/// When a system that could not be refreshed is tried again.
const RETRY: TimeDelta = TimeDelta::minutes(15);
/// Entries of a status.
const NEXT: usize = 5;
/// The most duties of a status that show their runoff: a poll stays small whatever the system.
const MOST_SINCE: usize = 12;

/// What one round did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Round {
    /// Systems refreshed.
    pub refreshed: usize,
    /// Systems that could not be, to be tried again later.
    pub failed: usize,
}

/// Refreshes everything that is stale now. Running it twice, or on two replicas at once, writes the same rows.
pub async fn run(cx: &Context) -> Result<Round> {
    let mut round = Round::default();
    loop {
        let done = batch(cx).await?;
        round.refreshed += done.refreshed;
        round.failed += done.failed;
        if done.refreshed + done.failed == 0 {
            return Ok(round);
        }
    }
}

/// Claims one batch and refreshes it.
async fn batch(cx: &Context) -> Result<Round> {
    let now = cx.clock.now();
    let claims = cx.store.claim_stale(now, now + HELD, BATCH).await?;
    if claims.is_empty() {
        return Ok(Round::default());
    }
    let keys: Vec<_> = claims.iter().map(|claim| (claim.account_id, claim.system_id)).collect();
    let inputs = cx.store.inputs(&keys).await?;
    // The latest local date of all zones bounds what any of the systems may use.
    let through = local_date(now, chrono_tz::Pacific::Kiritimati);
    let mut rain: HashMap<GaugeId, Vec<RainDay>> = HashMap::new();
    for input in &inputs {
        if let Entry::Vacant(gap) = rain.entry(input.gauge.id) {
            gap.insert(cx.store.rain_record(input.gauge.id, through).await?);
        }
    }
    let claimed = claims.clone();
    let (refreshed, failed) = forecast::blocking(move || Ok(compute(&claimed, &inputs, &rain, now))).await?;
    cx.store.finish_refresh(&refreshed, now).await?;
    if !failed.is_empty() {
        cx.store.release_stale(&failed, now + RETRY).await?;
    }
    Ok(Round { refreshed: refreshed.len(), failed: failed.len() })
}

/// Forecasts a batch. The climate is fitted once for each gauge and local day.
fn compute(
    claims: &[StaleSystem],
    inputs: &[Inputs],
    rain: &HashMap<GaugeId, Vec<RainDay>>,
    now: DateTime<Utc>,
) -> (Vec<Refreshed>, Vec<StaleSystem>) {
    let by_system: HashMap<SystemId, &StaleSystem> =
        claims.iter().map(|claim| (claim.system_id, claim)).collect();
    let mut grounds: BTreeMap<(GaugeId, NaiveDate), Ground> = BTreeMap::new();
    let (mut refreshed, mut failed) = (Vec::new(), Vec::new());
    for input in inputs {
        let Some(&&claim) = by_system.get(&input.system.id) else { continue };
        let zone = input.property.facts.time_zone;
        let as_of = local_date(now, zone);
        let ground = grounds.entry((input.gauge.id, as_of)).or_insert_with(|| {
            let days = rain.get(&input.gauge.id).map_or(&[][..], Vec::as_slice);
            Ground::new(days, input.gauge.facts.normals.as_ref(), as_of)
        });
        // A defect that one system's figures bring out must not keep the others from being refreshed.
        let forecast = catch_unwind(AssertUnwindSafe(|| tasks_and_status(input, ground, as_of, now)));
        match forecast.unwrap_or_else(|_| Err(Error::Conflict("the forecast panicked".to_owned()))) {
            Ok((tasks, status)) => {
                refreshed.push(Refreshed { claim, tasks, status, next_at: end_of_day(as_of, zone) });
            }
            Err(error) => {
                let (system, gauge) = (input.system.id, input.gauge.id);
                tracing::error!(%system, %gauge, error = ?error, "system {system} could not be forecast");
                failed.push(claim);
            }
        }
    }
    (refreshed, failed)
}

fn tasks_and_status(
    input: &Inputs,
    ground: &Ground,
    as_of: NaiveDate,
    now: DateTime<Utc>,
) -> Result<(Vec<Task>, Status)> {
    let components = forecast::in_service(input, as_of);
    let roofed = forecast::roofed(input, &components);
    let facts = &input.system.facts;
    let duties = forecast::forecast(
        &roofed,
        facts.demand_l_per_day,
        Some(facts.commissioned_on),
        &components,
        &input.duty_settings,
        ground,
        as_of,
    )?;
    let tasks: Vec<Task> = duties.into_iter().filter_map(|duty| task(input, duty, as_of, now)).collect();
    let status = status(input, ground, &roofed.roof, &tasks, as_of)?;
    Ok((tasks, status))
}

fn task(input: &Inputs, forecast: DutyForecast, as_of: NaiveDate, now: DateTime<Utc>) -> Option<Task> {
    let component_id = forecast.component_id?;
    let late_on = forecast.prediction.as_ref().and_then(|prediction| prediction.window?.late_on);
    Some(Task {
        id: TaskId::of(component_id, forecast.duty),
        account_id: input.system.account_id,
        property_id: input.property.id,
        system_id: input.system.id,
        component_id,
        kind: forecast.kind,
        duty: forecast.duty,
        state: State::on(as_of, forecast.due_on, late_on),
        due_on: forecast.due_on,
        names: (input.property.facts.name.clone(), input.system.facts.name.clone()),
        forecast,
        as_of,
        refreshed_at: now,
    })
}

fn status(
    input: &Inputs,
    ground: &Ground,
    roof: &eavesward_engine::Roof,
    tasks: &[Task],
    as_of: NaiveDate,
) -> Result<Status> {
    let catchment = ground.catchment(roof)?;
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
    let since_served =
        tasks.iter().filter(|task| task.forecast.prediction.is_some()).map(|task| RunoffSince {
            component_name: task.forecast.component_name.clone(),
            duty: task.duty,
            since: task.forecast.since,
            runoff_mm: runoff(task.forecast.since),
        });
    let last = |days: u64| {
        let from = as_of.checked_sub_days(Days::new(days)).unwrap_or(as_of);
        let mm = runoff(from);
        let read = ground.gauge.days_read(to_day(from), to_day(as_of));
        RecentRunoff { mm, litres: mm * roof.plan_area_m2, unread_days: days as u32 - read }
    };
    Ok(Status {
        system_id: input.system.id,
        system_name: input.system.facts.name.clone(),
        as_of,
        state: tasks.iter().map(|task| task.state).max().unwrap_or(State::Resting),
        next: next.take(NEXT).collect(),
        rain_through: ground.through(),
        last_7_days: last(7),
        last_30_days: last(30),
        since_served: since_served.take(MOST_SINCE).collect(),
    })
}

/// Makes the status of a system that was never refreshed.
pub async fn make_status(cx: &Context, account: AccountId, id: SystemId) -> Result<Option<Status>> {
    let Some(input) = cx.store.inputs(&[(account, id)]).await?.pop() else { return Ok(None) };
    let now = cx.clock.now();
    let as_of = local_date(now, input.property.facts.time_zone);
    let days = cx.store.rain_record(input.gauge.id, as_of).await?;
    forecast::blocking(move || {
        let ground = Ground::new(&days, input.gauge.facts.normals.as_ref(), as_of);
        Ok(Some(tasks_and_status(&input, &ground, as_of, now)?.1))
    })
    .await
}
