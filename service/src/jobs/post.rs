//! Carrying: writes down what subscriptions have to post and posts it. Receivers are served side by side, so that a slow one
//! keeps nobody waiting.

use crate::domain::Context;
use crate::domain::ids::SubscriptionId;
use crate::domain::subscription::delivery::{self, Courier, Scribe};
use std::collections::HashSet;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::watch;
use tokio::task::JoinSet;

/// Receivers that are served at once. A receiver that never answers holds a place for a quarter of a minute a letter.
const RECEIVERS: usize = 64;
/// How often it looks when nobody told of news: another replica may have written, or a retry's time may have come.
const LOOK: Duration = Duration::from_secs(2);
/// The wait after a round that failed, the database being away say.
const AFTER_FAILURE: Duration = Duration::from_secs(5);

/// What carrying takes.
#[derive(Clone)]
pub struct Carrying {
    /// Posts letters.
    pub courier: Arc<dyn Courier>,
    /// Writes them.
    pub scribe: Arc<dyn Scribe>,
}

/// Receivers that are being served.
type Busy = Arc<Mutex<HashSet<SubscriptionId>>>;

/// Carries until `stop` says so; what is on its way then is awaited.
pub async fn run(cx: Context, carrying: Carrying, mut stop: watch::Receiver<bool>) {
    let mut news = cx.news.subscribe();
    let busy = Busy::default();
    let mut served = JoinSet::new();
    loop {
        news.mark_unchanged();
        let mut wait = LOOK;
        if let Err(error) = round(&cx, &carrying, &busy, &mut served).await {
            tracing::error!(error = ?error, "a round of carrying failed; trying again soon");
            wait = AFTER_FAILURE;
        }
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

async fn round(
    cx: &Context,
    carrying: &Carrying,
    busy: &Busy,
    served: &mut JoinSet<()>,
) -> crate::domain::Result<()> {
    while served.try_join_next().is_some() {}
    delivery::prepare(cx, carrying.scribe.as_ref()).await?;
    // More than there are places for, since those that are being served may be among them.
    let due = cx.store.due_receivers(cx.clock.now(), 2 * RECEIVERS as u32).await?;
    for id in due {
        if served.len() >= RECEIVERS {
            break;
        }
        if !lock(busy).insert(id) {
            continue;
        }
        let (cx, carrying, busy) = (cx.clone(), carrying.clone(), Arc::clone(busy));
        served.spawn(async move {
            // Given back also when serving panics.
            let _place = Place { id, busy };
            let done = delivery::serve(&cx, carrying.courier.as_ref(), carrying.scribe.as_ref(), id).await;
            if let Err(error) = done {
                tracing::error!(subscription = %id, error = ?error, "serving {id} failed; trying again when its claim ends");
            }
        });
    }
    Ok(())
}

fn lock(busy: &Busy) -> std::sync::MutexGuard<'_, HashSet<SubscriptionId>> {
    busy.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A receiver's place, given back in the end.
struct Place {
    id: SubscriptionId,
    busy: Busy,
}

impl Drop for Place {
    fn drop(&mut self) {
        lock(&self.busy).remove(&self.id);
    }
}

/// Prepares and posts everything that is due now; says how many attempts were made. One receiver after the other, for tests
/// and tools; [`run`] serves them side by side.
pub async fn everything_due(cx: &Context, carrying: &Carrying) -> crate::domain::Result<usize> {
    delivery::prepare(cx, carrying.scribe.as_ref()).await?;
    let mut attempts = 0;
    loop {
        let due = cx.store.due_receivers(cx.clock.now(), 2 * RECEIVERS as u32).await?;
        let before = attempts;
        for id in due {
            attempts += delivery::serve(cx, carrying.courier.as_ref(), carrying.scribe.as_ref(), id).await?;
        }
        if attempts == before {
            return Ok(attempts);
        }
    }
}
