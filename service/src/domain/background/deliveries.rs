//! Deliveries: creates what subscriptions have to send, and sends it until it arrives or is parked.
//!
//! Each delivery is sent at least once, always under the same id. A receiver that remembers the ids of the last few
//! days can drop repeats.

use crate::domain::background::lease::{LEASE, Lease};
use crate::domain::base::clock::local_date;
use crate::domain::base::error::Result;
use crate::domain::base::ids::{self, AccountId, DeliveryId, SubscriptionId};
use crate::domain::base::trace_context::SPANS;
use crate::domain::context::Context;
use crate::domain::model::delivery::{
    AttemptOutcome, Body, ClaimedDelivery, Content, Delivery, NewDelivery, WebhookResponse,
};
use crate::domain::model::reminder::Reminder;
use crate::domain::model::subscription::{Carries, DigestForm, Subscription, Timing};
use crate::domain::ports::senders::{PayloadWriter, WebhookRequest, WebhookSender};
use crate::domain::ports::store::deliveries::{AttemptedDelivery, ClaimedDeliveries};
use crate::domain::ports::store::subscriptions::FanOut;
use crate::domain::rules::delivery::{not_before, only_announces, outcome};
use crate::domain::rules::digest::make::DigestScope;
use crate::domain::rules::digest::render::{Format, render};
use crate::domain::use_cases::digest;
use crate::domain::use_cases::subscriptions::zone_now;
use chrono::{Days, TimeDelta};
use tracing::{Instrument as _, Span, field};

/// Deliveries of one subscription that are claimed together and sent side by side. Judgement: a small receiver can
/// take four at once.
const AT_ONCE: u32 = 4;

/// The most deliveries to one receiver in one turn; then other receivers have their turn.
const MOST_A_TURN: usize = 64;

/// The longest turn of one receiver; then other receivers have their turn.
const LONGEST_TURN: TimeDelta = TimeDelta::seconds(20);

/// Subscriptions for which one pass creates deliveries. Judgement: a pass takes a second or two, at some hundreds
/// of entries for each subscription.
const SUBSCRIPTIONS_A_PASS: u32 = 50;

/// How long a digest waits for a refresh that is running. Judgement: refreshing every system takes half a minute.
const LONGEST_WAIT_FOR_REFRESH: TimeDelta = TimeDelta::minutes(5);

/// Days that a digest looks ahead when its subscription does not say.
const DIGEST_DAYS: u32 = 7;

/// The account at which the last pass stopped; the next pass goes on after it.
#[derive(Clone, Copy, Debug, Default)]
pub struct FanOutTurn(Option<AccountId>);

/// What a pass of preparing did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Prepared {
    /// Deliveries that were created.
    pub written: usize,
    /// Whether another pass now would create more.
    pub more: bool,
}

/// Creates deliveries for new entries of the feeds and for digests that are due. One pass has a bounded length, so
/// that sending gets its turn however much there is to create.
pub async fn prepare(cx: &Context, payloads: &dyn PayloadWriter, turn: &mut FanOutTurn) -> Result<Prepared> {
    let fanned = fan_out(cx, payloads, turn).await?;
    Ok(Prepared { written: fanned.written + digests(cx, payloads).await?, ..fanned })
}

/// Creates deliveries for some new entries, for some of the subscriptions that send reminders.
async fn fan_out(cx: &Context, payloads: &dyn PayloadWriter, turn: &mut FanOutTurn) -> Result<Prepared> {
    let behind = cx.store.behind_feeds(turn.0, SUBSCRIPTIONS_A_PASS).await?;
    turn.0 = behind.last().map(|last| last.account_id);
    let (mut written, mut more, mut looked) = (0, behind.len() >= SUBSCRIPTIONS_A_PASS as usize, false);
    for subscription in &behind {
        if *cx.closing.borrow() {
            return Ok(Prepared { written, more: false });
        }
        let id = subscription.id;
        let span = tracing::info_span!(target: SPANS, "write deliveries", eavesward.subscription = %id);
        match fan_out_one(cx, payloads, subscription).instrument(span).await {
            Ok(Some(fanned)) => {
                (written, more, looked) = (written + fanned.written, more || fanned.more, true);
            }
            Ok(None) => {}
            // An entry that cannot be read for one subscription must not delay the others.
            Err(error) => {
                tracing::error!(subscription = %id, error = ?error, "no delivery could be made for {id}");
            }
        }
    }
    // If every subscription was skipped, another replica works on them or they fail. The rest can wait.
    Ok(Prepared { written, more: more && looked })
}

async fn fan_out_one(
    cx: &Context,
    payloads: &dyn PayloadWriter,
    subscription: &Subscription,
) -> Result<Option<FanOut>> {
    let now = cx.clock.now();
    let kinds = match &subscription.facts.carries {
        Carries::Reminders { kinds } => kinds,
        Carries::Digest(_) => return Ok(None),
    };
    let make = |entry: &Reminder, unheard: bool| {
        let wanted = kinds.is_empty() || kinds.iter().any(|kind| entry.covers.contains(kind));
        // This entry replaces an announcement that was wanted but not sent yet. If the task is still ahead, no
        // later entry would announce it again. So this entry is sent instead, with the present date.
        let instead = unheard && only_announces(entry) && entry.due_on.is_some();
        if !wanted && !instead {
            return None;
        }
        let id = DeliveryId::of_entry(subscription.id, entry.generation, entry.number);
        let due_at = not_before(subscription, entry, unheard, now);
        let delivery = Delivery {
            number: Some(entry.number),
            task_id: Some(entry.task_id),
            ..Delivery::new(id, subscription, Content::Reminder, now, due_at)
        };
        let body = Body::json(payloads.reminder(subscription.account_id, entry.clone()));
        Some(NewDelivery { delivery, body })
    };
    Ok(cx.store.fan_out(subscription, now, &make).await?)
}

/// Makes the digests that are due: one for each subscription, however many times were missed.
async fn digests(cx: &Context, payloads: &dyn PayloadWriter) -> Result<usize> {
    let mut count = 0;
    let now = cx.clock.now();
    let due = cx.store.due_digests(now).await?;
    // At midnight, for example, the day's refresh comes first.
    let refreshing = !due.is_empty() && cx.store.stale_count(now).await? > 0;
    for subscription in due {
        if *cx.closing.borrow() {
            break;
        }
        let id = subscription.id;
        if refreshing && subscription.next_at.is_some_and(|at| now - at < LONGEST_WAIT_FOR_REFRESH) {
            continue;
        }
        let span = tracing::info_span!(target: SPANS, "write digest", eavesward.subscription = %id);
        match digest(cx, payloads, subscription).instrument(span).await {
            Ok(made) => count += usize::from(made),
            // A digest that fails must not keep others from being made.
            Err(error) => {
                tracing::error!(subscription = %id, error = ?error, "the digest of {id} could not be made");
            }
        }
    }
    Ok(count)
}

async fn digest(cx: &Context, payloads: &dyn PayloadWriter, subscription: Subscription) -> Result<bool> {
    let (Carries::Digest(timing), Some(was_due)) = (&subscription.facts.carries, subscription.next_at) else {
        return Ok(false);
    };
    let now = cx.clock.now();
    let timing = Timing { zone: zone_now(cx, &subscription, timing).await?, ..timing.clone() };
    let days = u64::from(subscription.facts.lead_days.unwrap_or(DIGEST_DAYS));
    let today = local_date(now, timing.zone);
    let asked = DigestScope {
        property_id: subscription.facts.property_id,
        system_id: subscription.facts.system_id,
        from: None,
        to: today.checked_add_days(Days::new(days)),
    };
    let digest = digest::gather(cx, subscription.account_id, asked).await?;
    let rendered = |media_type: &str, format| Body {
        media_type: format!("{media_type}; charset=utf-8"),
        text: render(&digest, format),
    };
    let body = match timing.form {
        DigestForm::Json => Body::json(payloads.digest(digest, now)),
        DigestForm::Text => rendered("text/plain", Format::Text),
        DigestForm::Markdown => rendered("text/markdown", Format::Markdown),
        DigestForm::Csv => rendered("text/csv", Format::Csv),
    };
    let set_at = subscription.next_set_at.timestamp_micros();
    let id = DeliveryId::of_digest(subscription.id, was_due.timestamp_micros(), set_at);
    let delivery = Delivery::new(id, &subscription, Content::Digest, now, now);
    let next = timing.schedule.next(now, timing.zone);
    Ok(cx.store.put_digest(&subscription, was_due, &NewDelivery { delivery, body }, next).await?)
}

/// Sends what is due to one subscription's receiver, a few deliveries at a time. It stops when nothing is due, the
/// receiver needs a rest, the turn takes too long, or the service shuts down. Returns the number of attempts.
pub async fn serve(cx: &Context, sender: &dyn WebhookSender, id: SubscriptionId) -> Result<usize> {
    let (began, closing) = (cx.clock.now(), cx.closing.subscribe());
    let mut attempts = 0;
    while cx.clock.now() - began < LONGEST_TURN && !*closing.borrow() {
        let now = cx.clock.now();
        let Some(claimed) = cx.store.claim_deliveries(id, now, now + LEASE, AT_ONCE).await? else { break };
        let ClaimedDeliveries { subscription, deliveries } = claimed;
        let held = deliveries.iter().map(|one| (one.delivery.id, one.held_by));
        let lease = Lease::on(cx, held.collect::<Vec<_>>());
        let sent = deliveries.iter().map(|one| send(cx, sender, &subscription, one));
        let outcomes = futures_util::future::join_all(sent).await;
        attempts += outcomes.len();
        let finished = deliveries.iter().zip(outcomes);
        let finished: Vec<AttemptedDelivery<'_>> =
            finished.map(|(claimed, outcome)| AttemptedDelivery { claimed, outcome }).collect();
        if let Err(error) = cx.store.finish_deliveries(&subscription, &finished, cx.clock.now()).await {
            // What was sent is not noted, so it will be sent again: not at once.
            lease.give_back(LEASE).await;
            return Err(error.into());
        }
        lease.settle();
        let over = deliveries.len() < AT_ONCE as usize || attempts >= MOST_A_TURN;
        if over || finished.iter().any(|one| one.outcome.gone) {
            break;
        }
    }
    Ok(attempts)
}

async fn send(
    cx: &Context,
    sender: &dyn WebhookSender,
    subscription: &Subscription,
    claimed: &ClaimedDelivery,
) -> AttemptOutcome {
    let (delivery, now) = (&claimed.delivery, cx.clock.now());
    let Body { media_type, text } = claimed.body.clone();
    let id = delivery.id.to_string();
    let Some(signature) = subscription.secrets.signature(&id, now, &text) else {
        let error = Some("its secret cannot be read; make a new one".to_owned());
        let unsent = WebhookResponse { status: None, retry_after: None, error };
        return outcome(delivery, unsent, now, now, ids::spread());
    };
    let span = span_of(&id, subscription.id);
    let url = subscription.facts.url.clone();
    let request = WebhookRequest { url, id, timestamp: now.timestamp(), signature, media_type, body: text };
    let answer = sender.post(&request).instrument(span.clone()).await;
    note_answer(&span, &answer);
    drop(span);
    outcome(delivery, answer, now, cx.clock.now(), ids::spread())
}

/// The span of one attempt. The address is not in it: it may hold a secret of the receiver's.
fn span_of(id: &str, subscription: SubscriptionId) -> Span {
    tracing::info_span!(
        target: SPANS,
        "deliver webhook",
        otel.kind = "client",
        otel.status_code = field::Empty,
        http.request.method = "POST",
        http.response.status_code = field::Empty,
        error.type = field::Empty,
        eavesward.delivery = id,
        eavesward.subscription = %subscription
    )
}

fn note_answer(span: &Span, answer: &WebhookResponse) {
    match answer.status {
        Some(status) => {
            span.record("http.response.status_code", i64::from(status));
            if status >= 400 {
                span.record("error.type", field::display(status)).record("otel.status_code", "ERROR");
            }
        }
        None => {
            span.record("error.type", "no_answer").record("otel.status_code", "ERROR");
        }
    }
}
