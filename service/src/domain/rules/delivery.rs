//! When a delivery may be sent, and what follows from the receiver's answer: pure functions.

use crate::domain::model::delivery::{
    AttemptOutcome, Delivery, DeliveryAttempt, DeliveryState, WebhookResponse,
};
use crate::domain::model::reminder::{Reminder, ReminderKind};
use crate::domain::model::subscription::Subscription;
use crate::domain::rules::retry;
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

/// Whether an entry only announces a date that is still to come.
pub(crate) fn only_announces(entry: &Reminder) -> bool {
    matches!(entry.kind, ReminderKind::Coming | ReminderKind::Moved)
}

/// When an entry may be sent. An entry that only announces a date is held back until the subscription's own lead
/// time. If the date has moved, this needs one more condition: the old date was also beyond that lead time, or was
/// never sent.
pub(crate) fn not_before(
    subscription: &Subscription,
    entry: &Reminder,
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

/// What follows from an answer to a delivery. A status from 200 to 299 means accepted; 410 means that the receiver
/// wants nothing more.
pub fn outcome(
    delivery: &Delivery,
    posted: WebhookResponse,
    began: DateTime<Utc>,
    now: DateTime<Utc>,
    spread: f64,
) -> AttemptOutcome {
    let done = posted.status.is_some_and(|status| (200..300).contains(&status));
    let gone = posted.status == Some(410);
    let attempts = delivery.attempts.saturating_add(1);
    // The time limit runs from the first attempt. While the service was off, no attempt was made, so that time does
    // not count.
    let first_at = if delivery.attempts == 0 { delivery.due_at.max(began) } else { delivery.due_at };
    let next_at =
        if done { None } else { retry::retry_at(first_at, attempts, now, posted.retry_after, spread) };
    let rest_until = retry::rest_asked_for(posted.status, posted.retry_after, now);
    let state = match (done, next_at) {
        (true, _) => DeliveryState::Delivered,
        (false, Some(_)) => DeliveryState::Waiting,
        (false, None) => DeliveryState::Parked,
    };
    let milliseconds = (now - began).num_milliseconds().max(0);
    let attempt = DeliveryAttempt { at: began, milliseconds, status: posted.status, error: posted.error };
    AttemptOutcome { attempt, state, next_at, first_at, rest_until, failed: !done, gone }
}
