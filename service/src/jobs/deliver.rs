//! Carrying: writes down what subscriptions have to post and posts it. Receivers are served side by side, so that a slow one
//! keeps nobody waiting.

use crate::domain::background::deliveries;
use crate::domain::background::deliveries::FanOutTurn;
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
/// Those of one account among them, so that slow ones of one keep no other account waiting. Judgement.
const OF_ONE_ACCOUNT: usize = 16;
/// Receivers with something due that are looked at in one round: more than there are places for, since some are being served.
const LISTED: u32 = 1_000;
/// How often it looks when nobody notified it: another replica may have written, or a retry's time may have come.
const LOOK: Duration = Duration::from_secs(2);
/// The wait after a round that failed, the database being away say.
const AFTER_FAILURE: Duration = Duration::from_secs(5);

/// What delivering needs.
#[derive(Clone)]
pub struct Deliveries {
    /// Sends requests.
    pub sender: Arc<dyn WebhookSender>,
    /// Writes their payloads.
    pub payloads: Arc<dyn PayloadWriter>,
}

/// Receivers that are being served, with their accounts.
type Busy = Arc<Mutex<HashMap<SubscriptionId, AccountId>>>;

/// Carries until `stop` says so; what is on its way then is awaited.
pub async fn run(cx: Context, carrying: Deliveries, mut stop: watch::Receiver<bool>) {
    let mut news = cx.written.subscribe();
    let busy = Busy::default();
    let mut served = JoinSet::new();
    let mut turn = FanOutTurn::default();
    loop {
        news.mark_unchanged();
        let wait = match round(&cx, &carrying, &busy, &mut served, &mut turn).await {
            Ok(true) => Duration::ZERO,
            Ok(false) => LOOK,
            Err(error) => {
                tracing::error!(error = ?error, "a round of carrying failed; trying again soon");
                AFTER_FAILURE
            }
        };
        tokio::select! {
            _ = news.changed() => {}
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

/// Writes down and sends some of what there is; says whether there is more to write down now.
async fn round(
    cx: &Context,
    carrying: &Deliveries,
    busy: &Busy,
    served: &mut JoinSet<()>,
    turn: &mut FanOutTurn,
) -> crate::domain::base::error::Result<bool> {
    while served.try_join_next().is_some() {}
    let prepared = deliveries::prepare(cx, carrying.payloads.as_ref(), turn).await;
    let due = cx.store.due_receivers(cx.clock.now(), LISTED).await?;
    for DueReceiver { account_id: account, subscription_id: id } in due {
        if served.len() >= RECEIVERS {
            break;
        }
        let mut places = lock(busy);
        let of_account = places.values().filter(|one| **one == account).count();
        if of_account >= OF_ONE_ACCOUNT || places.contains_key(&id) {
            continue;
        }
        places.insert(id, account);
        drop(places);
        let (cx, sender, busy) = (cx.clone(), Arc::clone(&carrying.sender), Arc::clone(busy));
        served.spawn(async move {
            // Given back also when serving panics.
            let _place = BusyReceiver { id, busy };
            if let Err(error) = deliveries::serve(&cx, sender.as_ref(), id).await {
                tracing::error!(subscription = %id, error = ?error, "serving {id} failed; trying again when its claim ends");
            }
        });
    }
    prepared.map(|prepared| prepared.more)
}

fn lock(busy: &Busy) -> std::sync::MutexGuard<'_, HashMap<SubscriptionId, AccountId>> {
    busy.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A receiver's place, given back in the end.
struct BusyReceiver {
    id: SubscriptionId,
    busy: Busy,
}

impl Drop for BusyReceiver {
    fn drop(&mut self) {
        lock(&self.busy).remove(&self.id);
    }
}
