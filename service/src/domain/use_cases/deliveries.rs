//! Deliveries: list, send a test, send again.

use crate::domain::base::error::{Error, Result};
use crate::domain::base::ids::{AccountId, DeliveryId, SubscriptionId};
use crate::domain::base::paging::{ListPage, PageRequest};
use crate::domain::context::Context;
use crate::domain::model::delivery::{Body, Content, Delivery, DeliveryState, LoggedDelivery};
use crate::domain::ports::senders::PayloadWriter;
use crate::domain::use_cases::subscriptions;

/// Queues a test message to a subscription's receiver, even while it is paused.
pub async fn test(
    cx: &Context,
    payloads: &dyn PayloadWriter,
    account: AccountId,
    id: SubscriptionId,
    delivery: DeliveryId,
) -> Result<Delivery> {
    let subscription = subscriptions::readable(subscriptions::get(cx, account, id).await?)?;
    let now = cx.clock.now();
    let made = Delivery::new(delivery, &subscription, Content::Test, now, now);
    cx.store.insert_delivery(&made, &Body::json(payloads.test(&subscription, now))).await?;
    cx.notify_readers();
    Ok(get(cx, account, delivery).await?.delivery)
}

/// A subscription's deliveries, latest first.
pub async fn list(
    cx: &Context,
    account: AccountId,
    id: SubscriptionId,
    state: Option<DeliveryState>,
    cursor: Option<&str>,
    limit: Option<u32>,
) -> Result<ListPage<Delivery>> {
    subscriptions::get(cx, account, id).await?;
    let asked = PageRequest::read("deliveries", cursor, limit)?;
    let rows = cx.store.deliveries(account, id, state, &asked).await?;
    Ok(asked.page("deliveries", rows, |one| (one.created_at, one.id.0)))
}

/// One delivery with its attempts, oldest first.
pub async fn get(cx: &Context, account: AccountId, id: DeliveryId) -> Result<LoggedDelivery> {
    let found = cx.store.delivery(account, id).await?;
    found.ok_or_else(|| Error::NotFound { what: "delivery", id: id.to_string() })
}

/// Sends a delivery again under the same id, whatever its state.
pub async fn again(cx: &Context, account: AccountId, id: DeliveryId) -> Result<Delivery> {
    if !cx.store.send_again(account, id, cx.clock.now()).await? {
        return Err(Error::NotFound { what: "delivery", id: id.to_string() });
    }
    cx.notify_readers();
    Ok(get(cx, account, id).await?.delivery)
}
