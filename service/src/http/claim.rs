//! The claim on an idempotency key while its request is carried out.

use crate::domain::context::Context;
use crate::domain::model::idempotency::{Attempt, CLAIM_LEASE, HeldClaim};
use std::time::Duration;
use tokio::sync::oneshot;
use tokio::task::JoinHandle;

/// The header with the key.
pub const IDEMPOTENCY_KEY: &str = "Idempotency-Key";

/// How long the answer to a failed request waits until its claim is given back.
const RELEASE_WAIT: Duration = Duration::from_secs(1);

/// Renews a claim for as long as it lives. Dropped without [`ClaimHolder::settle`], for example because the caller went
/// away, it gives the claim back.
pub struct ClaimHolder {
    settled: oneshot::Sender<()>,
    task: JoinHandle<()>,
}

impl ClaimHolder {
    /// Holds the claim that an attempt makes.
    pub fn new(cx: &Context, attempt: &Attempt) -> Self {
        let claim =
            HeldClaim { account_id: attempt.account_id, key: attempt.key.clone(), claimed_at: attempt.now };
        let (settled, end) = oneshot::channel();
        Self { settled, task: tokio::spawn(hold(cx.clone(), claim, end)) }
    }

    /// Leaves the key as it is: its request was answered, or somebody else has it.
    pub fn settle(self) {
        // The task may have ended, because another attempt has taken over.
        let _ = self.settled.send(());
    }

    /// Gives the claim back, so that the same request can be sent again at once.
    pub async fn release(self) {
        let Self { settled, task } = self;
        drop(settled);
        // If it takes longer, it goes on by itself. If it fails, the claim ends with its lease.
        let _ = tokio::time::timeout(RELEASE_WAIT, task).await;
    }
}

async fn hold(cx: Context, mut claim: HeldClaim, mut end: oneshot::Receiver<()>) {
    // Two renewals may be lost before the claim ends.
    let every = CLAIM_LEASE.to_std().unwrap_or_default() / 3;
    loop {
        match tokio::time::timeout(every, &mut end).await {
            Ok(Ok(())) => return,
            Ok(Err(_)) => break,
            Err(_) => {
                let now = cx.clock.now();
                match cx.store.renew_claim(&claim, now).await {
                    Ok(true) => claim.claimed_at = now,
                    Ok(false) => return,
                    Err(error) => {
                        tracing::warn!(error = ?error, "a claim on an idempotency key was not renewed");
                    }
                }
            }
        }
    }
    if let Err(error) = cx.store.release_claim(&claim).await {
        tracing::warn!(error = ?error, "a claim on an idempotency key was not given back; it ends by itself");
    }
}
