//! Subscriptions, and what they post.

use super::{mirror_open, reminder};
use crate::domain::base::error;
use crate::domain::base::error::Error;
use crate::domain::base::ids::{AccountId, PropertyId, SystemId};
use crate::domain::model::reminder::{Reminder, ReminderKind};
use crate::domain::model::subscription::SubscriptionDraft;
use crate::domain::model::{delivery, subscription};
use crate::domain::ports::senders::PayloadWriter;
use crate::domain::rules::digest::make::Digest;
use chrono::{DateTime, Utc};
use eavesward_contract as wire;

mirror_open!(DigestFormat: subscription::DigestForm { Json, Text, Markdown, Csv });
mirror_open!(DeliveryState: delivery::DeliveryState { Waiting, Delivered, Parked, Superseded });
mirror_open!(DeliveryContent: delivery::Content { Reminder, Digest, Test });

/// Reads what a caller wants; words of a newer version are refused by their fields.
pub fn subscription_draft(request: wire::SubscriptionRequest) -> error::Result<SubscriptionDraft> {
    let digest = match request.sends {
        wire::Sends::Reminders => false,
        wire::Sends::Digest => true,
        wire::Sends::Unknown => return Err(Error::field("sends", "it is neither reminders nor digest")),
    };
    let unknown = |place: usize| {
        Error::field(format!("kinds[{place}]"), "it is not one of coming, due, late, moved, done, withdrawn")
    };
    let kinds = request.kinds.into_iter().enumerate();
    let kinds = kinds.map(|(place, kind)| ReminderKind::try_from(kind).map_err(|()| unknown(place)));
    let form = request.format.map(subscription::DigestForm::try_from).transpose();
    Ok(SubscriptionDraft {
        name: request.name,
        url: request.to,
        digest,
        kinds: kinds.collect::<error::Result<_>>()?,
        property_id: request.property_id.map(PropertyId),
        system_id: request.system_id.map(SystemId),
        horizon_days: request.horizon_days,
        lead_days: request.lead_days,
        schedule: request.schedule,
        time_zone: request.time_zone,
        form: form.map_err(|()| Error::field("format", "it is not one of json, text, markdown, csv"))?,
    })
}

/// A subscription as it stands at an instant.
pub fn subscription_at(from: subscription::Subscription, now: DateTime<Utc>) -> wire::Subscription {
    let next = from.upcoming(now);
    let facts = from.facts;
    let (sends, kinds, timing) = match facts.carries {
        subscription::Carries::Reminders { kinds } => (wire::Sends::Reminders, kinds, None),
        subscription::Carries::Digest(timing) => (wire::Sends::Digest, Vec::new(), Some(timing)),
    };
    let (paused_at, paused_because) =
        from.paused.map_or((None, None), |paused| (Some(paused.at), paused.because));
    wire::Subscription {
        id: from.id.0,
        name: facts.name,
        to: facts.url,
        sends,
        kinds: kinds.into_iter().map(Into::into).collect(),
        property_id: facts.property_id.map(|id| id.0),
        system_id: facts.system_id.map(|id| id.0),
        horizon_days: facts.lead_days.filter(|_| timing.is_some()),
        lead_days: facts.lead_days.filter(|_| timing.is_none()),
        schedule: timing.as_ref().map(|timing| timing.schedule.text().to_owned()),
        time_zone: timing
            .as_ref()
            .filter(|timing| timing.zone_given)
            .map(|timing| timing.zone.name().to_owned()),
        local_time_zone: timing.as_ref().map(|timing| timing.zone.name().to_owned()),
        format: timing.map(|timing| timing.form.into()),
        next_at: next,
        paused_at,
        paused_because,
        waiting: from.waiting,
        parked: from.parked,
        old_secret_until: from.secrets.old_until(now),
        version: from.version,
        created_at: from.created_at,
        updated_at: from.updated_at,
    }
}

impl From<delivery::Delivery> for wire::Delivery {
    fn from(from: delivery::Delivery) -> Self {
        Self {
            id: from.id.0,
            subscription_id: from.subscription_id.0,
            content: from.content.into(),
            task_id: from.task_id.map(|id| id.0),
            state: from.state.into(),
            attempts: from.attempts,
            next_at: from.next_at,
            created_at: from.created_at,
            ended_at: from.ended_at,
        }
    }
}

impl From<delivery::DeliveryAttempt> for wire::DeliveryAttempt {
    fn from(from: delivery::DeliveryAttempt) -> Self {
        Self { at: from.at, took_ms: from.milliseconds, http_status: from.status, error: from.error }
    }
}

/// Writes the payloads of webhooks as the contract has them.
#[derive(Clone, Copy, Debug)]
pub struct ContractPayloads;

impl PayloadWriter for ContractPayloads {
    fn reminder(&self, account: AccountId, entry: Reminder) -> String {
        let posted = wire::ReminderPosted {
            kind: format!("reminder.{}", entry.kind.code()),
            timestamp: entry.raised_at,
            data: reminder::entry(account, entry),
        };
        text(&posted)
    }

    fn digest(&self, digest: Digest, at: DateTime<Utc>) -> String {
        text(&wire::DigestPosted { kind: "digest".to_owned(), timestamp: at, data: digest.into() })
    }

    fn test(&self, subscription: &subscription::Subscription, at: DateTime<Utc>) -> String {
        let data =
            wire::TestData { subscription_id: subscription.id.0, name: subscription.facts.name.clone() };
        text(&wire::TestPosted { kind: "test".to_owned(), timestamp: at, data })
    }
}

fn text(value: &impl serde::Serialize) -> String {
    // Only a map with keys that are no texts can fail, and the contract has none.
    serde_json::to_string(value).unwrap_or_default()
}
