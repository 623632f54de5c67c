//! Accounts, keys, calendar feeds, own duty settings, repeated requests.

use super::super::make::at;
use super::{Case, Form, Rig, account_of, settle};
use chrono::{DateTime, TimeDelta, Utc};
use eavesward_service::domain::base::error::Stored;
use eavesward_service::domain::base::ids::{CalendarId, KeyId};
use eavesward_service::domain::base::secret::hash;
use eavesward_service::domain::context::key_uses::minute;
use eavesward_service::domain::model::account::{Account, Key, Scope};
use eavesward_service::domain::model::calendar::Calendar;
use eavesward_service::domain::model::duty::Duty;
use eavesward_service::domain::model::duty_settings::{DutySetting, Overrides};
use eavesward_service::domain::model::idempotency::{Answer, Attempt, CLAIM_LEASE, Claim};
use eavesward_service::domain::ports::store::accounts::AccountStore as _;
use eavesward_service::domain::ports::store::calendars::CalendarStore as _;
use eavesward_service::domain::ports::store::duty_settings::DutySettingStore as _;
use eavesward_service::domain::ports::store::idempotency::IdempotencyStore as _;
use uuid::Uuid;

pub(super) struct Accounts;

impl Form for Accounts {
    const FILE: &'static str = "accounts";
    type Value = Option<Account>;

    fn cases() -> Vec<Case<Self::Value>> {
        vec![Case::of("an account", |home| Some(account_of(home).0))]
    }

    fn rows(case: &Case<Self::Value>) -> Vec<(&'static str, Uuid)> {
        vec![("accounts", case.home.account.0)]
    }

    async fn ground(_: &Rig, _: &Case<Self::Value>) {}

    async fn write(rig: &Rig, case: &Case<Self::Value>) {
        settle(rig, &case.home).await;
    }

    async fn read(rig: &Rig, case: &Case<Self::Value>) -> Stored<Self::Value> {
        rig.database.account(case.home.account).await
    }
}

pub(super) struct Keys;

impl Form for Keys {
    const FILE: &'static str = "keys";
    type Value = Key;

    fn cases() -> Vec<Case<Key>> {
        let key = |name: &str, scopes: Vec<Scope>| {
            Case::of(name, |home| {
                let id = KeyId(Uuid::new_v5(&home.account.0, b"another key"));
                Key { id, hash: hash(name), scopes, ..account_of(home).1 }
            })
        };
        let each = Scope::ALL.iter().map(|scope| key(&format!("scope: {}", scope.as_str()), vec![*scope]));
        let mut several = key("several scopes, revoked", vec![Scope::Read, Scope::Write, Scope::Admin]);
        several.value.revoked_at = Some(at(40));
        let mut narrow = key("one system, without an end", vec![Scope::Read]);
        narrow.value.system_id = Some(narrow.home.system.id);
        narrow.value.expires_at = None;
        let mut used = key("used", vec![Scope::Read]);
        used.value.last_used_at = Some(minute(at(120)));
        each.chain([several, narrow, used]).collect()
    }

    fn rows(case: &Case<Key>) -> Vec<(&'static str, Uuid)> {
        vec![("keys", case.value.id.0)]
    }

    async fn write(rig: &Rig, case: &Case<Key>) {
        rig.database.insert_key(&case.value).await.unwrap();
        let used: Vec<_> = case.value.last_used_at.map(|at| (case.value.id, at)).into_iter().collect();
        rig.database.note_key_uses(&used, at(200)).await.unwrap();
    }

    async fn read(rig: &Rig, case: &Case<Key>) -> Stored<Key> {
        Ok(rig.database.key_by_hash(&case.value.hash).await?.expect("a key of this hash"))
    }
}

pub(super) struct Calendars;

impl Form for Calendars {
    const FILE: &'static str = "calendars";
    type Value = Calendar;

    fn cases() -> Vec<Case<Calendar>> {
        let feed = |name: &str| {
            Case::of(name, |home| Calendar {
                id: CalendarId(Uuid::new_v5(&home.account.0, b"calendar")),
                account_id: home.account,
                property_id: Some(home.property.id),
                name: "Zeder, \"Ωμέγα\"".to_owned(),
                horizon_days: 90,
                hash: hash(name),
                hint: "ewc_abcdef".to_owned(),
                created_at: at(30),
                last_read_at: Some(at(31)),
                revoked_at: Some(at(32)),
            })
        };
        let mut bare = feed("all properties, never read");
        bare.value.property_id = None;
        bare.value.last_read_at = None;
        bare.value.revoked_at = None;
        vec![feed("one property, read, revoked"), bare]
    }

    fn rows(case: &Case<Calendar>) -> Vec<(&'static str, Uuid)> {
        vec![("calendars", case.value.id.0)]
    }

    async fn write(rig: &Rig, case: &Case<Calendar>) {
        rig.database.insert_calendar(&case.value).await.unwrap();
    }

    async fn read(rig: &Rig, case: &Case<Calendar>) -> Stored<Calendar> {
        Ok(rig.database.calendar_by_hash(&case.value.hash).await?.expect("a calendar of this hash"))
    }
}

pub(super) struct DutySettings;

fn setting(name: String, duty: Duty, own: Overrides) -> Case<Vec<DutySetting>> {
    Case::of(name, |_| vec![DutySetting { duty, own, version: 1, updated_at: Some(at(50)) }])
}

impl Form for DutySettings {
    const FILE: &'static str = "duty_settings";
    type Value = Vec<DutySetting>;

    fn cases() -> Vec<Case<Self::Value>> {
        let own = Overrides {
            ceiling_months: Some(4),
            tolerance: Some(0.1 + 0.2),
            lead_days: Some(21),
            move_days: Some(5),
        };
        let each = Duty::ALL.iter().map(|&duty| setting(format!("duty: {}", duty.code()), duty, own));
        // What goes back to the defaults keeps its row.
        let bare = setting("nothing set any more".to_owned(), Duty::CheckPump, Overrides::default());
        each.chain([bare]).collect()
    }

    fn rows(case: &Case<Self::Value>) -> Vec<(&'static str, Uuid)> {
        vec![("duty_settings", case.home.account.0)]
    }

    async fn write(rig: &Rig, case: &Case<Self::Value>) {
        for one in &case.value {
            let now = one.updated_at.unwrap();
            rig.database.put_duty_setting(case.home.account, one.duty, 0, one.own, now).await.unwrap();
        }
    }

    async fn read(rig: &Rig, case: &Case<Self::Value>) -> Stored<Self::Value> {
        rig.database.duty_settings(case.home.account).await
    }
}

/// What a repeated request is told, long after its first attempt.
pub(super) struct Repeated;

const NOW: i64 = 60;

fn attempt(case: &Case<Claim>, seed: Uuid, now: DateTime<Utc>) -> Attempt {
    let fingerprint = hash("POST /v1/gauges");
    Attempt { account_id: case.home.account, key: "order-17".to_owned(), fingerprint, seed, now }
}

impl Form for Repeated {
    const FILE: &'static str = "idempotency";
    type Value = Claim;

    fn cases() -> Vec<Case<Claim>> {
        let full = Answer {
            status: 201,
            etag: Some("\"1.ab\"".to_owned()),
            location: Some("/v1/gauges/7".to_owned()),
            body: "{\"name\":\"Äpfel\"}".to_owned(),
        };
        let bare = Answer { status: 204, etag: None, location: None, body: String::new() };
        vec![
            Case::of("answered", |_| Claim::Answered(full)),
            Case::of("answered with nothing", |_| Claim::Answered(bare)),
            Case::of("cut off", |home| Claim::Go { seed: Uuid::new_v5(&home.account.0, b"seed") }),
        ]
    }

    fn rows(case: &Case<Claim>) -> Vec<(&'static str, Uuid)> {
        vec![("idempotency", case.home.account.0)]
    }

    async fn write(rig: &Rig, case: &Case<Claim>) {
        let seed = Uuid::new_v5(&case.home.account.0, b"seed");
        let first = attempt(case, seed, at(NOW));
        assert_eq!(rig.database.claim(&first).await.unwrap(), Claim::Go { seed });
        if let Claim::Answered(answer) = &case.value {
            rig.database.answer(case.home.account, &first.key, answer).await.unwrap();
        }
    }

    async fn read(rig: &Rig, case: &Case<Claim>) -> Stored<Claim> {
        let later = at(NOW) + CLAIM_LEASE + TimeDelta::seconds(1);
        rig.database.claim(&attempt(case, Uuid::nil(), later)).await
    }
}
