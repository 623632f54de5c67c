//! Refreshing: forecasts stale systems for their local day and writes their tasks and statuses. So reading never
//! has to compute the forecasts of many systems.

use crate::domain::background::lease::{LEASE, Lease, RETRY_LATE, RETRY_SOON, together, wait_after};
use crate::domain::base::blocking::{caught, joined};
use crate::domain::base::clock::{end_of_day, local_date, start_of_day};
use crate::domain::base::error::{Error, Result};
use crate::domain::base::ids::{GaugeId, SystemId};
use crate::domain::base::trace_context::SPANS;
use crate::domain::context::{Context, gauge_model};
use crate::domain::model::inputs::Inputs;
use crate::domain::ports::store::tasks::{Refreshed, StaleSystem};
use crate::domain::rules::forecast::gauge_model::GaugeModel;
use crate::domain::rules::forecast::gauge_model::until_day;
use crate::domain::rules::upkeep::Upkeep;
use crate::domain::rules::upkeep::upkeep;
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use std::collections::HashMap;
use std::collections::hash_map::Entry;
use std::ops::AddAssign;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use tokio::runtime::Handle;
use tokio::task::JoinHandle;
use tracing::{Instrument as _, Span, field};

/// How many systems are claimed at a time. That is enough to share a rain gauge's computation and the wait for the
/// disk. It is few enough that all workers together hold some ten megabytes.
const BATCH: u32 = 384;

/// How many batches are worked on at once: two are computed while one is read and one is written. Refreshing uses
/// at most this many connections.
const WORKERS: usize = 4;

/// What one pass did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct RefreshCounts {
    /// Systems refreshed.
    pub refreshed: usize,
    /// Systems whose refresh failed, to be tried again later.
    pub failed: usize,
    /// Entries that were appended to the reminders' feeds.
    pub reminders: usize,
}

impl AddAssign for RefreshCounts {
    fn add_assign(&mut self, other: Self) {
        self.refreshed += other.refreshed;
        self.failed += other.failed;
        self.reminders += other.reminders;
    }
}

/// Refreshes everything that is stale now. Running it twice, or on two replicas at once, writes the same rows.
///
/// If there is much to do, several workers share it. Each takes one batch at a time from claim to commit: while one
/// computes, another reads and a third writes. When the future is dropped, the workers finish the batches that they
/// hold. When the service shuts down, they give back what is not computed yet.
///
/// # Errors
/// The first error of a worker. A panic is an error, too. The others go on until nothing is left.
pub async fn run(cx: &Context) -> Result<RefreshCounts> {
    let claims = claim(cx).await?;
    let workers = match claims.len() {
        0 => return Ok(RefreshCounts::default()),
        some if some < BATCH as usize => 1,
        _ => WORKERS,
    };
    let cancelled = Cancelled::default();
    let mut working = vec![worker(cx.clone(), claims, Arc::clone(&cancelled.0))];
    working.extend((1..workers).map(|_| worker(cx.clone(), Vec::new(), Arc::clone(&cancelled.0))));
    let mut all = Ok(RefreshCounts::default());
    for worker in working {
        let done = joined(worker.await);
        all = all.and_then(|mut all| {
            all += done?;
            Ok(all)
        });
    }
    all
}

/// Set when the caller has dropped the pass.
#[derive(Default)]
struct Cancelled(Arc<AtomicBool>);

impl Drop for Cancelled {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

/// Takes batch after batch on a thread of its own, because computing and reading would delay requests.
fn worker(
    cx: Context,
    claims: Vec<StaleSystem>,
    cancelled: Arc<AtomicBool>,
) -> JoinHandle<Result<RefreshCounts>> {
    let runtime = Handle::current();
    tokio::task::spawn_blocking(move || {
        runtime.block_on(async {
            let (mut claims, mut all) = (claims, RefreshCounts::default());
            loop {
                if claims.is_empty() && !cancelled.load(Ordering::Relaxed) && !*cx.closing.borrow() {
                    claims = claim(&cx).await?;
                }
                if claims.is_empty() {
                    return Ok(all);
                }
                let span = span_of(claims.len());
                let done = leased(&cx, std::mem::take(&mut claims)).instrument(span.clone()).await;
                note_counts(&span, done.as_ref().ok());
                all += done?;
            }
        })
    })
}

/// The span of one batch.
fn span_of(systems: usize) -> Span {
    tracing::info_span!(
        target: SPANS,
        "refresh batch",
        otel.status_code = field::Empty,
        eavesward.systems = systems as i64,
        eavesward.refreshed = field::Empty,
        eavesward.failed = field::Empty
    )
}

fn note_counts(span: &Span, done: Option<&RefreshCounts>) {
    match done {
        Some(done) => {
            span.record("eavesward.refreshed", done.refreshed as i64)
                .record("eavesward.failed", done.failed as i64);
        }
        None => {
            span.record("otel.status_code", "ERROR");
        }
    }
}

async fn claim(cx: &Context) -> Result<Vec<StaleSystem>> {
    let now = cx.clock.now();
    let claims = cx.store.claim_stale(now, now + LEASE, BATCH).instrument(tracing::debug_span!("claim"));
    Ok(claims.await?)
}

/// Refreshes what was claimed, under a lease.
async fn leased(cx: &Context, claims: Vec<StaleSystem>) -> Result<RefreshCounts> {
    let lease = Lease::on(cx, claims.clone());
    let (mut all, mut failed) = (RefreshCounts::default(), 0);
    let work = async |some: &[StaleSystem]| {
        all += batch(cx, some).await?;
        Ok(())
    };
    let alone = async |claim: &StaleSystem, error: Error| {
        let system = claim.system_id;
        tracing::error!(%system, error = ?error, "system {system} could not be refreshed");
        failed += 1;
        leave_alone(cx, &[*claim], wait_after(&error)).await
    };
    let done = together(&claims, work, alone).await;
    all.failed += failed;
    match done {
        Ok(()) if *cx.closing.borrow() => lease.give_back(TimeDelta::zero()).await,
        Ok(()) => lease.settle(),
        Err(error) => {
            lease.give_back(RETRY_SOON).await;
            return Err(error);
        }
    }
    Ok(all)
}

/// Keeps systems that have failed by themselves from being tried at every pass.
async fn leave_alone(cx: &Context, failed: &[StaleSystem], wait: TimeDelta) -> Result<()> {
    let now = cx.clock.now();
    Ok(cx.store.release_stale(failed, now, now + wait).await?)
}

/// Refreshes some systems. When the service shuts down, it leaves those that are not computed yet.
async fn batch(cx: &Context, claims: &[StaleSystem]) -> Result<RefreshCounts> {
    let now = cx.clock.now();
    let keys: Vec<_> = claims.iter().map(|claim| (claim.account_id, claim.system_id)).collect();
    let inputs = cx.store.inputs(&keys).instrument(tracing::debug_span!("inputs")).await?;
    let mut gauges: HashMap<GaugeId, Arc<GaugeModel>> = HashMap::new();
    for gauge in inputs.iter().map(|input| &input.gauge) {
        if let Entry::Vacant(gap) = gauges.entry(gauge.id) {
            gap.insert(gauge_model(cx, gauge, now).instrument(tracing::debug_span!("rain")).await?);
        }
    }
    let (refreshed, failed) =
        tracing::debug_span!("engine").in_scope(|| compute(cx, claims, &inputs, &gauges, now));
    let reminders =
        cx.store.finish_refresh(&refreshed, now).instrument(tracing::debug_span!("finish")).await?;
    cx.notify_readers();
    if !failed.is_empty() {
        leave_alone(cx, &failed, RETRY_LATE).await?;
    }
    cx.gauges.used(&gauges, now);
    Ok(RefreshCounts { refreshed: refreshed.len(), failed: failed.len(), reminders })
}

/// Forecasts a batch. Readings of days that have not come yet at a system are ignored for it.
fn compute(
    cx: &Context,
    claims: &[StaleSystem],
    inputs: &[Inputs],
    gauges: &HashMap<GaugeId, Arc<GaugeModel>>,
    now: DateTime<Utc>,
) -> (Vec<Refreshed>, Vec<StaleSystem>) {
    let by_system: HashMap<SystemId, &StaleSystem> =
        claims.iter().map(|claim| (claim.system_id, claim)).collect();
    let mut by_day: HashMap<(GaugeId, NaiveDate), Arc<GaugeModel>> = HashMap::new();
    let (mut refreshed, mut failed) = (Vec::new(), Vec::new());
    for input in inputs {
        if *cx.closing.borrow() {
            break;
        }
        let Some(&&claim) = by_system.get(&input.system.id) else { continue };
        let Some(whole) = gauges.get(&input.gauge.id) else { continue };
        let zone = input.property.facts.time_zone;
        let as_of = local_date(now, zone);
        let gauge = by_day.entry((input.gauge.id, as_of)).or_insert_with(|| until_day(whole, as_of));
        match caught(|| upkeep(input, gauge, as_of, now)) {
            Ok(Upkeep { tasks, status, reminders }) => {
                refreshed.push(Refreshed {
                    claim,
                    tasks,
                    status,
                    day_at: start_of_day(as_of, zone),
                    next_at: end_of_day(as_of, zone),
                    reminders,
                });
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
