use super::RowRef;
use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, DeliveryId, PropertyId, SubscriptionId, SystemId, TaskId};
use crate::domain::base::schedule::Schedule;
use crate::domain::model::delivery::{Body, Content, Delivery, DeliveryAttempt, DeliveryState, NewDelivery};
use crate::domain::model::reminder::ReminderKind;
use crate::domain::model::signing::{ReplacedSecret, Secrets, SigningSecret};
use crate::domain::model::subscription::{
    Carries, DigestForm, Paused, Subscription, SubscriptionFacts, Timing,
};
use crate::storage::errors::to_json;
use crate::storage::secret_keys::SecretKeys;
use crate::storage::sql::{Sql, sql};
use uuid::Uuid;

pub(in crate::storage) const SUBSCRIPTION_COLUMNS: &str = "id, account_id, name, url, property_id, system_id, lead_days, kinds, schedule, time_zone, zone_given, form, secret, \
     secrets_before, paused_at, paused_because, next_at, next_set_at, version, created_at, updated_at";

/// Selects subscriptions without counting the deliveries that wait.
pub(in crate::storage) fn select_subscriptions() -> Sql {
    let mut query = sql("SELECT ");
    query.push(SUBSCRIPTION_COLUMNS);
    query.push(", CAST(0 AS BIGINT) AS waiting, CAST(0 AS BIGINT) AS parked FROM subscriptions WHERE ");
    query
}

/// A secret that was replaced.
#[derive(serde::Serialize, serde::Deserialize)]
struct Before {
    secret: Vec<u8>,
    until: i64,
}

/// The secrets of a subscription as they are stored: the current one, and the replaced ones as JSON.
pub(in crate::storage) fn stored_secrets(keys: &SecretKeys, one: &Subscription) -> Stored<(Vec<u8>, String)> {
    let seal = |secret: &SigningSecret| match (secret.stored(), secret.bytes()) {
        // What has not changed stays as it is, also where there is no key.
        (Some(stored), _) => Ok(stored.to_vec()),
        (None, plain) => keys.seal(one.account_id, one.id, plain.unwrap_or_default()),
    };
    let before = one
        .secrets
        .before
        .iter()
        .map(|one| Ok(Before { secret: seal(&one.secret)?, until: one.until.timestamp_micros() }));
    Ok((seal(&one.secrets.current)?, to_json(&before.collect::<Stored<Vec<_>>>()?)?))
}

#[derive(sqlx::FromRow)]
pub(in crate::storage) struct SubscriptionRow {
    id: Uuid,
    account_id: Uuid,
    name: String,
    url: String,
    property_id: Option<Uuid>,
    system_id: Option<Uuid>,
    lead_days: Option<i64>,
    kinds: Option<i64>,
    schedule: Option<String>,
    time_zone: Option<String>,
    zone_given: Option<i64>,
    form: Option<String>,
    secret: Vec<u8>,
    secrets_before: String,
    paused_at: Option<i64>,
    paused_because: Option<String>,
    next_at: Option<i64>,
    next_set_at: i64,
    version: i64,
    created_at: i64,
    updated_at: i64,
    waiting: i64,
    parked: i64,
}

impl SubscriptionRow {
    pub(in crate::storage) fn read(self, keys: &SecretKeys) -> Stored<Subscription> {
        let place = RowRef { table: "subscriptions", id: self.id };
        let (account, id) = (AccountId(self.account_id), SubscriptionId(self.id));
        let secret = |stored: Vec<u8>| {
            let plain = keys.open(account, id, &stored)?;
            Ok(SigningSecret::of_stored(stored, plain))
        };
        let lead_days = self.lead_days.map(|days| place.word("lead_days", u32::try_from(days).ok()));
        let before = place.json::<Vec<Before>>("secrets_before", &self.secrets_before)?;
        let before = before.into_iter().map(|one| {
            Ok(ReplacedSecret {
                secret: secret(one.secret)?,
                until: place.instant("secrets_before", one.until)?,
            })
        });
        let carries = if let Some(bits) = self.kinds {
            let kinds = ReminderKind::ALL.iter().copied().filter(|kind| kind.bit() & bits != 0);
            Carries::Reminders { kinds: kinds.collect() }
        } else {
            let schedule = self.schedule.as_deref().and_then(|text| Schedule::parse(text).ok());
            Carries::Digest(Timing {
                schedule: place.word("schedule", schedule)?,
                zone: place.word("time_zone", self.time_zone.and_then(|name| name.parse().ok()))?,
                zone_given: self.zone_given == Some(1),
                form: place.word("form", self.form.as_deref().and_then(DigestForm::parse))?,
            })
        };
        let paused_because = self.paused_because;
        let paused = place.instant_if("paused_at", self.paused_at)?;
        Ok(Subscription {
            id,
            account_id: account,
            facts: SubscriptionFacts {
                name: self.name,
                url: self.url,
                carries,
                property_id: self.property_id.map(PropertyId),
                system_id: self.system_id.map(SystemId),
                lead_days: lead_days.transpose()?,
            },
            secrets: Secrets { current: secret(self.secret)?, before: before.collect::<Stored<_>>()? },
            paused: paused.map(|at| Paused { at, because: paused_because }),
            next_at: place.instant_if("next_at", self.next_at)?,
            // Rows of earlier versions do not say it.
            next_set_at: place.instant(
                "next_set_at",
                if self.next_set_at == 0 { self.updated_at } else { self.next_set_at },
            )?,
            waiting: self.waiting,
            parked: self.parked,
            version: self.version,
            created_at: place.instant("created_at", self.created_at)?,
            updated_at: place.instant("updated_at", self.updated_at)?,
        })
    }
}

pub(in crate::storage) const DELIVERY_COLUMNS: &str = "id, account_id, subscription_id, content, number, task_id, state, attempts, next_at, due_at, created_at, ended_at";

#[derive(sqlx::FromRow)]
pub(in crate::storage) struct DeliveryRow {
    id: Uuid,
    account_id: Uuid,
    subscription_id: Uuid,
    content: String,
    number: Option<i64>,
    task_id: Option<Uuid>,
    state: String,
    attempts: i64,
    next_at: Option<i64>,
    due_at: i64,
    created_at: i64,
    ended_at: Option<i64>,
}

impl DeliveryRow {
    pub(in crate::storage) fn read(self) -> Stored<Delivery> {
        let place = RowRef { table: "deliveries", id: self.id };
        Ok(Delivery {
            id: DeliveryId(self.id),
            account_id: AccountId(self.account_id),
            subscription_id: SubscriptionId(self.subscription_id),
            content: place.word("content", Content::parse(&self.content))?,
            number: self.number,
            task_id: self.task_id.map(TaskId),
            state: place.word("state", DeliveryState::parse(&self.state))?,
            attempts: place.word("attempts", u32::try_from(self.attempts).ok())?,
            next_at: place.instant_if("next_at", self.next_at)?,
            due_at: place.instant("due_at", self.due_at)?,
            created_at: place.instant("created_at", self.created_at)?,
            ended_at: place.instant_if("ended_at", self.ended_at)?,
        })
    }
}

/// A delivery with its body.
#[derive(sqlx::FromRow)]
pub(in crate::storage) struct LetterRow {
    #[sqlx(flatten)]
    delivery: DeliveryRow,
    media_type: String,
    body: String,
}

impl LetterRow {
    pub(in crate::storage) fn read(self) -> Stored<NewDelivery> {
        let body = Body { media_type: self.media_type, text: self.body };
        Ok(NewDelivery { delivery: self.delivery.read()?, body })
    }
}

#[derive(sqlx::FromRow)]
pub(in crate::storage) struct AttemptRow {
    delivery_id: Uuid,
    at: i64,
    milliseconds: i64,
    status: Option<i64>,
    error: Option<String>,
}

impl AttemptRow {
    pub(in crate::storage) fn read(self) -> Stored<DeliveryAttempt> {
        let place = RowRef { table: "delivery_attempts", id: self.delivery_id };
        let status = self.status.map(|status| place.word("status", u16::try_from(status).ok()));
        Ok(DeliveryAttempt {
            at: place.instant("at", self.at)?,
            milliseconds: self.milliseconds,
            status: status.transpose()?,
            error: self.error,
        })
    }
}
