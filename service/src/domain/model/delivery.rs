//! Deliveries: what a subscription sends. Each one is stored before it is sent.

use crate::domain::base::ids::{AccountId, ClaimId, DeliveryId, SubscriptionId, TaskId};
use crate::domain::base::words::words;
use crate::domain::model::subscription::Subscription;
use chrono::{DateTime, TimeDelta, Utc};

words! {
    /// Where a delivery stands.
    DeliveryState {
        /// It waits for its first or next attempt.
        Waiting "waiting",
        /// The receiver accepted it.
        Delivered "delivered",
        /// It was given up. A person can send it again by hand.
        Parked "parked",
        /// A newer delivery replaced it before it was sent.
        Superseded "superseded",
    }
}

words! {
    /// What is sent.
    Content {
        /// An entry of the feed.
        Reminder "reminder",
        /// A digest.
        Digest "digest",
        /// A test message.
        Test "test",
    }
}

/// Something that a subscription sends.
#[derive(Clone, Debug, PartialEq)]
pub struct Delivery {
    /// Id, which the receiver sees as well.
    pub id: DeliveryId,
    /// The subscription.
    pub subscription_id: SubscriptionId,
    /// The account that owns it.
    pub account_id: AccountId,
    /// What it is.
    pub content: Content,
    /// For an entry: its number.
    pub number: Option<i64>,
    /// For an entry: its task.
    pub task_id: Option<TaskId>,
    /// Its state.
    pub state: DeliveryState,
    /// Attempts since it was made, or since it was last sent again by hand.
    pub attempts: u32,
    /// The next attempt, if it waits.
    pub next_at: Option<DateTime<Utc>>,
    /// When the first attempt was made, or is due if none was made yet. Sending again by hand resets it. The
    /// delivery is given up two days after this time.
    pub due_at: DateTime<Utc>,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it arrived or was given up.
    pub ended_at: Option<DateTime<Utc>>,
}

/// What is sent. It is stored with the delivery, so that every attempt sends the same.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Body {
    /// The media type of the text.
    pub media_type: String,
    /// The text.
    pub text: String,
}

impl Body {
    /// A JSON body.
    pub fn json(text: String) -> Self {
        Self { media_type: "application/json".to_owned(), text }
    }
}

impl Delivery {
    /// A new delivery that is due at an instant.
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

/// A delivery with its body, to be stored.
#[derive(Clone, Debug, PartialEq)]
pub struct NewDelivery {
    /// The delivery.
    pub delivery: Delivery,
    /// Its body.
    pub body: Body,
}

/// A delivery with its attempts, oldest first.
#[derive(Clone, Debug, PartialEq)]
pub struct LoggedDelivery {
    /// The delivery.
    pub delivery: Delivery,
    /// Its attempts.
    pub attempts: Vec<DeliveryAttempt>,
}

/// One attempt at a delivery.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DeliveryAttempt {
    /// When it was made.
    pub at: DateTime<Utc>,
    /// How long it took, ms.
    pub milliseconds: i64,
    /// The HTTP status of the answer.
    pub status: Option<u16>,
    /// Why there was no answer.
    pub error: Option<String>,
}

/// A delivery that this process has claimed, to send it.
#[derive(Clone, Debug)]
pub struct ClaimedDelivery {
    /// The delivery.
    pub delivery: Delivery,
    /// Its body.
    pub body: Body,
    /// The claim.
    pub held_by: ClaimId,
}

/// The result of an attempt.
#[derive(Clone, Debug)]
pub struct AttemptOutcome {
    /// The attempt.
    pub attempt: DeliveryAttempt,
    /// The state of the delivery now.
    pub state: DeliveryState,
    /// The next attempt.
    pub next_at: Option<DateTime<Utc>>,
    /// When the first attempt was made.
    pub first_at: DateTime<Utc>,
    /// Until when the receiver asked not to be sent anything.
    pub rest_until: Option<DateTime<Utc>>,
    /// Whether the attempt failed, so that the receiver rests after several failures in a row.
    pub failed: bool,
    /// Whether the receiver is gone for good, so that the subscription is paused.
    pub gone: bool,
}

/// The result of sending a request.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WebhookResponse {
    /// The HTTP status of the answer.
    pub status: Option<u16>,
    /// How long the receiver asked to wait.
    pub retry_after: Option<TimeDelta>,
    /// Why there was no answer.
    pub error: Option<String>,
}
