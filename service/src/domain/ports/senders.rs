//! Traits for what leaves the service: writing a payload and sending it.

use crate::domain::base::ids::AccountId;
use crate::domain::model::delivery::Posted;
use crate::domain::model::reminder::Entry;
use crate::domain::model::subscription::Subscription;
use crate::domain::rules::digest::make::Digest;
use async_trait::async_trait;
use chrono::{DateTime, Utc};

/// Something to be posted.
#[derive(Clone, Debug)]
pub struct Letter {
    /// Where to.
    pub url: String,
    /// Its id.
    pub id: String,
    /// Seconds since 1970, as signed.
    pub timestamp: i64,
    /// The signatures.
    pub signature: String,
    /// What the body is.
    pub media_type: String,
    /// The body.
    pub body: String,
}

/// Posts letters.
#[async_trait]
pub trait Courier: Send + Sync {
    /// Posts one; always comes back within a bounded time.
    async fn post(&self, letter: &Letter) -> Posted;
}

/// Writes down what is posted, in the words of the contract.
pub trait Scribe: Send + Sync {
    /// An entry of a feed, as JSON.
    fn reminder(&self, account: AccountId, entry: Entry) -> String;
    /// A digest made at an instant, as JSON.
    fn digest(&self, digest: Digest, at: DateTime<Utc>) -> String;
    /// A word to try the way, as JSON.
    fn test(&self, subscription: &Subscription, at: DateTime<Utc>) -> String;
}
