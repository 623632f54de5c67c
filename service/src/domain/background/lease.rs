//! Leases: claims on work that end after some seconds, and that the worker renews while it works.
//!
//! If a worker dies, others take its work over when the claim ends. If it fails, panics or is cancelled, it gives the
//! claim back at once. A worker that has lost a claim writes nothing: the store checks each claim in the transaction
//! that writes.

use crate::domain::base::error::{Error, Result, StoreError, Stored};
use crate::domain::base::ids::{ClaimId, DeliveryId};
use crate::domain::context::Context;
use crate::domain::ports::store::Store;
use crate::domain::ports::store::skill::Unscored;
use crate::domain::ports::store::tasks::StaleSystem;
use async_trait::async_trait;
use chrono::{DateTime, TimeDelta, Utc};
use std::sync::Arc;
use tokio::runtime::Handle;
use tokio::task::AbortHandle;

/// How long a claim holds if it is not renewed. Judgement: short enough that work is taken over within 15 s, and
/// longer than a busy database takes to answer.
pub(super) const LEASE: TimeDelta = TimeDelta::seconds(10);

/// When work is tried again that failed for a reason which may pass, such as a database that is away.
pub(super) const RETRY_SOON: TimeDelta = TimeDelta::seconds(5);

/// When work is tried again that fails by itself, such as a system whose rows cannot be read.
pub(super) const RETRY_LATE: TimeDelta = TimeDelta::minutes(15);

/// Failures in one batch after which the rest is left for later. One system that fails causes about nine.
const MOST_FAILURES: usize = 64;

/// Claims of one kind of work.
#[async_trait]
pub(super) trait Claims: Send + Sync + 'static {
    /// Extends them until `until`.
    async fn renew(&self, store: &dyn Store, now: DateTime<Utc>, until: DateTime<Utc>) -> Stored<()>;
    /// Releases them; the work is not claimed before `at`.
    async fn release(&self, store: &dyn Store, now: DateTime<Utc>, at: DateTime<Utc>) -> Stored<()>;
}

#[async_trait]
impl Claims for Vec<StaleSystem> {
    async fn renew(&self, store: &dyn Store, now: DateTime<Utc>, until: DateTime<Utc>) -> Stored<()> {
        store.renew_stale(self, now, until).await
    }

    async fn release(&self, store: &dyn Store, now: DateTime<Utc>, at: DateTime<Utc>) -> Stored<()> {
        store.release_stale(self, now, at).await
    }
}

#[async_trait]
impl Claims for Vec<Unscored> {
    async fn renew(&self, store: &dyn Store, now: DateTime<Utc>, until: DateTime<Utc>) -> Stored<()> {
        store.renew_unscored(self, now, until).await
    }

    async fn release(&self, store: &dyn Store, now: DateTime<Utc>, at: DateTime<Utc>) -> Stored<()> {
        store.release_unscored(self, now, at).await
    }
}

#[async_trait]
impl Claims for Vec<(DeliveryId, ClaimId)> {
    async fn renew(&self, store: &dyn Store, now: DateTime<Utc>, until: DateTime<Utc>) -> Stored<()> {
        store.renew_deliveries(self, now, until).await
    }

    async fn release(&self, store: &dyn Store, now: DateTime<Utc>, at: DateTime<Utc>) -> Stored<()> {
        store.release_deliveries(self, now, at).await
    }
}

/// Claims that are renewed until they are settled, given back, or dropped.
pub(super) struct Lease<C: Claims> {
    cx: Context,
    claims: Option<Arc<C>>,
    renewing: AbortHandle,
    runtime: Handle,
}

impl<C: Claims> Lease<C> {
    /// Begins to renew claims. This must be called on a runtime.
    pub(super) fn on(cx: &Context, claims: C) -> Self {
        let (claims, runtime) = (Arc::new(claims), Handle::current());
        let renewing = runtime.spawn(renew(cx.clone(), Arc::clone(&claims))).abort_handle();
        Self { cx: cx.clone(), claims: Some(claims), renewing, runtime }
    }

    /// Ends the lease after the work is done and written.
    pub(super) fn settle(mut self) {
        self.claims = None;
    }

    /// Releases what is still held. It can be claimed again after `wait`.
    pub(super) async fn give_back(mut self, wait: TimeDelta) {
        if let Some(claims) = self.claims.take() {
            self.renewing.abort();
            release(&self.cx, claims.as_ref(), wait).await;
        }
    }
}

/// A worker that panics or is cancelled gives its claims back, too.
impl<C: Claims> Drop for Lease<C> {
    fn drop(&mut self) {
        self.renewing.abort();
        if let Some(claims) = self.claims.take() {
            let cx = self.cx.clone();
            self.runtime.spawn(async move { release(&cx, claims.as_ref(), RETRY_SOON).await });
        }
    }
}

async fn renew<C: Claims>(cx: Context, claims: Arc<C>) {
    loop {
        tokio::time::sleep(cx.lease_renewed_every).await;
        let now = cx.clock.now();
        if let Err(error) = claims.renew(cx.store.as_ref(), now, now + LEASE).await {
            tracing::warn!(error = ?error, "claims could not be renewed; others take the work over if this goes on");
        }
    }
}

async fn release<C: Claims>(cx: &Context, claims: &C, wait: TimeDelta) {
    let now = cx.clock.now();
    if let Err(error) = claims.release(cx.store.as_ref(), now, now + wait).await {
        tracing::warn!(error = ?error, "claims could not be given back; they end by themselves in some seconds");
    }
}

/// Whether an error may come from one row of many. Other errors concern all of them.
fn blames_a_row(error: &Error) -> bool {
    matches!(
        error,
        Error::Engine(_)
            | Error::Panicked(_)
            | Error::Store(StoreError::BadRow { .. } | StoreError::Dangling(_) | StoreError::Failed(_))
    )
}

/// How long something that has failed by itself is left alone.
pub(super) fn wait_after(error: &Error) -> TimeDelta {
    match error {
        // It may be the database that fails.
        Error::Store(StoreError::Unavailable(_) | StoreError::Failed(_)) => RETRY_SOON,
        _ => RETRY_LATE,
    }
}

/// Works on claims together. If that fails because of a row, it works on each half by itself, and so on, so that one
/// system that cannot be read delays no other. `alone` handles one that fails by itself.
///
/// # Errors
/// The last error, if it concerns all claims, or if too many fail.
pub(super) async fn together<C>(
    claims: &[C],
    mut work: impl AsyncFnMut(&[C]) -> Result<()>,
    mut alone: impl AsyncFnMut(&C, Error) -> Result<()>,
) -> Result<()> {
    let (mut waiting, mut failures) = (vec![claims], 0);
    while let Some(some) = waiting.pop().filter(|some| !some.is_empty()) {
        let Err(error) = work(some).await else { continue };
        failures += 1;
        if !blames_a_row(&error) || failures > MOST_FAILURES {
            return Err(error);
        }
        if let [one] = some {
            alone(one, error).await?;
        } else {
            let (first, second) = some.split_at(some.len() / 2);
            waiting.extend([second, first]);
        }
    }
    Ok(())
}
