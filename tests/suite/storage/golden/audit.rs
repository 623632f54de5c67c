//! Entries of the audit.

use super::super::make::{at, first};
use super::{Case, Form, Rig, account_of};
use eavesward_service::domain::base::clock::SetClock;
use eavesward_service::domain::base::error::Stored;
use eavesward_service::domain::base::ids::AuditId;
use eavesward_service::domain::model::audit::{
    Act, Actor, AuditEntry, AuditFilter, Deed, RecordedActor, RecordedThing, ThingKind,
};
use eavesward_service::domain::ports::store::Store as _;
use eavesward_service::domain::ports::store::audit::AuditStore as _;
use eavesward_service::domain::ports::store::corrections::CorrectionStore as _;
use std::sync::Arc;
use uuid::Uuid;

pub(super) struct Entries;

/// The case whose instant was corrected.
const AHEAD: &str = "by a clock that was ahead";

impl Form for Entries {
    const FILE: &'static str = "audit";
    type Value = AuditEntry;

    fn cases() -> Vec<Case<AuditEntry>> {
        let entry = |name: &str, kind: &str, thing: Option<RecordedThing>| {
            Case::of(name, |home| {
                let key = account_of(home).1;
                let of_key = kind == "key";
                let actor = RecordedActor {
                    kind: kind.to_owned(),
                    id: of_key.then_some(key.id.0),
                    name: of_key.then_some(key.name),
                };
                AuditEntry {
                    id: AuditId(Uuid::new_v5(&home.account.0, b"entry")),
                    account_id: home.account,
                    at: at(50),
                    actor,
                    operation: "update_something".to_owned(),
                    thing,
                    request_id: of_key.then(|| Uuid::from_u128(77)),
                }
            })
        };
        let each = ThingKind::ALL.iter().map(|kind| {
            let code = kind.code();
            entry(
                &format!("thing: {code}"),
                "key",
                Some(RecordedThing { kind: code.to_owned(), id: "7".to_owned() }),
            )
        });
        let bare = entry("the operator, no single thing", "operator", None);
        let ahead = entry(AHEAD, "operator", None);
        each.chain([bare, ahead]).collect()
    }

    fn rows(case: &Case<AuditEntry>) -> Vec<(&'static str, Uuid)> {
        vec![("audit", case.home.account.0)]
    }

    async fn write(rig: &Rig, case: &Case<AuditEntry>) {
        let (entry, was_ahead) = (&case.value, case.name == AHEAD);
        let thing = entry.thing.as_ref();
        let deed = Deed {
            id: entry.id,
            operation: "update_something",
            thing: thing.and_then(|thing| ThingKind::parse(&thing.kind)),
            thing_id: thing.map(|thing| thing.id.clone()).map_or_else(Default::default, Into::into),
        };
        let key = account_of(&case.home).1;
        let actor = if entry.actor.id.is_some() { Actor::Key(key.id) } else { Actor::Operator };
        let act = Act { account: entry.account_id, actor, deeds: vec![deed], request_id: entry.request_id };
        let clock = SetClock::new(if was_ahead { at(90_000) } else { entry.at });
        let store = rig.database.acting(Arc::new(act), Arc::new(clock));
        // A change of the key that changes nothing of it.
        assert!(store.insert_key(&key).await.unwrap());
        if was_ahead {
            rig.database.undo_future(entry.at).await.unwrap();
        }
    }

    async fn read(rig: &Rig, case: &Case<AuditEntry>) -> Stored<AuditEntry> {
        let mut found = rig.database.audit(case.home.account, &AuditFilter::default(), &first(10)).await?;
        let entry = found.pop().expect("an entry");
        assert!(found.is_empty(), "{found:?}");
        Ok(entry)
    }
}
