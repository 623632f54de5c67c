//! The timed loops. This one refreshes stale systems, scores findings and tidies up. `deliver` sends to
//! subscriptions, `key_uses` writes when keys were used.
//!
//! Every step is a function of this module or of `domain::background`. Tests call it with a clock of their
//! own.

mod deliver;
mod key_uses;

pub use deliver::{DeliveryPorts, run as deliver};
pub use key_uses::{run as note_key_uses, write as write_key_uses};

use crate::domain::background::corrections::LastCorrection;
use crate::domain::background::{audit, refresh, scoring};
use crate::domain::base::blocking::panicked;
use crate::domain::base::error::Result;
use crate::domain::base::schedule::Schedule;
use crate::domain::base::trace_context::SPANS;
use crate::domain::context::Context;
use crate::domain::model::idempotency;
use chrono::{DateTime, TimeDelta, Utc};
use futures_util::FutureExt as _;
use std::panic::AssertUnwindSafe;
use std::time::Duration;
use tokio::sync::watch;
use tracing::Instrument as _;

/// Writes come in bursts, such as an import or a new system with its gauge. After this wait one refresh
/// covers them all.
const BURST: Duration = Duration::from_millis(50);
/// How long sent digests are kept. Judgement: they are large, and the next one replaces them.
const DIGESTS_KEPT: TimeDelta = TimeDelta::days(7);
/// The wait after a pass that failed as a whole, for example because the database is away.
const AFTER_FAILURE: Duration = Duration::from_secs(5);

/// How the loop runs.
#[derive(Clone, Debug)]
pub struct Rhythm {
    /// The longest wait between passes. A local midnight is noticed up to this late.
    pub every: Duration,
    /// When to tidy up, in UTC.
    pub housekeeping: Schedule,
}

/// Runs until `stop` says so.
pub async fn run(cx: Context, rhythm: Rhythm, mut stop: watch::Receiver<bool>) {
    let mut planned_at = cx.clock.now();
    let mut tidy_at = next(&rhythm.housekeeping, planned_at);
    let mut corrected = LastCorrection::default();
    loop {
        let mut wait = rhythm.every;
        if let Err(error) = step(corrected.run_if_due(&cx)).await {
            tracing::error!(error = ?error, "corrections after a wrong clock failed; trying again soon");
            wait = wait.min(AFTER_FAILURE);
        }
        match pass(&cx).await {
            Ok(done) if done.refreshed + done.failed > 0 => {
                cx.counts.add_refreshes(done.refreshed, done.failed);
                tracing::debug!(refreshed = done.refreshed, failed = done.failed, "refreshed");
            }
            Ok(_) => {}
            Err(error) => {
                cx.counts.add_refreshes(0, 1);
                tracing::error!(error = ?error, "a refresh pass failed; trying again soon");
                wait = wait.min(AFTER_FAILURE);
            }
        }
        match scoring::run(&cx).await {
            // There may be more to score; the next pass refreshes first.
            Ok(some) if some > 0 => wait = Duration::ZERO,
            Ok(_) => {}
            Err(error) => {
                tracing::error!(error = ?error, "scoring findings failed; trying again soon");
                wait = wait.min(AFTER_FAILURE);
            }
        }
        let now = cx.clock.now();
        let due = tidy_at.is_some_and(|at| at <= now);
        let tidying = || tidy(&cx).instrument(tracing::info_span!(target: SPANS, "tidy up"));
        if due && let Err(error) = step(tidying()).await {
            tracing::error!(error = ?error, "tidying up failed; trying again at its next scheduled time");
        }
        // Also when the clock was set back.
        if due || now < planned_at {
            (tidy_at, planned_at) = (next(&rhythm.housekeeping, now), now);
        }
        match until_free(&cx).await {
            Ok(free) => wait = wait.min(free),
            Err(error) => tracing::error!(error = ?error, "the claims of others could not be read"),
        }
        tokio::select! {
            () = cx.job_wakeup.notified() => tokio::time::sleep(BURST).await,
            () = tokio::time::sleep(wait) => {}
            _ = stop.changed() => {}
        }
        if *stop.borrow() {
            return;
        }
    }
}

/// Runs a step of a loop. A panic becomes an error, so that the loop goes on.
async fn step<T>(work: impl Future<Output = Result<T>>) -> Result<T> {
    AssertUnwindSafe(work).catch_unwind().await.unwrap_or_else(|payload| Err(panicked(payload.as_ref())))
}

/// How long the work that other processes hold stays theirs, unless they go on with it.
async fn until_free(cx: &Context) -> Result<Duration> {
    let now = cx.clock.now();
    let held = [cx.store.stale_held_until(now).await?, cx.store.unscored_held_until(now).await?];
    let first = held.into_iter().flatten().min().map(|until| (until - now).to_std().unwrap_or_default());
    Ok(first.map_or(Duration::MAX, |wait| wait.max(BURST)))
}

/// Refreshes everything that is stale now.
pub async fn pass(cx: &Context) -> Result<refresh::RefreshCounts> {
    refresh::run(cx).await
}

/// Removes answers to repeated requests, reminders, deliveries and entries of the audit that are older than their retention.
pub async fn tidy(cx: &Context) -> Result<()> {
    let now = cx.clock.now();
    let answers = cx.store.purge(now - idempotency::RETENTION).await?;
    let reminders = cx.store.forget_reminders(now - cx.retention.reminders).await?;
    let deliveries = cx.store.forget_deliveries(now - cx.retention.reminders, now - DIGESTS_KEPT).await?;
    let audit = audit::tidy(cx).await?;
    tracing::debug!(
        answers,
        reminders,
        deliveries,
        audit,
        "removed old answers, reminders, deliveries and audit"
    );
    Ok(())
}

/// The next time of a schedule, in UTC: without daylight saving, no time is skipped or repeated.
fn next(schedule: &Schedule, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
    schedule.next(now, chrono_tz::Tz::UTC)
}
