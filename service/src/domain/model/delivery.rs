//! Deliveries: what a subscription sends, each written down before it is sent.

use crate::domain::base::ids::{AccountId, DeliveryId, SubscriptionId, TaskId};
use crate::domain::base::words::words;
use crate::domain::model::subscription::Subscription;
use chrono::{DateTime, TimeDelta, Utc};

words! {
    /// Where a delivery stands.
    DeliveryState {
        /// It waits for its first attempt, or its next.
        Waiting "waiting",
        /// The receiver took it.
        Delivered "delivered",
        /// It was given up; somebody may send it again by hand.
        Parked "parked",
        /// Something newer came before it was sent.
        Superseded "superseded",
    }
}

words! {
    /// What is posted.
    Content {
        /// An entry of the feed.
        Reminder "reminder",
        /// A digest.
        Digest "digest",
        /// A word to try the way.
        Test "test",
    }
}

/// Something that a subscription posts.
#[derive(Clone, Debug, PartialEq)]
pub struct Delivery {
    /// Id, which the receiver sees too.
    pub id: DeliveryId,
    /// The subscription.
    pub subscription_id: SubscriptionId,
    /// Whose it is.
    pub account_id: AccountId,
    /// What it is.
    pub content: Content,
    /// Of an entry: its number.
    pub number: Option<i64>,
    /// Of an entry: its task.
    pub task_id: Option<TaskId>,
    /// Where it stands.
    pub state: DeliveryState,
    /// Attempts since it was made, or since it was last sent again by hand.
    pub attempts: u32,
    /// The next attempt, when it waits.
    pub next_at: Option<DateTime<Utc>>,
    /// When its first attempt was made, or is due while there was none, since it was last sent again by hand: two days
    /// later it is given up.
    pub due_at: DateTime<Utc>,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it arrived or was given up.
    pub ended_at: Option<DateTime<Utc>>,
}

/// What is posted of a delivery. It is written down with it, so that every attempt says the same.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Body {
    /// What the text is.
    pub media_type: String,
    /// The text.
    pub text: String,
}

impl Body {
    /// A body of JSON.
    pub fn json(text: String) -> Self {
        Self { media_type: "application/json".to_owned(), text }
    }
}

impl Delivery {
    /// A new one that is due at an instant.
    pub fn new(
        id: DeliveryId,
        subscription: &Subscription,
        content: Content,
        now: DateTime<Utc>,
        due_at: DateTime<Utc>,
    ) -> Self {
        Self {
            id,
            subscription_id: subscription.id,
            account_id: subscription.account_id,
            content,
            number: None,
            task_id: None,
            state: DeliveryState::Waiting,
            attempts: 0,
            next_at: Some(due_at),
            due_at,
            created_at: now,
            ended_at: None,
        }
    }
}

/// A delivery with what is posted, to be written down.
#[derive(Clone, Debug, PartialEq)]
pub struct NewDelivery {
    /// It.
    pub delivery: Delivery,
    /// What is posted.
    pub body: Body,
}

/// A delivery with its attempts, oldest first.
#[derive(Clone, Debug, PartialEq)]
pub struct LoggedDelivery {
    /// It.
    pub delivery: Delivery,
    /// Its attempts.
    pub attempts: Vec<DeliveryAttempt>,
}

/// One attempt at a delivery.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DeliveryAttempt {
    /// When.
    pub at: DateTime<Utc>,
    /// How long it took.
    pub milliseconds: i64,
    /// What the receiver answered.
    pub status: Option<u16>,
    /// Why there was no answer.
    pub error: Option<String>,
}

/// A delivery that this process is to send.
#[derive(Clone, Debug)]
pub struct ClaimedDelivery {
    /// It.
    pub delivery: Delivery,
    /// What is posted.
    pub body: Body,
    /// Tells this claim from a later one.
    pub held_until: DateTime<Utc>,
}

/// What became of an attempt.
#[derive(Clone, Debug)]
pub struct AttemptOutcome {
    /// The attempt.
    pub attempt: DeliveryAttempt,
    /// Where the delivery stands now.
    pub state: DeliveryState,
    /// The next attempt.
    pub next_at: Option<DateTime<Utc>>,
    /// When the first attempt was made.
    pub first_at: DateTime<Utc>,
    /// Until when the receiver asked to be left alone, whatever waits for it.
    pub rest_until: Option<DateTime<Utc>>,
    /// Whether the receiver is to be left alone after failures in a row.
    pub failed: bool,
    /// Whether the receiver is gone for good, so that the subscription pauses.
    pub gone: bool,
}

/// What came of posting.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WebhookResponse {
    /// What the receiver answered.
    pub status: Option<u16>,
    /// What it asked to wait.
    pub retry_after: Option<TimeDelta>,
    /// Why there was no answer.
    pub error: Option<String>,
}
