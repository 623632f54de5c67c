//! Deliveries in the store.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, ClaimId, DeliveryId, SubscriptionId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::delivery::{
    AttemptOutcome, Body, ClaimedDelivery, Delivery, DeliveryState, LoggedDelivery,
};
use crate::domain::model::subscription::Subscription;
use async_trait::async_trait;
use chrono::{DateTime, Utc};

/// A subscription with deliveries that are due.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DueReceiver {
    /// The account that owns it.
    pub account_id: AccountId,
    /// The subscription.
    pub subscription_id: SubscriptionId,
}

/// Claimed deliveries of one subscription.
#[derive(Clone, Debug)]
pub struct ClaimedDeliveries {
    /// The subscription as it is now.
    pub subscription: Subscription,
    /// The deliveries, in the order in which to send them.
    pub deliveries: Vec<ClaimedDelivery>,
}

/// A claimed delivery and the result of its attempt.
#[derive(Clone, Debug)]
pub struct AttemptedDelivery<'a> {
    /// The delivery.
    pub claimed: &'a ClaimedDelivery,
    /// The result of the attempt.
    pub outcome: AttemptOutcome,
}

/// Deliveries.
#[async_trait]
pub trait DeliveryStore: Send + Sync {
    /// Adds a delivery; does nothing if the id exists already.
    async fn insert_delivery(&self, delivery: &Delivery, body: &Body) -> Stored<()>;
    /// Subscriptions with deliveries that are due and a receiver that does not rest, in no order.
    async fn due_receivers(&self, now: DateTime<Utc>, limit: u32) -> Stored<Vec<DueReceiver>>;
    /// Claims up to `limit` due deliveries of one subscription until `until`. `None` if there are none, or if its
    /// receiver rests. While a subscription is paused, only test messages are due.
    async fn claim_deliveries(
        &self,
        id: SubscriptionId,
        now: DateTime<Utc>,
        until: DateTime<Utc>,
        limit: u32,
    ) -> Stored<Option<ClaimedDeliveries>>;
    /// Extends claims until `until`. Claims that were lost to another worker stay lost.
    async fn renew_deliveries(
        &self,
        claims: &[(DeliveryId, ClaimId)],
        now: DateTime<Utc>,
        until: DateTime<Utc>,
    ) -> Stored<()>;
    /// Releases claims that are still held. These deliveries cannot be claimed before `at`.
    async fn release_deliveries(
        &self,
        claims: &[(DeliveryId, ClaimId)],
        now: DateTime<Utc>,
        at: DateTime<Utc>,
    ) -> Stored<()>;
    /// Logs attempts and their results, and releases the deliveries. If another worker has claimed a delivery
    /// meanwhile, only the attempt is logged, and the arrival if it arrived.
    ///
    /// Attempts under claims that were still held also update the receiver, unless the subscription was changed
    /// meanwhile:
    /// - It rests for as long as it asks, and also if every attempt failed.
    /// - If it has failed for two days, deliveries that have waited as long are parked, except while the
    ///   subscription is paused.
    /// - If it is gone, the subscription is paused.
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
    /// Makes a delivery wait for a first attempt again; `false` if the account has no such delivery.
    async fn send_again(&self, account: AccountId, id: DeliveryId, now: DateTime<Utc>) -> Stored<bool>;
    /// Deletes deliveries that ended before `before`, and digests that ended before `digests_before`, which may be
    /// earlier or later. Returns how many.
    async fn forget_deliveries(&self, before: DateTime<Utc>, digests_before: DateTime<Utc>) -> Stored<u64>;
}
