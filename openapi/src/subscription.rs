//! Subscriptions and what they post.

use crate::{Digest, Reminder, ReminderKind};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What a subscription carries.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum Carries {
    /// Each entry of the reminders' feed as it is raised.
    #[default]
    Reminders,
    /// The digest of what falls due, at set times.
    Digest,
    /// A word of a newer service; never accepted.
    #[serde(other)]
    Unknown,
}

/// How a digest is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum DigestForm {
    /// JSON, as `GET /v1/digest` gives it.
    Json,
    /// Plain text.
    Text,
    /// Markdown.
    Markdown,
    /// A spreadsheet's table.
    Csv,
    /// A word of a newer service; never accepted.
    #[serde(other)]
    Unknown,
}

/// A subscription to be made, or what it is to become.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct SubscriptionRequest {
    /// What it is called.
    pub name: String,
    /// Where it is posted to: an https URL on the open internet.
    pub url: String,
    /// What it carries; reminders when absent.
    #[serde(default)]
    pub carries: Carries,
    /// Of reminders: only what tells of one of these, and what takes the place of such a one that was held back (see
    /// `lead_days`); everything when empty.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub kinds: Vec<ReminderKind>,
    /// Only what concerns this property.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub property_id: Option<Uuid>,
    /// Only what concerns this system.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub system_id: Option<Uuid>,
    /// Of a digest: how many days ahead it looks, 7 when absent. Of reminders: what only announces a date (`coming`,
    /// `moved`) is held back until so many days before it, and dropped if something newer comes first; where that tells of
    /// another date, it is held back in its place, even if `kinds` leaves `moved` out, since nothing else would announce the
    /// task. Absent, all is sent as soon as it is raised. Nothing is raised earlier than the duty's own lead time, so a longer
    /// one here changes nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lead_days: Option<u32>,
    /// Of a digest: when, as a five-field crontab expression (minute, hour, day of the month, month, day of the week), such
    /// as `0 7 * * 1` for Mondays at seven, at least an hour apart. A time that the clock skips in spring comes at the first instant after the gap;
    /// one that comes twice in autumn counts the first time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub schedule: Option<String>,
    /// Of a digest: the IANA time zone of its times; that of its property when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub time_zone: Option<String>,
    /// Of a digest: how it is written; JSON when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub form: Option<DigestForm>,
}

/// A subscription.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Subscription {
    /// Id.
    pub id: Uuid,
    /// What it is called.
    pub name: String,
    /// Where it is posted to.
    pub url: String,
    /// What it carries.
    pub carries: Carries,
    /// Of reminders: only what tells of one of these; everything when empty.
    pub kinds: Vec<ReminderKind>,
    /// Only what concerns this property.
    pub property_id: Option<Uuid>,
    /// Only what concerns this system.
    pub system_id: Option<Uuid>,
    /// Days ahead of a digest, or of what only announces a date.
    pub lead_days: Option<u32>,
    /// Of a digest: when, in crontab form.
    pub schedule: Option<String>,
    /// Of a digest: the time zone of its times, where it was given.
    pub time_zone: Option<String>,
    /// Of a digest: the time zone that its times are in: the one that was given, or that of its property.
    pub local_time_zone: Option<String>,
    /// Of a digest: how it is written.
    pub form: Option<DigestForm>,
    /// Of a digest: the next times; empty while it is paused.
    pub next: Vec<DateTime<Utc>>,
    /// Since when nothing is sent; absent when it is.
    pub paused_at: Option<DateTime<Utc>>,
    /// Why, when it was the receiver's doing.
    pub paused_because: Option<String>,
    /// Deliveries that wait to be sent.
    pub waiting: i64,
    /// Deliveries that were given up.
    pub parked: i64,
    /// Until when the secret before the last change signs too.
    pub old_secret_until: Option<DateTime<Utc>>,
    /// Version for `If-Match`.
    pub version: i64,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it was last changed.
    pub updated_at: DateTime<Utc>,
}

/// A subscription with its signing secret, which is shown this once.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct SubscriptionSecret {
    /// The subscription.
    pub subscription: Subscription,
    /// The secret that signs what is posted, by the Standard Webhooks scheme: `whsec_` and Base64.
    pub secret: String,
}

/// Where a delivery stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum DeliveryState {
    /// It waits for its first attempt, or its next.
    Waiting,
    /// The receiver took it.
    Delivered,
    /// It was given up after two days of attempts; it can be sent again by hand.
    Parked,
    /// Something newer came before it was sent.
    Superseded,
    /// A word of a newer service; never accepted.
    #[serde(other)]
    Unknown,
}

/// What is posted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum DeliveryContent {
    /// An entry of the feed.
    Reminder,
    /// A digest.
    Digest,
    /// A word to try the way.
    Test,
    /// A word of a newer service.
    #[serde(other)]
    Unknown,
}

/// Something that is posted.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Delivery {
    /// Id, which the receiver sees as `webhook-id`; the same at every attempt.
    pub id: Uuid,
    /// The subscription.
    pub subscription_id: Uuid,
    /// What it is.
    pub content: DeliveryContent,
    /// Of an entry of the feed: its task.
    pub task_id: Option<Uuid>,
    /// Where it stands.
    pub state: DeliveryState,
    /// Attempts since it was made, or since it was last sent again by hand.
    pub attempts: u32,
    /// The next attempt, while it waits.
    pub next_at: Option<DateTime<Utc>>,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it arrived, was given up or was overtaken.
    pub ended_at: Option<DateTime<Utc>>,
}

/// One attempt at a delivery.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct DeliveryAttempt {
    /// When.
    pub at: DateTime<Utc>,
    /// How long it took, in milliseconds.
    pub took_ms: i64,
    /// The status that the receiver answered.
    pub status: Option<u16>,
    /// Why there was no answer.
    pub error: Option<String>,
}

/// A delivery with its attempts.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct DeliveryLog {
    /// The delivery.
    pub delivery: Delivery,
    /// Its attempts, oldest first; those before it was sent again by hand among them.
    pub attempts: Vec<DeliveryAttempt>,
}

/// What is posted for an entry of the feed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct ReminderPosted {
    /// `reminder.` and the kind, such as `reminder.due`.
    #[serde(rename = "type")]
    pub kind: String,
    /// When the entry was raised.
    pub timestamp: DateTime<Utc>,
    /// The entry.
    pub data: Reminder,
}

/// What is posted for a digest as JSON. In its other forms it is posted as it is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct DigestPosted {
    /// `digest`.
    #[serde(rename = "type")]
    pub kind: String,
    /// When it was made.
    pub timestamp: DateTime<Utc>,
    /// The digest.
    pub data: Digest,
}

/// What is posted to try the way.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct TestPosted {
    /// `test`.
    #[serde(rename = "type")]
    pub kind: String,
    /// When it was made.
    pub timestamp: DateTime<Utc>,
    /// Which subscription it tries.
    pub data: TestData,
}

/// Which subscription a word tries.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct TestData {
    /// Its id.
    pub subscription_id: Uuid,
    /// Its name.
    pub name: String,
}
