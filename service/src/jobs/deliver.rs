//! Delivering: writes down what subscriptions have to send, then sends it. Receivers are served side by side,
//! so that a slow one delays no other.

use super::step;
use crate::domain::background::deliveries::{self, FanOutTurn};
use crate::domain::base::ids::{AccountId, SubscriptionId};
use crate::domain::context::Context;
use crate::domain::ports::senders::{PayloadWriter, WebhookSender};
use crate::domain::ports::store::deliveries::DueReceiver;
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::watch;
use tokio::task::JoinSet;

/// Receivers that are served at once. Judgement.
const RECEIVERS: usize = 64;
/// Receivers of one account that are served at once, so that slow ones delay no other account. Judgement.
const OF_ONE_ACCOUNT: usize = 16;
/// Receivers with something due that are listed in one pass. The list is longer than the number served at
/// once, because some of them are being served already.
const LISTED: u32 = 1_000;
/// How often it looks without being notified. Another replica may have written something, or a retry may be
/// due.
const POLL_INTERVAL: Duration = Duration::from_secs(2);
/// The wait after a pass that failed, for example because the database is away.
const AFTER_FAILURE: Duration = Duration::from_secs(5);

/// What delivering needs.
#[derive(Clone)]
pub struct DeliveryPorts {
    /// Sends webhook requests.
    pub sender: Arc<dyn WebhookSender>,
    /// Writes their payloads.
    pub payloads: Arc<dyn PayloadWriter>,
}

/// Receivers that are being served, with their accounts.
type Busy = Arc<Mutex<HashMap<SubscriptionId, AccountId>>>;

/// Delivers until `stop` says so. Then it waits for the deliveries that are being sent.
pub async fn run(cx: Context, delivering: DeliveryPorts, mut stop: watch::Receiver<bool>) {
    let mut written = cx.written.subscribe();
    let busy = Busy::default();
    let mut served = JoinSet::new();
    let mut turn = FanOutTurn::default();
    loop {
        written.mark_unchanged();
        let wait = match step(pass(&cx, &delivering, &busy, &mut served, &mut turn)).await {
            Ok(true) => Duration::ZERO,
            Ok(false) => POLL_INTERVAL,
            Err(error) => {
                tracing::error!(error = ?error, "a delivery pass failed; trying again soon");
                AFTER_FAILURE
            }
        };
        tokio::select! {
            _ = written.changed() => {}
            Some(_) = served.join_next() => {}
            () = tokio::time::sleep(wait) => {}
            _ = stop.changed() => {}
        }
        if *stop.borrow() {
            while served.join_next().await.is_some() {}
            return;
        }
    }
}

/// Writes down and sends some deliveries. Returns whether there is more to write down now.
async fn pass(
    cx: &Context,
    delivering: &DeliveryPorts,
    busy: &Busy,
    served: &mut JoinSet<()>,
    turn: &mut FanOutTurn,
) -> crate::domain::base::error::Result<bool> {
    while served.try_join_next().is_some() {}
    let prepared = deliveries::prepare(cx, delivering.payloads.as_ref(), turn).await;
    let due = cx.store.due_receivers(cx.clock.now(), LISTED).await?;
    for DueReceiver { account_id: account, subscription_id: id } in due {
        if served.len() >= RECEIVERS {
            break;
        }
        let mut busy_now = lock(busy);
        let of_account = busy_now.values().filter(|one| **one == account).count();
        if of_account >= OF_ONE_ACCOUNT || busy_now.contains_key(&id) {
            continue;
        }
        busy_now.insert(id, account);
        drop(busy_now);
        let (cx, sender, busy) = (cx.clone(), Arc::clone(&delivering.sender), Arc::clone(busy));
        served.spawn(async move {
            // The place is freed even if serving panics.
            let _busy = BusyReceiver { id, busy };
            if let Err(error) = deliveries::serve(&cx, sender.as_ref(), id).await {
                tracing::error!(subscription = %id, error = ?error, "delivering for {id} failed; trying again soon");
            }
        });
    }
    prepared.map(|prepared| prepared.more)
}

fn lock(busy: &Busy) -> std::sync::MutexGuard<'_, HashMap<SubscriptionId, AccountId>> {
    busy.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Marks a receiver as served until it is dropped.
struct BusyReceiver {
    id: SubscriptionId,
    busy: Busy,
}

impl Drop for BusyReceiver {
    fn drop(&mut self) {
        lock(&self.busy).remove(&self.id);
    }
}
