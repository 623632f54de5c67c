//! Traits for what leaves the service: writing a payload and sending it.

use crate::domain::base::ids::AccountId;
use crate::domain::model::delivery::WebhookResponse;
use crate::domain::model::reminder::Reminder;
use crate::domain::model::subscription::Subscription;
use crate::domain::rules::digest::make::Digest;
use async_trait::async_trait;
use chrono::{DateTime, Utc};

/// A request to be sent.
#[derive(Clone, Debug)]
pub struct WebhookRequest {
    /// The address.
    pub url: String,
    /// The id of the delivery.
    pub id: String,
    /// Seconds since 1970, which the signatures cover.
    pub timestamp: i64,
    /// The signatures.
    pub signature: String,
    /// The media type of the body.
    pub media_type: String,
    /// The body.
    pub body: String,
}

/// Sends webhook requests.
#[async_trait]
pub trait WebhookSender: Send + Sync {
    /// Sends one request. It always returns within a bounded time.
    async fn post(&self, request: &WebhookRequest) -> WebhookResponse;
}

/// Writes what is sent, in the types of the API.
pub trait PayloadWriter: Send + Sync {
    /// An entry of a feed, as JSON.
    fn reminder(&self, account: AccountId, entry: Reminder) -> String;
    /// A digest made at an instant, as JSON.
    fn digest(&self, digest: Digest, at: DateTime<Utc>) -> String;
    /// A test message, as JSON.
    fn test(&self, subscription: &Subscription, at: DateTime<Utc>) -> String;
}
