//! Subscriptions in the store.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, SubscriptionId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::delivery::NewDelivery;
use crate::domain::model::reminder::Reminder;
use crate::domain::model::subscription::Subscription;
use crate::domain::ports::store::outcomes::{Deleted, Updated};
use async_trait::async_trait;
use chrono::{DateTime, Utc};

/// Makes the delivery of an entry, if one is wanted. The flag says whether the last entry about the same task was
/// dropped before it was sent.
pub type MakeDelivery<'a> = dyn for<'e> Fn(&'e Reminder, bool) -> Option<NewDelivery> + Send + Sync + 'a;

/// The result of encrypting the secrets of a subscription.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SealedSecrets {
    /// Secrets that were encrypted.
    pub sealed: u64,
    /// Secrets that stay as they were.
    pub left: u64,
}

/// The result of reading a feed for a subscription.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FanOut {
    /// Deliveries that were created.
    pub written: usize,
    /// Whether there are more entries to read.
    pub more: bool,
}

/// Subscriptions.
#[async_trait]
pub trait SubscriptionStore: Send + Sync {
    /// Adds a subscription, which starts at the end of the account's feed. Does nothing if the id exists already.
    async fn insert_subscription(&self, subscription: &Subscription) -> Stored<()>;
    /// One subscription.
    async fn subscription(&self, account: AccountId, id: SubscriptionId) -> Stored<Option<Subscription>>;
    /// The account's subscriptions by `(created_at, id)`.
    async fn subscriptions(
        &self,
        account: AccountId,
        page: &PageRequest<DateTime<Utc>>,
    ) -> Stored<Vec<Subscription>>;
    /// Subscriptions of all accounts by id, from an id on.
    async fn every_subscription(&self, after: SubscriptionId, limit: u32) -> Stored<Vec<Subscription>>;
    /// Encrypts the secrets of a subscription with the present key, those that are not. Returns how many were not. They
    /// stay as they are where there is no key, and where the subscription was changed meanwhile.
    async fn seal_secrets(&self, subscription: &Subscription) -> Stored<SealedSecrets>;
    /// Replaces the settings of a subscription if its version is current, and ends its receiver's rest.
    ///
    /// - A subscription that now starts to send reminders starts at the end of the feed.
    /// - One that resumes after a pause has the full time again for what waits.
    /// - The time of the next digest changes only with its times, on a pause or when it resumes. A caller that
    ///   changes other settings may have read an older time, from before a digest was made.
    async fn update_subscription(&self, new: &Subscription) -> Stored<Updated>;
    /// Removes it with its deliveries if the version is current.
    async fn delete_subscription(
        &self,
        account: AccountId,
        id: SubscriptionId,
        version: i64,
    ) -> Stored<Deleted>;
    /// Some subscriptions that send reminders, are not paused and have unread entries in their feed. Accounts take
    /// turns, those after `after` first. Each account's subscription with the most unread entries comes before a
    /// second one of any account.
    async fn behind_feeds(&self, after: Option<AccountId>, limit: u32) -> Stored<Vec<Subscription>>;
    /// Reads some new entries of the subscription's property and system, and stores the deliveries that `make`
    /// returns for them. It drops earlier deliveries of the same tasks that are still held back, even if `make`
    /// returns nothing. It also notes how far it has read, all in one transaction.
    ///
    /// The flag given to `make` says whether the last entry about the task was among the dropped ones. `None` if
    /// another replica does the same, or if the subscription was changed.
    async fn fan_out(
        &self,
        subscription: &Subscription,
        now: DateTime<Utc>,
        make: &MakeDelivery<'_>,
    ) -> Stored<Option<FanOut>>;
    /// Subscriptions that are not paused and whose next digest is due.
    async fn due_digests(&self, now: DateTime<Utc>) -> Stored<Vec<Subscription>>;
    /// Stores the digest that was due at an instant, and when the next one is due. It replaces older digests that
    /// still wait.
    ///
    /// `false`, with nothing changed, if another replica has stored it already or if the subscription was changed
    /// meanwhile.
    async fn put_digest(
        &self,
        subscription: &Subscription,
        was_due: DateTime<Utc>,
        digest: &NewDelivery,
        next: Option<DateTime<Utc>>,
    ) -> Stored<bool>;
}
