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
use crate::domain::store::Fanned;
use async_trait::async_trait;
use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};

/// How long a claim holds others off: longer than a round of attempts takes.
const HELD: TimeDelta = TimeDelta::minutes(3);
/// Deliveries of a subscription that are claimed at a time, and sent side by side. Judgement: a small receiver bears them.
const AT_ONCE: u32 = 4;
/// Deliveries of one visit to a receiver; then others have their turn.
const MOST_A_VISIT: usize = 64;
/// How long a visit goes on, at the most, before others have their turn.
const LONG_VISIT: TimeDelta = TimeDelta::seconds(20);
/// Subscriptions whose entries are written down in one pass. Judgement: it takes a second or two, some hundreds of entries
/// each.
const FANNED: u32 = 50;
/// How long a digest waits for a refresh that is under way. Judgement: a fleet takes half a minute.
const PATIENCE: TimeDelta = TimeDelta::minutes(5);
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
    fn json(text: String) -> Self {
        Self { media_type: "application/json".to_owned(), text }
    }
}

impl Delivery {
    /// A new one that is due at an instant.
    fn new(
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
    /// What is posted.
    pub body: Body,
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
    /// When the first attempt was made.
    pub first_at: DateTime<Utc>,
    /// Until when the receiver asked to be left alone, whatever waits for it.
    pub rest_until: Option<DateTime<Utc>>,
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
    /// A digest made at an instant, as JSON.
    fn digest(&self, digest: Digest, at: DateTime<Utc>) -> String;
    /// A word to try the way, as JSON.
    fn test(&self, subscription: &Subscription, at: DateTime<Utc>) -> String;
}

/// Whose feeds were looked at last; the next pass goes on behind them.
#[derive(Clone, Copy, Debug, Default)]
pub struct Turn(Option<AccountId>);

/// What a pass of preparing came to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Prepared {
    /// Deliveries that were written.
    pub written: usize,
    /// Whether another pass would go on now.
    pub more: bool,
}

/// Writes down what subscriptions have to post of the feeds and of the clock: one pass of bounded length, so that what is
/// written is also sent, however much there is of it.
pub async fn prepare(cx: &Context, scribe: &dyn Scribe, turn: &mut Turn) -> Result<Prepared> {
    let fanned = fan_out(cx, scribe, turn).await?;
    Ok(Prepared { written: fanned.written + digests(cx, scribe).await?, ..fanned })
}

/// Writes deliveries for some new entries of some subscriptions that carry them.
async fn fan_out(cx: &Context, scribe: &dyn Scribe, turn: &mut Turn) -> Result<Prepared> {
    let behind = cx.store.behind_feeds(turn.0, FANNED).await?;
    turn.0 = behind.last().map(|last| last.account_id);
    let (mut written, mut more, mut looked) = (0, behind.len() >= FANNED as usize, false);
    for subscription in &behind {
        if *cx.closing.borrow() {
            return Ok(Prepared { written, more: false });
        }
        match fan_out_one(cx, scribe, subscription).await {
            Ok(Some(fanned)) => {
                (written, more, looked) = (written + fanned.written, more || fanned.more, true);
            }
            Ok(None) => {}
            // What cannot be read for one must not keep others waiting.
            Err(error) => {
                let id = subscription.id;
                tracing::error!(subscription = %id, error = ?error, "nothing could be written down for {id}");
            }
        }
    }
    // Where nobody came forward, another replica is at it, or it cannot be done; what is left has time.
    Ok(Prepared { written, more: more && looked })
}

async fn fan_out_one(
    cx: &Context,
    scribe: &dyn Scribe,
    subscription: &Subscription,
) -> Result<Option<Fanned>> {
    let now = cx.clock.now();
    let kinds = match &subscription.facts.carries {
        Carries::Reminders { kinds } => kinds,
        Carries::Digest(_) => return Ok(None),
    };
    let make = |entry: &Entry, unheard: bool| {
        let wanted = kinds.is_empty() || kinds.iter().any(|kind| entry.covers.contains(kind));
        // It takes back an announcement that was wanted and not heard yet. Where the task is still ahead, nobody would
        // announce it again: it does so itself, with the date as it is now.
        let instead = unheard && only_announces(entry) && entry.due_on.is_some();
        if !wanted && !instead {
            return None;
        }
        let id = DeliveryId::of_entry(subscription.id, entry.number);
        let due_at = not_before(subscription, entry, unheard, now);
        let delivery = Delivery {
            number: Some(entry.number),
            task_id: Some(entry.task_id),
            ..Delivery::new(id, subscription, Content::Reminder, now, due_at)
        };
        Some((delivery, Body::json(scribe.reminder(subscription.account_id, entry.clone()))))
    };
    Ok(cx.store.fan_out(subscription, now, &make).await?)
}

/// Whether an entry tells of a date that is still to come, and of nothing else.
fn only_announces(entry: &Entry) -> bool {
    matches!(entry.kind, News::Coming | News::Moved)
}

/// What only announces a date is held back until the subscription's own lead time; a date that moved is so only if the
/// old one was no nearer, or was not heard of.
fn not_before(
    subscription: &Subscription,
    entry: &Entry,
    unheard: bool,
    now: DateTime<Utc>,
) -> DateTime<Utc> {
    let Some(lead) = subscription.facts.lead_days.filter(|_| only_announces(entry)) else {
        return now;
    };
    let beyond =
        |on: Option<NaiveDate>| Some(on?.signed_duration_since(entry.as_of).num_days() - i64::from(lead));
    let before = entry.moved.filter(|_| !unheard).map(|moved| moved.from_due_on);
    match (beyond(entry.due_on), before.map(beyond)) {
        (Some(days), None) if days > 0 => now.max(entry.raised_at + TimeDelta::days(days)),
        (Some(days), Some(before)) if days > 0 && before.is_none_or(|before| before > 0) => {
            now.max(entry.raised_at + TimeDelta::days(days))
        }
        _ => now,
    }
}

/// Makes the digests whose time has come: one each, however many times were missed.
async fn digests(cx: &Context, scribe: &dyn Scribe) -> Result<usize> {
    let mut count = 0;
    let now = cx.clock.now();
    let due = cx.store.due_digests(now).await?;
    // At midnight, say, the day's refresh comes first.
    let refreshing = !due.is_empty() && cx.store.stale_count(now).await? > 0;
    for subscription in due {
        if *cx.closing.borrow() {
            break;
        }
        let id = subscription.id;
        if refreshing && subscription.next_at.is_some_and(|at| now - at < PATIENCE) {
            continue;
        }
        match digest(cx, scribe, subscription).await {
            Ok(made) => count += usize::from(made),
            // One that cannot be made must not keep others from being made.
            Err(error) => {
                tracing::error!(subscription = %id, error = ?error, "the digest of {id} could not be made");
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
    let timing = Timing { zone: super::zone_now(cx, &subscription, timing).await?, ..timing.clone() };
    let days = u64::from(subscription.facts.lead_days.unwrap_or(DIGEST_DAYS));
    let today = local_date(now, timing.zone);
    let asked = Asked {
        property_id: subscription.facts.property_id,
        system_id: subscription.facts.system_id,
        from: None,
        to: today.checked_add_days(Days::new(days)),
    };
    let digest = digest::gather(cx, subscription.account_id, asked).await?;
    let rendered = |media_type: &str, format| Body {
        media_type: format!("{media_type}; charset=utf-8"),
        text: digest::render(&digest, format),
    };
    let body = match timing.form {
        DigestForm::Json => Body::json(scribe.digest(digest, now)),
        DigestForm::Text => rendered("text/plain", Format::Text),
        DigestForm::Markdown => rendered("text/markdown", Format::Markdown),
        DigestForm::Csv => rendered("text/csv", Format::Csv),
    };
    let id = DeliveryId::of_digest(subscription.id, was_due.timestamp_micros());
    let delivery = Delivery::new(id, &subscription, Content::Digest, now, now);
    let next = timing.schedule.next(now, timing.zone);
    Ok(cx.store.put_digest(&subscription, was_due, (&delivery, &body), next).await?)
}

/// Sends what is due to one subscription's receiver, a few at a time, until nothing is due, the receiver wants a rest or took
/// long over it, or the service shuts down. Says how many attempts were made.
pub async fn serve(cx: &Context, courier: &dyn Courier, id: SubscriptionId) -> Result<usize> {
    let (began, closing) = (cx.clock.now(), cx.closing.subscribe());
    let mut attempts = 0;
    while cx.clock.now() - began < LONG_VISIT && !*closing.borrow() {
        let now = cx.clock.now();
        let Some((subscription, claimed)) = cx.store.claim_deliveries(id, now, now + HELD, AT_ONCE).await?
        else {
            break;
        };
        let sent = claimed.iter().map(|one| send(cx, courier, &subscription, one));
        let outcomes = futures_util::future::join_all(sent).await;
        attempts += outcomes.len();
        let finished: Vec<(&Claimed, Outcome)> = claimed.iter().zip(outcomes).collect();
        cx.store.finish_deliveries(&subscription, &finished, cx.clock.now()).await?;
        let over = claimed.len() < AT_ONCE as usize || attempts >= MOST_A_VISIT;
        if over || finished.iter().any(|(_, outcome)| outcome.gone) {
            break;
        }
    }
    Ok(attempts)
}

async fn send(
    cx: &Context,
    courier: &dyn Courier,
    subscription: &Subscription,
    claimed: &Claimed,
) -> Outcome {
    let (delivery, now) = (&claimed.delivery, cx.clock.now());
    let Body { media_type, text } = claimed.body.clone();
    let id = delivery.id.to_string();
    let signature = subscription.secrets.signature(&id, now, &text);
    let url = subscription.facts.url.clone();
    let letter = Letter { url, id, timestamp: now.timestamp(), signature, media_type, body: text };
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
    // Its time runs from when somebody tried it: one that waited for a service that was off was not tried meanwhile.
    let first_at = if delivery.attempts == 0 { delivery.due_at.max(began) } else { delivery.due_at };
    let next_at = if done { None } else { retry::again(first_at, attempts, now, posted.retry_after, spread) };
    let rest_until = retry::asked_for(posted.status, posted.retry_after, now);
    let state = match (done, next_at) {
        (true, _) => DeliveryState::Delivered,
        (false, Some(_)) => DeliveryState::Waiting,
        (false, None) => DeliveryState::Parked,
    };
    let milliseconds = (now - began).num_milliseconds().max(0);
    let attempt = DeliveryAttempt { at: began, milliseconds, status: posted.status, error: posted.error };
    Outcome { attempt, state, next_at, first_at, rest_until, failed: !done, gone }
}

/// What is said of a subscription whose receiver answered 410.
pub fn gone(at: DateTime<Utc>) -> Paused {
    Paused { at, because: Some("The receiver answered 410 Gone.".to_owned()) }
}

/// Queues a word to try the way to a subscription's receiver, also while it is paused.
pub async fn test(
    cx: &Context,
    scribe: &dyn Scribe,
    account: AccountId,
    id: SubscriptionId,
    delivery: DeliveryId,
) -> Result<Delivery> {
    let subscription = super::get(cx, account, id).await?;
    let now = cx.clock.now();
    let made = Delivery::new(delivery, &subscription, Content::Test, now, now);
    cx.store.insert_delivery(&made, &Body::json(scribe.test(&subscription, now))).await?;
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
