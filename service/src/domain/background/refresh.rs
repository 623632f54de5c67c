//! Refreshing: stale systems are forecast for their local day and their tasks and status written, so that readers never
//! compute a fleet.

use crate::domain::base::clock::{end_of_day, local_date};
use crate::domain::base::error::{Error, Result};
use crate::domain::base::ids::{GaugeId, SystemId};
use crate::domain::context::{Context, ground};
use crate::domain::model::inputs::Inputs;
use crate::domain::ports::store::tasks::{Refreshed, StaleSystem};
use crate::domain::rules::forecast::ground::Ground;
use crate::domain::rules::forecast::ground::through;
use crate::domain::rules::upkeep::Found;
use crate::domain::rules::upkeep::tasks_and_status;
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
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
