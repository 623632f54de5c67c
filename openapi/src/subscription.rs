//! Subscriptions and what they send.

use crate::setters::setters;
use crate::{Digest, Reminder, ReminderKind};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What a subscription sends.
///
/// - `reminders` (the default): each entry of the reminder feed as it is made.
/// - `digest`: the digest of what falls due, at set times.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub enum Sends {
    /// Each entry of the reminder feed as it is made.
    #[default]
    Reminders,
    /// The digest of what falls due, at set times.
    Digest,
    /// Content of a newer service, which this version does not know. Requests with it are refused.
    #[serde(other)]
    Unknown,
}

/// How a digest is written: JSON as from `GET /v1/digest`, plain text, Markdown, or CSV for spreadsheets.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub enum DigestFormat {
    /// JSON, as from `GET /v1/digest`.
    Json,
    /// Plain text.
    Text,
    /// Markdown.
    Markdown,
    /// CSV, for spreadsheets.
    Csv,
    /// A format of a newer service, which this version does not know. Requests with it are refused.
    #[serde(other)]
    Unknown,
}

/// A request to make or replace a subscription.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct SubscriptionRequest {
    /// Name of the subscription, 1 to 200 characters.
    pub name: String,
    /// The address that it sends to: an https URL on the public internet, up to 2,000 characters. Other addresses, such
    /// as `mailto:`, are refused.
    pub to: String,
    /// What it sends; reminders when absent.
    #[serde(default)]
    pub sends: Sends,
    /// For reminders: send only entries that report one of these kinds; all kinds when empty. An entry that
    /// replaces a held one is sent, too (see `lead_days`).
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub kinds: Vec<ReminderKind>,
    /// Send only what concerns this property.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub property_id: Option<Uuid>,
    /// Send only what concerns this system.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub system_id: Option<Uuid>,
    /// For a digest: how many days it looks ahead, 0 to 365; 7 when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub horizon_days: Option<u32>,
    /// For reminders: entries that only announce a date (`coming`, `moved`) are held until this many days before
    /// that date, 0 to 365. When absent, all entries are sent as soon as they are made. A held entry is dropped if
    /// a newer one comes first. If the newer one announces another date, it is held instead. It is then sent even
    /// if `kinds` leaves out `moved`, because nothing else would announce the task. No entry is made before the
    /// duty's own lead time, so more days than that have no effect.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lead_days: Option<u32>,
    /// For a digest: its times as a crontab expression of five fields (minute, hour, day of the month, month, day
    /// of the week). For example, `0 7 * * 1` means Mondays at seven. The times must be at least an hour apart. A
    /// time that the clock skips in spring is the first instant after the gap. A time that comes twice in autumn
    /// counts the first time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub schedule: Option<String>,
    /// For a digest: the IANA time zone of its times; that of its property when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub time_zone: Option<String>,
    /// For a digest: how it is written; JSON when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub format: Option<DigestFormat>,
}

impl SubscriptionRequest {
    /// All reminders of the account, sent to this address.
    pub fn new(name: impl Into<String>, to: impl Into<String>) -> Self {
        Self { name: name.into(), to: to.into(), ..Self::default() }
    }
}

setters! {
    SubscriptionRequest {
        sends: Sends,
        kinds: Vec<ReminderKind>,
        property_id: Option<Uuid>,
        system_id: Option<Uuid>,
        horizon_days: Option<u32>,
        lead_days: Option<u32>,
        format: Option<DigestFormat>,
    }
    texts { schedule, time_zone }
}

/// A subscription.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Subscription {
    /// Id of the subscription.
    pub id: Uuid,
    /// Name of the subscription.
    pub name: String,
    /// The address that it sends to. It begins with its scheme: `https:` today.
    pub to: String,
    /// What it sends.
    pub sends: Sends,
    /// For reminders: the kinds of entries that it sends; all kinds when empty.
    pub kinds: Vec<ReminderKind>,
    /// It sends only what concerns this property.
    pub property_id: Option<Uuid>,
    /// It sends only what concerns this system.
    pub system_id: Option<Uuid>,
    /// For a digest: how many days it looks ahead, if that was given.
    pub horizon_days: Option<u32>,
    /// For reminders: how many days before a date an entry that only announces it is sent.
    pub lead_days: Option<u32>,
    /// For a digest: its times as a crontab expression.
    pub schedule: Option<String>,
    /// For a digest: the time zone of its times, if one was given.
    pub time_zone: Option<String>,
    /// For a digest: the time zone that is used, which was given or is that of its property.
    pub local_time_zone: Option<String>,
    /// For a digest: how it is written.
    pub format: Option<DigestFormat>,
    /// For a digest: the next times, at most five; empty while it is paused.
    pub next_at: Vec<DateTime<Utc>>,
    /// Since when it is paused and sends nothing; null when it is not paused.
    pub paused_at: Option<DateTime<Utc>>,
    /// Why it is paused, if the receiver caused it.
    pub paused_because: Option<String>,
    /// Number of deliveries that wait to be sent.
    pub waiting: i64,
    /// Number of deliveries that were given up.
    pub parked: i64,
    /// Until when the previous secret signs as well; null when only the present one signs.
    pub old_secret_until: Option<DateTime<Utc>>,
    /// Version, to be sent in `If-Match` with a change.
    pub version: i64,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it was last changed.
    pub updated_at: DateTime<Utc>,
}

/// A subscription with its signing secret. No other answer shows the secret.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct SubscriptionSecret {
    /// The subscription.
    pub subscription: Subscription,
    /// The secret that signs what is sent, by the Standard Webhooks scheme: `whsec_` and Base64. Null for a
    /// subscription that signs nothing.
    pub secret: Option<String>,
}

/// State of a delivery.
///
/// - `waiting`: it waits for its first or next attempt.
/// - `delivered`: the receiver accepted it.
/// - `parked`: it was given up after two days of attempts, and can be sent again by hand.
/// - `superseded`: something newer replaced it before it was sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub enum DeliveryState {
    /// It waits for its first or next attempt.
    Waiting,
    /// The receiver accepted it.
    Delivered,
    /// It was given up after two days of attempts, and can be sent again by hand.
    Parked,
    /// Something newer replaced it before it was sent.
    Superseded,
    /// A state of a newer service, which this version does not know. Requests with it are refused.
    #[serde(other)]
    Unknown,
}

/// What a delivery contains: an entry of the reminder feed, a digest, or a test message.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub enum DeliveryContent {
    /// An entry of the reminder feed.
    Reminder,
    /// A digest.
    Digest,
    /// A test message.
    Test,
    /// Content of a newer service, which this version does not know.
    #[serde(other)]
    Unknown,
}

/// One message of a subscription.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Delivery {
    /// Id, which the receiver gets as `webhook-id`. It is the same for every attempt.
    pub id: Uuid,
    /// The subscription.
    pub subscription_id: Uuid,
    /// What it contains.
    pub content: DeliveryContent,
    /// The task, if it contains an entry of the reminder feed.
    pub task_id: Option<Uuid>,
    /// State of the delivery.
    pub state: DeliveryState,
    /// Number of attempts since it was made or last sent again by hand.
    pub attempts: u32,
    /// When the next attempt is made; null unless it waits.
    pub next_at: Option<DateTime<Utc>>,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it was accepted, given up or replaced.
    pub ended_at: Option<DateTime<Utc>>,
}

/// One attempt at a delivery.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct DeliveryAttempt {
    /// When it began.
    pub at: DateTime<Utc>,
    /// How long it took, in milliseconds.
    pub took_ms: i64,
    /// HTTP status of the receiver's answer; null when there was none.
    pub http_status: Option<u16>,
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
    /// Its attempts, oldest first, including those before it was sent again by hand.
    pub attempts: Vec<DeliveryAttempt>,
}

/// What is sent for an entry of the reminder feed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct ReminderPosted {
    /// `reminder.` and the kind, such as `reminder.due`.
    #[serde(rename = "type")]
    pub kind: String,
    /// When the entry was made.
    pub timestamp: DateTime<Utc>,
    /// The entry.
    pub data: Reminder,
}

/// What is sent for a digest in JSON. In its other formats the digest is sent without this envelope.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct DigestPosted {
    /// Always `digest`.
    #[serde(rename = "type")]
    pub kind: String,
    /// When the digest was made.
    pub timestamp: DateTime<Utc>,
    /// The digest.
    pub data: Digest,
}

/// What is sent as a test message.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct TestPosted {
    /// Always `test`.
    #[serde(rename = "type")]
    pub kind: String,
    /// When the message was made.
    pub timestamp: DateTime<Utc>,
    /// The subscription that it tests.
    pub data: TestData,
}

/// The subscription that a test message tests.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct TestData {
    /// Id of the subscription.
    pub subscription_id: Uuid,
    /// Name of the subscription.
    pub name: String,
}
