//! Deliveries in the store.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, DeliveryId, SubscriptionId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::delivery::{
    AttemptOutcome, Body, ClaimedDelivery, Delivery, DeliveryState, LoggedDelivery,
};
use crate::domain::model::subscription::Subscription;
use async_trait::async_trait;
use chrono::{DateTime, Utc};

/// A subscription whose receiver has something due.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DueReceiver {
    /// Whose it is.
    pub account_id: AccountId,
    /// The subscription.
    pub subscription_id: SubscriptionId,
}

/// Deliveries of one subscription that were claimed.
#[derive(Clone, Debug)]
pub struct ClaimedDeliveries {
    /// The subscription as it is now.
    pub subscription: Subscription,
    /// What is to be sent, in its order.
    pub deliveries: Vec<ClaimedDelivery>,
}

/// A delivery that was claimed, and what became of the attempt.
#[derive(Clone, Debug)]
pub struct AttemptedDelivery<'a> {
    /// The delivery.
    pub claimed: &'a ClaimedDelivery,
    /// What became of it.
    pub outcome: AttemptOutcome,
}

/// Deliveries.
#[async_trait]
pub trait DeliveryStore: Send + Sync {
    /// Adds a delivery; does nothing when the id is there already.
    async fn insert_delivery(&self, delivery: &Delivery, body: &Body) -> Stored<()>;
    /// Subscriptions whose receivers have something due and need no rest, in no order.
    async fn due_receivers(&self, now: DateTime<Utc>, limit: u32) -> Stored<Vec<DueReceiver>>;
    /// Claims up to `limit` due deliveries of one subscription and holds them until `until`; `None` when there are none, or
    /// when its receiver rests. While a subscription is paused, only words to try the way are due.
    async fn claim_deliveries(
        &self,
        id: SubscriptionId,
        now: DateTime<Utc>,
        until: DateTime<Utc>,
        limit: u32,
    ) -> Stored<Option<ClaimedDeliveries>>;
    /// Logs attempts and what became of their deliveries, and lets go of them. A delivery that somebody else claimed
    /// meanwhile is left to them, but that it arrived is noted. Unless the subscription was changed meanwhile, a receiver rests
    /// for as long as it asks, and where all failed; one that has failed for two days has everything parked that has waited
    /// as long, but not while the subscription is paused; and one that is gone pauses it.
    async fn finish_deliveries(
        &self,
        subscription: &Subscription,
        finished: &[AttemptedDelivery<'_>],
        now: DateTime<Utc>,
    ) -> Stored<()>;
    /// A subscription's deliveries, latest first: by `(created_at, id)` descending.
    async fn deliveries(
        &self,
        account: AccountId,
        id: SubscriptionId,
        state: Option<DeliveryState>,
        page: &PageRequest<DateTime<Utc>>,
    ) -> Stored<Vec<Delivery>>;
    /// One delivery with its attempts, oldest first.
    async fn delivery(&self, account: AccountId, id: DeliveryId) -> Stored<Option<LoggedDelivery>>;
    /// Makes a delivery wait for a first attempt again; `false` when there is none in the account.
    async fn send_again(&self, account: AccountId, id: DeliveryId, now: DateTime<Utc>) -> Stored<bool>;
    /// Forgets deliveries that ended before an instant, and digests that ended before another one, later or not; says how
    /// many.
    async fn forget_deliveries(&self, before: DateTime<Utc>, digests_before: DateTime<Utc>) -> Stored<u64>;
}
