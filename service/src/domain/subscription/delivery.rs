//! Deliveries: what a subscription posts, each written down before it is sent and tried until it arrives or is parked.
//!
//! Everything is posted at least once, and always under the same id: a receiver that keeps the ids of a few days sees each
//! entry once.

use super::retry;
use super::{Carries, DigestForm, Paused, Subscription, Timing};
use crate::domain::Context;
use crate::domain::clock::local_date;
use crate::domain::component::words;
use crate::domain::digest::{self, Asked, Digest, Format};
use crate::domain::error::{Error, Result};
use crate::domain::ids::{self, AccountId, DeliveryId, SubscriptionId, TaskId};
use crate::domain::paging::{PageAsked, PageFound};
use crate::domain::reminder::{Entry, News};
use async_trait::async_trait;
use chrono::{DateTime, Days, TimeDelta, Utc};

/// How long a claim holds others off: longer than a round of attempts takes.
const HELD: TimeDelta = TimeDelta::minutes(3);
/// Deliveries of a subscription that are claimed at a time, and sent side by side.
const AT_ONCE: u32 = 4;
/// Rounds of one visit to a receiver; then others have their turn.
const ROUNDS: usize = 16;
/// Subscriptions whose entries are written down in one go.
const FANNED: u32 = 50;
/// Days that a digest looks ahead when its subscription does not say.
const DIGEST_DAYS: u32 = 7;

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
    /// Media type and text of anything else.
    pub body: Option<(String, String)>,
    /// Where it stands.
    pub state: DeliveryState,
    /// Attempts since it was made, or since it was last sent again by hand.
    pub attempts: u32,
    /// The next attempt, when it waits.
    pub next_at: Option<DateTime<Utc>>,
    /// Its first attempt, since it was last sent again by hand.
    pub first_at: Option<DateTime<Utc>>,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it arrived or was given up.
    pub ended_at: Option<DateTime<Utc>>,
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
pub struct Claimed {
    /// It.
    pub delivery: Delivery,
    /// Of an entry: the entry, unless it is no longer kept.
    pub entry: Option<Entry>,
    /// Tells this claim from a later one.
    pub held_until: DateTime<Utc>,
}

/// What became of an attempt.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// The attempt.
    pub attempt: DeliveryAttempt,
    /// Where the delivery stands now.
    pub state: DeliveryState,
    /// The next attempt.
    pub next_at: Option<DateTime<Utc>>,
    /// Whether the receiver is to be left alone after failures in a row.
    pub failed: bool,
    /// Whether the receiver is gone for good, so that the subscription pauses.
    pub gone: bool,
}

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

/// What came of posting.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Posted {
    /// What the receiver answered.
    pub status: Option<u16>,
    /// What it asked to wait.
    pub retry_after: Option<TimeDelta>,
    /// Why there was no answer.
    pub error: Option<String>,
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
    /// A digest, as JSON.
    fn digest(&self, digest: Digest) -> String;
}

/// Writes down what subscriptions have to post of the feeds and of the clock; says how much.
pub async fn prepare(cx: &Context, scribe: &dyn Scribe) -> Result<usize> {
    Ok(fan_out(cx).await? + digests(cx, scribe).await?)
}

/// Writes a delivery for every new entry of every subscription that carries it.
async fn fan_out(cx: &Context) -> Result<usize> {
    let mut count = 0;
    loop {
        let behind = cx.store.behind_feeds(FANNED).await?;
        let before = count;
        for subscription in &behind {
            count += fan_out_one(cx, subscription).await?;
        }
        // Where nothing came of it another replica is at it, or a filter left all of it out; what is left has time.
        if behind.len() < FANNED as usize || count == before {
            return Ok(count);
        }
    }
}

async fn fan_out_one(cx: &Context, subscription: &Subscription) -> Result<usize> {
    let now = cx.clock.now();
    let make = |entry: &Entry| Delivery {
        id: DeliveryId::of_entry(subscription.id, entry.number),
        subscription_id: subscription.id,
        account_id: subscription.account_id,
        content: Content::Reminder,
        number: Some(entry.number),
        task_id: Some(entry.task_id),
        body: None,
        state: DeliveryState::Waiting,
        attempts: 0,
        next_at: Some(not_before(subscription, entry, now)),
        first_at: None,
        created_at: now,
        ended_at: None,
    };
    Ok(cx.store.fan_out(subscription, &make).await?)
}

/// What only announces a date is held back until the subscription's own lead time.
fn not_before(subscription: &Subscription, entry: &Entry, now: DateTime<Utc>) -> DateTime<Utc> {
    let announces = matches!(entry.kind, News::Coming | News::Moved);
    let (Some(lead), Some(due_on), true) = (subscription.facts.lead_days, entry.due_on, announces) else {
        return now;
    };
    let ahead = due_on.signed_duration_since(entry.as_of).num_days() - i64::from(lead);
    // Counted from when it was raised, which is when its day began, or while it lasted.
    if ahead > 0 { now.max(entry.raised_at + TimeDelta::days(ahead)) } else { now }
}

/// Makes the digests whose time has come: one each, however many times were missed.
async fn digests(cx: &Context, scribe: &dyn Scribe) -> Result<usize> {
    let mut count = 0;
    for subscription in cx.store.due_digests(cx.clock.now()).await? {
        let id = subscription.id;
        match digest(cx, scribe, subscription).await {
            Ok(made) => count += usize::from(made),
            // One that cannot be made must not keep others from being made.
            Err(error) => {
                tracing::error!(subscription = %id, error = ?error, "the digest of {id} could not be made")
            }
        }
    }
    Ok(count)
}

async fn digest(cx: &Context, scribe: &dyn Scribe, subscription: Subscription) -> Result<bool> {
    let (Carries::Digest(timing), Some(was_due)) = (&subscription.facts.carries, subscription.next_at) else {
        return Ok(false);
    };
    let now = cx.clock.now();
    let timing = Timing { zone: zone(cx, &subscription, timing).await?, ..timing.clone() };
    let days = u64::from(subscription.facts.lead_days.unwrap_or(DIGEST_DAYS));
    let today = local_date(now, timing.zone);
    let asked = Asked {
        property_id: subscription.facts.property_id,
        system_id: subscription.facts.system_id,
        from: None,
        to: today.checked_add_days(Days::new(days)),
    };
    let digest = digest::gather(cx, subscription.account_id, asked).await?;
    let body = match timing.form {
        DigestForm::Json => ("application/json".to_owned(), scribe.digest(digest)),
        DigestForm::Text => ("text/plain; charset=utf-8".to_owned(), digest::render(&digest, Format::Text)),
        DigestForm::Markdown => {
            ("text/markdown; charset=utf-8".to_owned(), digest::render(&digest, Format::Markdown))
        }
        DigestForm::Csv => ("text/csv; charset=utf-8".to_owned(), digest::render(&digest, Format::Csv)),
    };
    let delivery = Delivery {
        id: DeliveryId::of_digest(subscription.id, was_due.timestamp_micros()),
        subscription_id: subscription.id,
        account_id: subscription.account_id,
        content: Content::Digest,
        number: None,
        task_id: None,
        body: Some(body),
        state: DeliveryState::Waiting,
        attempts: 0,
        next_at: Some(now),
        first_at: None,
        created_at: now,
        ended_at: None,
    };
    let next = timing.schedule.next(now, timing.zone);
    Ok(cx.store.put_digest(&subscription, was_due, &delivery, next).await?)
}

/// The zone of a digest's times: as given, or that of its property as it is now.
async fn zone(cx: &Context, subscription: &Subscription, timing: &Timing) -> Result<chrono_tz::Tz> {
    let (account, facts) = (subscription.account_id, &subscription.facts);
    if timing.zone_given {
        return Ok(timing.zone);
    }
    let property = match (facts.property_id, facts.system_id) {
        (Some(id), _) => Some(id),
        (None, Some(id)) => cx.store.system(account, id).await?.map(|system| system.facts.property_id),
        (None, None) => None,
    };
    let Some(property) = property else { return Ok(timing.zone) };
    Ok(cx.store.property(account, property).await?.map_or(timing.zone, |property| property.facts.time_zone))
}

/// Sends what is due to one subscription's receiver, a few at a time, until nothing is due or the receiver wants a rest.
/// Says how many attempts were made.
pub async fn serve(
    cx: &Context,
    courier: &dyn Courier,
    scribe: &dyn Scribe,
    id: SubscriptionId,
) -> Result<usize> {
    let mut attempts = 0;
    for _ in 0..ROUNDS {
        let now = cx.clock.now();
        let Some((subscription, claimed)) = cx.store.claim_deliveries(id, now, now + HELD, AT_ONCE).await?
        else {
            break;
        };
        let sent = claimed.iter().map(|one| send(cx, courier, scribe, &subscription, one));
        let outcomes = futures_util::future::join_all(sent).await;
        attempts += outcomes.len();
        let finished: Vec<(&Claimed, Outcome)> = claimed.iter().zip(outcomes).collect();
        cx.store.finish_deliveries(&subscription, &finished, cx.clock.now()).await?;
        if claimed.len() < AT_ONCE as usize || finished.iter().any(|(_, outcome)| outcome.gone) {
            break;
        }
    }
    Ok(attempts)
}

async fn send(
    cx: &Context,
    courier: &dyn Courier,
    scribe: &dyn Scribe,
    subscription: &Subscription,
    claimed: &Claimed,
) -> Outcome {
    let (delivery, now) = (&claimed.delivery, cx.clock.now());
    let body = match (&delivery.body, &claimed.entry) {
        (Some(body), _) => Some(body.clone()),
        (None, Some(entry)) => {
            Some(("application/json".to_owned(), scribe.reminder(subscription.account_id, entry.clone())))
        }
        (None, None) => None,
    };
    let Some((media_type, body)) = body else {
        let error = Some("the entry is no longer kept".to_owned());
        let attempt = DeliveryAttempt { at: now, milliseconds: 0, status: None, error };
        return Outcome { attempt, state: DeliveryState::Parked, next_at: None, failed: false, gone: false };
    };
    let id = delivery.id.to_string();
    let signature = subscription.secrets.signature(&id, now, &body);
    let url = subscription.facts.url.clone();
    let letter = Letter { url, id, timestamp: now.timestamp(), signature, media_type, body };
    outcome(delivery, courier.post(&letter).await, now, cx.clock.now(), ids::spread())
}

/// What an answer makes of a delivery. Anything from 200 to 299 is a yes; 410 says that nothing more is wanted.
pub fn outcome(
    delivery: &Delivery,
    posted: Posted,
    began: DateTime<Utc>,
    now: DateTime<Utc>,
    spread: f64,
) -> Outcome {
    let done = posted.status.is_some_and(|status| (200..300).contains(&status));
    let gone = posted.status == Some(410);
    let attempts = delivery.attempts.saturating_add(1);
    let next_at = if done {
        None
    } else {
        retry::again(delivery.first_at.unwrap_or(began), attempts, now, posted.retry_after, spread)
    };
    let state = match (done, next_at) {
        (true, _) => DeliveryState::Delivered,
        (false, Some(_)) => DeliveryState::Waiting,
        (false, None) => DeliveryState::Parked,
    };
    let milliseconds = (now - began).num_milliseconds().max(0);
    let attempt = DeliveryAttempt { at: began, milliseconds, status: posted.status, error: posted.error };
    Outcome { attempt, state, next_at, failed: !done, gone }
}

/// What is said of a subscription whose receiver answered 410.
pub fn gone(at: DateTime<Utc>) -> Paused {
    Paused { at, because: Some("The receiver answered 410 Gone.".to_owned()) }
}

/// Queues a word to try the way to a subscription's receiver, also while it is paused.
pub async fn test(
    cx: &Context,
    account: AccountId,
    id: SubscriptionId,
    delivery: DeliveryId,
) -> Result<Delivery> {
    let subscription = super::get(cx, account, id).await?;
    let now = cx.clock.now();
    let body = serde_json::json!({
        "type": "test",
        "timestamp": now,
        "data": {"subscription_id": id, "name": subscription.facts.name},
    });
    let made = Delivery {
        id: delivery,
        subscription_id: id,
        account_id: account,
        content: Content::Test,
        number: None,
        task_id: None,
        body: Some(("application/json".to_owned(), body.to_string())),
        state: DeliveryState::Waiting,
        attempts: 0,
        next_at: Some(now),
        first_at: None,
        created_at: now,
        ended_at: None,
    };
    cx.store.insert_delivery(&made).await?;
    cx.tell();
    Ok(get(cx, account, delivery).await?.0)
}

/// A subscription's deliveries, latest first.
pub async fn list(
    cx: &Context,
    account: AccountId,
    id: SubscriptionId,
    state: Option<DeliveryState>,
    cursor: Option<&str>,
    limit: Option<u32>,
) -> Result<PageFound<Delivery>> {
    super::get(cx, account, id).await?;
    let asked = PageAsked::read("deliveries", cursor, limit)?;
    let rows = cx.store.deliveries(account, id, state, &asked).await?;
    Ok(asked.page("deliveries", rows, |one| (one.created_at, one.id.0)))
}

/// One delivery with its attempts, oldest first.
pub async fn get(
    cx: &Context,
    account: AccountId,
    id: DeliveryId,
) -> Result<(Delivery, Vec<DeliveryAttempt>)> {
    let found = cx.store.delivery(account, id).await?;
    found.ok_or_else(|| Error::NotFound { what: "delivery", id: id.to_string() })
}

/// Sends a delivery again, under the same id, whatever became of it.
pub async fn again(cx: &Context, account: AccountId, id: DeliveryId) -> Result<Delivery> {
    if !cx.store.send_again(account, id, cx.clock.now()).await? {
        return Err(Error::NotFound { what: "delivery", id: id.to_string() });
    }
    cx.tell();
    Ok(get(cx, account, id).await?.0)
}
