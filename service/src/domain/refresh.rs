//! Refreshing: stale systems are forecast for their local day and their tasks and status written, so that readers never
//! compute a fleet.

use crate::domain::Context;
use crate::domain::clock::{end_of_day, local_date};
use crate::domain::error::{Error, Result};
use crate::domain::forecast::{
    self, BestDay, Chances, DutyForecast, Ground, Mark, Prediction, Tally, to_day,
};
use crate::domain::gauge::Gauge;
use crate::domain::ids::{AccountId, GaugeId, SystemId, TaskId, VisitId};
use crate::domain::reminder::Telling;
use crate::domain::rounding::rounded;
use crate::domain::status::{NextDuty, RecentRunoff, RunoffSince, Status};
use crate::domain::store::{Inputs, Refreshed, StaleSystem};
use crate::domain::task::{State, Task};
use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use std::collections::HashMap;
use std::collections::hash_map::Entry;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use tokio::runtime::Handle;
use tokio::task::JoinHandle;
use tracing::Instrument as _;

/// How many systems are claimed at a time. Enough to share the work of a gauge and the wait for the disk; few enough that
/// what all hands hold is some ten megabytes.
const BATCH: u32 = 384;
/// How many batches are worked on at once: two are computed while one is read and one is written. They also are the most
/// connections that refreshing takes.
const HANDS: usize = 4;
/// How long a claim holds others off.
const HELD: TimeDelta = TimeDelta::minutes(5);
/// When a system that could not be refreshed is tried again.
const RETRY: TimeDelta = TimeDelta::minutes(15);
/// Entries of a status.
const NEXT: usize = 5;
/// The most duties of a status that show their runoff: a poll stays small whatever the system.
const MOST_SINCE: usize = 6;

/// What one round did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Round {
    /// Systems refreshed.
    pub refreshed: usize,
    /// Systems that could not be, to be tried again later.
    pub failed: usize,
    /// Entries that were appended to the reminders' feeds.
    pub told: usize,
}

/// Refreshes everything that is stale now. Running it twice, or on two replicas at once, writes the same rows.
///
/// Where there is much to do, several hands do it, each a batch at a time from claim to commit: while one computes, another
/// reads and a third writes. When the future is dropped, they end with the batches that they hold.
pub async fn run(cx: &Context) -> Result<Round> {
    let claims = claim(cx).await?;
    let hands = match claims.len() {
        0 => return Ok(Round::default()),
        some if some < BATCH as usize => 1,
        _ => HANDS,
    };
    let go_on = GoOn(Arc::new(AtomicBool::new(true)));
    let mut working = vec![hand(cx.clone(), claims, Arc::clone(&go_on.0))];
    working.extend((1..hands).map(|_| hand(cx.clone(), Vec::new(), Arc::clone(&go_on.0))));
    let mut round = Ok(Round::default());
    for hand in working {
        let done = hand.await.unwrap_or_else(|failed| std::panic::resume_unwind(failed.into_panic()));
        round = round.and_then(|round: Round| {
            let done = done?;
            Ok(Round {
                refreshed: round.refreshed + done.refreshed,
                failed: round.failed + done.failed,
                told: round.told + done.told,
            })
        });
    }
    round
}

/// Set as long as somebody waits for the round.
struct GoOn(Arc<AtomicBool>);

impl Drop for GoOn {
    fn drop(&mut self) {
        self.0.store(false, Ordering::Relaxed);
    }
}

/// Takes batch after batch, on a thread of its own: what is computed and what is read would keep requests waiting.
fn hand(cx: Context, claims: Vec<StaleSystem>, go_on: Arc<AtomicBool>) -> JoinHandle<Result<Round>> {
    let runtime = Handle::current();
    tokio::task::spawn_blocking(move || {
        runtime.block_on(async {
            let (mut claims, mut round) = (claims, Round::default());
            loop {
                if claims.is_empty() && go_on.load(Ordering::Relaxed) {
                    claims = claim(&cx).await?;
                }
                if claims.is_empty() {
                    return Ok(round);
                }
                let done = batch(&cx, &claims).await?;
                round.refreshed += done.refreshed;
                round.failed += done.failed;
                round.told += done.told;
                claims.clear();
            }
        })
    })
}

async fn claim(cx: &Context) -> Result<Vec<StaleSystem>> {
    let now = cx.clock.now();
    let claims = cx.store.claim_stale(now, now + HELD, BATCH).instrument(tracing::debug_span!("claim"));
    Ok(claims.await?)
}

/// Refreshes what was claimed.
async fn batch(cx: &Context, claims: &[StaleSystem]) -> Result<Round> {
    let now = cx.clock.now();
    let keys: Vec<_> = claims.iter().map(|claim| (claim.account_id, claim.system_id)).collect();
    let inputs = cx.store.inputs(&keys).instrument(tracing::debug_span!("inputs")).await?;
    let mut grounds: HashMap<GaugeId, Arc<Ground>> = HashMap::new();
    for gauge in inputs.iter().map(|input| &input.gauge) {
        if let Entry::Vacant(gap) = grounds.entry(gauge.id) {
            gap.insert(ground(cx, gauge, now).instrument(tracing::debug_span!("rain")).await?);
        }
    }
    let (refreshed, failed) =
        tracing::debug_span!("engine").in_scope(|| compute(claims, &inputs, &grounds, now));
    let told = cx.store.finish_refresh(&refreshed, now).instrument(tracing::debug_span!("finish")).await?;
    cx.tell();
    if !failed.is_empty() {
        cx.store.release_stale(&failed, now + RETRY).await?;
    }
    cx.grounds.used(&grounds, now);
    Ok(Round { refreshed: refreshed.len(), failed: failed.len(), told })
}

/// The rain under a gauge, as far as any of its systems may use it: through the latest local date of all zones.
pub(super) async fn ground(cx: &Context, gauge: &Gauge, now: DateTime<Utc>) -> Result<Arc<Ground>> {
    let through = local_date(now, chrono_tz::Pacific::Kiritimati);
    let read = async |known| cx.store.rain_since(gauge.id, known, through).await;
    cx.grounds.ground(gauge, through, read).await
}

/// Forecasts a batch. Where a gauge has readings of days that have not come yet for a system, they are left aside.
fn compute(
    claims: &[StaleSystem],
    inputs: &[Inputs],
    grounds: &HashMap<GaugeId, Arc<Ground>>,
    now: DateTime<Utc>,
) -> (Vec<Refreshed>, Vec<StaleSystem>) {
    let by_system: HashMap<SystemId, &StaleSystem> =
        claims.iter().map(|claim| (claim.system_id, claim)).collect();
    let mut by_day: HashMap<(GaugeId, NaiveDate), Arc<Ground>> = HashMap::new();
    let (mut refreshed, mut failed) = (Vec::new(), Vec::new());
    for input in inputs {
        let Some(&&claim) = by_system.get(&input.system.id) else { continue };
        let Some(whole) = grounds.get(&input.gauge.id) else { continue };
        let zone = input.property.facts.time_zone;
        let as_of = local_date(now, zone);
        let ground = by_day.entry((input.gauge.id, as_of)).or_insert_with(|| through(whole, as_of));
        // A defect that one system's figures bring out must not keep the others from being refreshed.
        let forecast = catch_unwind(AssertUnwindSafe(|| tasks_and_status(input, ground, as_of, now)));
        match forecast.unwrap_or_else(|_| Err(Error::Conflict("the forecast panicked".to_owned()))) {
            Ok(Found { tasks, status, telling }) => {
                refreshed.push(Refreshed { claim, tasks, status, next_at: end_of_day(as_of, zone), telling });
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

/// A ground as it stood on a day.
pub(super) fn through(ground: &Arc<Ground>, day: NaiveDate) -> Arc<Ground> {
    match ground.through() {
        Some(last) if last > day => Arc::new(ground.until(day)),
        _ => Arc::clone(ground),
    }
}

/// What is found of a system.
struct Found {
    tasks: Vec<Task>,
    status: Status,
    telling: Telling,
}

fn tasks_and_status(input: &Inputs, ground: &Ground, as_of: NaiveDate, now: DateTime<Utc>) -> Result<Found> {
    let components = forecast::in_service(input, as_of);
    let seen: HashMap<_, _> = components.iter().filter_map(|one| Some((one.id?, &one.seen))).collect();
    let duties = forecast::forecast(&forecast::sight(input, ground, as_of, false), &components)?;
    let tasks: Vec<Task> = duties.into_iter().filter_map(|duty| task(input, duty, as_of, now)).collect();
    let status = status(input, ground, &tasks, as_of)?;
    let by_visit = tasks.iter().filter_map(|task| {
        let seen = seen.get(&task.component_id)?.iter().rev();
        let mut did = seen.filter(|seen| seen.item.done && seen.item.duty == task.duty);
        Some((task.id, did.find(|seen| seen.on == task.forecast.since)?.visit))
    });
    let by_visit: HashMap<TaskId, VisitId> = by_visit.collect();
    Ok(Found { telling: Telling::of(input, as_of, by_visit), tasks, status })
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
        forecast: DutyForecast { prediction: forecast.prediction.map(kept), ..forecast },
        as_of,
        refreshed_at: now,
    })
}

/// A prediction as it is kept: without what is shown in full only, and with as many digits as are ever shown.
fn kept(prediction: Prediction) -> Prediction {
    Prediction {
        tally: prediction.tally.map(|tally| Tally {
            value: rounded(tally.value),
            from_readings: rounded(tally.from_readings),
            from_climate: rounded(tally.from_climate),
            ..tally
        }),
        mark: Mark {
            value: rounded(prediction.mark.value),
            log_sd: rounded(prediction.mark.log_sd),
            prior_value: rounded(prediction.mark.prior_value),
            prior_log_sd: rounded(prediction.mark.prior_log_sd),
            ..prediction.mark
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

fn status(input: &Inputs, ground: &Ground, tasks: &[Task], as_of: NaiveDate) -> Result<Status> {
    let roof = input.system.facts.roof.to_engine();
    let catchment = ground.catchment(&roof)?;
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
    let fed = tasks.iter().filter(|task| task.duty.follows_runoff());
    let since_served = fed.map(|task| RunoffSince {
        component_name: task.forecast.component_name.clone(),
        duty: task.duty,
        since: task.forecast.since,
        runoff_mm: rounded(runoff(task.forecast.since)),
    });
    let last = |days: u64| {
        let from = as_of.checked_sub_days(Days::new(days)).unwrap_or(as_of);
        let mm = runoff(from);
        let read = ground.gauge.days_read(to_day(from), to_day(as_of));
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
    let ground = through(&ground(cx, &input.gauge, now).await?, as_of);
    forecast::blocking(move || Ok(Some(tasks_and_status(&input, &ground, as_of, now)?.status))).await
}
