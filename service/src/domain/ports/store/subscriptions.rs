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

/// Makes what is posted of an entry, if anything; told whether what was said last of its task was dropped unheard.
pub type MakeDelivery<'a> = dyn for<'e> Fn(&'e Reminder, bool) -> Option<NewDelivery> + Send + Sync + 'a;

/// What came of looking at a feed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FanOut {
    /// Deliveries that were written.
    pub written: usize,
    /// Whether there is more to look at.
    pub more: bool,
}

/// Subscriptions.
#[async_trait]
pub trait SubscriptionStore: Send + Sync {
    /// Adds a subscription that begins at the end of the account's feed; does nothing when the id is there already.
    async fn insert_subscription(&self, subscription: &Subscription) -> Stored<()>;
    /// One subscription.
    async fn subscription(&self, account: AccountId, id: SubscriptionId) -> Stored<Option<Subscription>>;
    /// How many the account has.
    async fn subscription_count(&self, account: AccountId) -> Stored<i64>;
    /// The account's subscriptions by `(created_at, id)`.
    async fn subscriptions(
        &self,
        account: AccountId,
        page: &PageRequest<DateTime<Utc>>,
    ) -> Stored<Vec<Subscription>>;
    /// Replaces everything that a subscription is if its version is current, and lets its receiver's rest end. One that
    /// carries reminders from now on begins at the end of the feed; one that goes on after a pause has all its time again for
    /// what waits. When its next digest is made changes only with its times, or when it is paused or goes on: whoever changes
    /// something else may have read it before a digest was made.
    async fn update_subscription(&self, new: &Subscription) -> Stored<Updated>;
    /// Removes it with its deliveries if the version is current.
    async fn delete_subscription(
        &self,
        account: AccountId,
        id: SubscriptionId,
        version: i64,
    ) -> Stored<Deleted>;
    /// Some subscriptions, not paused, that carry reminders and have not looked at all of their feed. Accounts take turns: the
    /// subscription of each that is farthest behind, those of accounts after `after` first, before a second one of any.
    async fn behind_feeds(&self, after: Option<AccountId>, limit: u32) -> Stored<Vec<Subscription>>;
    /// Shows `make` some entries that the subscription has not looked at yet, of its property and system, and writes the
    /// deliveries that it makes of them; drops those of the same tasks that are still held back, also where nothing is made;
    /// and notes how far it looked, all in one transaction. `make` is told whether what was said last of the task is among
    /// the dropped. `None` if another replica is at it or the subscription was changed.
    async fn fan_out(
        &self,
        subscription: &Subscription,
        now: DateTime<Utc>,
        make: &MakeDelivery<'_>,
    ) -> Stored<Option<FanOut>>;
    /// Subscriptions, not paused, whose next digest is due.
    async fn due_digests(&self, now: DateTime<Utc>) -> Stored<Vec<Subscription>>;
    /// Writes the digest that was due at an instant, in the place of older ones that still wait, and when the next one is; `false`, and nothing done, when another
    /// replica did so already or the subscription was changed meanwhile.
    async fn put_digest(
        &self,
        subscription: &Subscription,
        was_due: DateTime<Utc>,
        digest: &NewDelivery,
        next: Option<DateTime<Utc>>,
    ) -> Stored<bool>;
}
