//! Subscriptions, and what they post.

use super::super::make::{Home, at};
use super::super::subscriptions::{body, letter, of_digests, of_reminders};
use super::{Case, Form, Rig};
use chrono::TimeDelta;
use eavesward_service::domain::base::error::Stored;
use eavesward_service::domain::base::ids::{DeliveryId, FIRST_GENERATION, SubscriptionId, TaskId};
use eavesward_service::domain::model::delivery::{
    AttemptOutcome, Body, Content, Delivery, DeliveryAttempt, DeliveryState,
};
use eavesward_service::domain::model::duty::Duty;
use eavesward_service::domain::model::reminder::ReminderKind;
use eavesward_service::domain::model::subscription::{Carries, DigestForm, Paused, Subscription};
use eavesward_service::domain::ports::store::deliveries::{AttemptedDelivery, DeliveryStore as _};
use eavesward_service::domain::ports::store::subscriptions::SubscriptionStore as _;
use uuid::Uuid;

/// Kinds of one subscription, the first and the last of their bits among them.
const SEVERAL: [ReminderKind; 4] =
    [ReminderKind::Coming, ReminderKind::Late, ReminderKind::Moved, ReminderKind::Withdrawn];

pub(super) struct Subscriptions;

fn subscription_id(home: &Home) -> SubscriptionId {
    SubscriptionId(Uuid::new_v5(&home.account.0, b"subscription"))
}

fn reminders(name: &str, kinds: &[ReminderKind]) -> Case<Subscription> {
    Case::of(name, |home| {
        let mut made = Subscription { id: subscription_id(home), ..of_reminders(home) };
        made.facts.carries = Carries::Reminders { kinds: kinds.to_vec() };
        made
    })
}

fn digest(form: DigestForm) -> Case<Subscription> {
    Case::of(format!("a digest as {}", form.code()), |home| {
        let mut made = Subscription { id: subscription_id(home), ..of_digests(home) };
        if let Carries::Digest(timing) = &mut made.facts.carries {
            timing.form = form;
            timing.zone_given = form != DigestForm::Csv;
        }
        made
    })
}

impl Form for Subscriptions {
    const FILE: &'static str = "subscriptions";
    type Value = Subscription;

    fn cases() -> Vec<Case<Subscription>> {
        let kinds =
            ReminderKind::ALL.iter().map(|&kind| reminders(&format!("reminders, {}", kind.code()), &[kind]));
        let everything = reminders("reminders of whatever comes", &[]);
        let mut paused = reminders("reminders of several kinds, paused by itself", &SEVERAL);
        paused.value.paused = Some(Paused { at: at(7), because: Some("it answered 410".to_owned()) });
        paused.value.secrets.before = Vec::new();
        let mut bare = reminders("reminders of all places, paused by somebody", &[ReminderKind::Due]);
        bare.value.paused = Some(Paused { at: at(8), because: None });
        (bare.value.facts.property_id, bare.value.facts.lead_days) = (None, None);
        let mut of_system = reminders("reminders of a system", &[ReminderKind::Moved]);
        of_system.value.facts.property_id = None;
        of_system.value.facts.system_id = Some(of_system.home.system.id);
        kinds
            .chain([everything, paused, bare, of_system])
            .chain(DigestForm::ALL.iter().copied().map(digest))
            .collect()
    }

    fn rows(case: &Case<Subscription>) -> Vec<(&'static str, Uuid)> {
        vec![("subscriptions", case.value.id.0)]
    }

    async fn write(rig: &Rig, case: &Case<Subscription>) {
        rig.database.insert_subscription(&case.value).await.unwrap();
    }

    async fn read(rig: &Rig, case: &Case<Subscription>) -> Stored<Subscription> {
        let found = rig.database.subscription(case.home.account, case.value.id).await?;
        Ok(found.expect("a subscription of this id"))
    }
}

pub(super) struct Deliveries;

/// A delivery with what is posted and what was tried.
type WebhookResponse = (Delivery, Body, Vec<DeliveryAttempt>);

fn subscription(home: &Home) -> Subscription {
    Subscription { id: subscription_id(home), ..of_reminders(home) }
}

fn posted(content: Content, state: DeliveryState) -> Case<WebhookResponse> {
    Case::of(format!("{}, {}", content.code(), state.code()), |home| {
        let subscription = subscription(home);
        let mut one = letter(&subscription, 20);
        // As the first version computed the id of a digest.
        let digests = Uuid::new_v5(&subscription.id.0, b"digest");
        one.id = DeliveryId(Uuid::new_v5(&digests, &7_i64.to_be_bytes()));
        (one.content, one.state) = (content, state);
        if content == Content::Reminder {
            one.id = DeliveryId::of_entry(subscription.id, FIRST_GENERATION, 12);
            one.number = Some(12);
            one.task_id = Some(TaskId::of(home.components[0].id, Duty::ClearWeepHole));
        }
        if state != DeliveryState::Waiting {
            (one.next_at, one.ended_at) = (None, Some(at(30)));
        }
        let attempts = match state {
            DeliveryState::Waiting | DeliveryState::Superseded => Vec::new(),
            DeliveryState::Delivered | DeliveryState::Parked => {
                one.attempts = 2;
                one.due_at = at(22);
                tries(state)
            }
        };
        (one, body(), attempts)
    })
}

/// One try that no answer came to, and another.
fn tries(state: DeliveryState) -> Vec<DeliveryAttempt> {
    let error = Some("no answer within 10 s – gone?".to_owned());
    let first = DeliveryAttempt { at: at(22), milliseconds: 10_001, status: None, error };
    let status = Some(if state == DeliveryState::Delivered { 204 } else { 500 });
    vec![first, DeliveryAttempt { at: at(29), milliseconds: 12, status, error: None }]
}

impl Form for Deliveries {
    const FILE: &'static str = "deliveries";
    type Value = WebhookResponse;

    fn cases() -> Vec<Case<WebhookResponse>> {
        let all =
            Content::ALL.iter().flat_map(|content| DeliveryState::ALL.iter().map(|state| (*content, *state)));
        all.map(|(content, state)| posted(content, state)).collect()
    }

    fn rows(case: &Case<WebhookResponse>) -> Vec<(&'static str, Uuid)> {
        let one = &case.value.0;
        // With the subscription: it says how its receiver does.
        vec![
            ("subscriptions", one.subscription_id.0),
            ("deliveries", one.subscription_id.0),
            ("delivery_attempts", one.id.0),
        ]
    }

    async fn write(rig: &Rig, case: &Case<WebhookResponse>) {
        let (subscription, (one, body, attempts)) = (subscription(&case.home), &case.value);
        rig.database.insert_subscription(&subscription).await.unwrap();
        if attempts.is_empty() {
            return rig.database.insert_delivery(one, body).await.unwrap();
        }
        let waiting = Delivery {
            content: one.content,
            number: one.number,
            task_id: one.task_id,
            id: one.id,
            ..letter(&subscription, 20)
        };
        rig.database.insert_delivery(&waiting, body).await.unwrap();
        for (number, attempt) in (1..).zip(attempts) {
            let (now, last) = (attempt.at, number == attempts.len());
            let claim =
                rig.database.claim_deliveries(subscription.id, now, now + TimeDelta::seconds(60), 1).await;
            let known = claim.unwrap().expect("it is due");
            let outcome = AttemptOutcome {
                attempt: attempt.clone(),
                state: if last { one.state } else { DeliveryState::Waiting },
                next_at: (!last).then_some(at(25)),
                first_at: at(22),
                rest_until: None,
                failed: attempt.status != Some(204),
                gone: false,
            };
            let attempted = AttemptedDelivery { claimed: &known.deliveries[0], outcome };
            rig.database
                .finish_deliveries(&known.subscription, &[attempted], at(23 + 7 * i64::from(last)))
                .await
                .unwrap();
        }
    }

    async fn read(rig: &Rig, case: &Case<WebhookResponse>) -> Stored<WebhookResponse> {
        let (account, id, later) = (case.home.account, case.value.0.id, at(900_000));
        let logged = rig.database.delivery(account, id).await?.expect("a delivery of this id");
        // What is posted is read by whoever sends it.
        assert!(rig.database.send_again(account, id, later).await?);
        let (id, until) = (logged.delivery.subscription_id, later + TimeDelta::seconds(60));
        let claimed = rig.database.claim_deliveries(id, later, until, 1).await?.expect("it is due");
        Ok((logged.delivery, claimed.deliveries[0].body.clone(), logged.attempts))
    }
}
