use super::RowRef;
use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, AuditId};
use crate::domain::model::audit::{AuditEntry, RecordedActor, RecordedThing};
use uuid::Uuid;

/// A row of `audit` with the name of its key.
#[derive(sqlx::FromRow)]
pub(in crate::storage) struct AuditRow {
    id: Uuid,
    account_id: Uuid,
    at: i64,
    actor: String,
    actor_id: Option<Uuid>,
    name: Option<String>,
    operation: String,
    thing: Option<String>,
    thing_id: Option<String>,
    request_id: Option<Uuid>,
}

impl AuditRow {
    pub(in crate::storage) fn read(self) -> Stored<AuditEntry> {
        let place = RowRef { table: "audit", id: self.id };
        Ok(AuditEntry {
            id: AuditId(self.id),
            account_id: AccountId(self.account_id),
            at: place.instant("at", self.at)?,
            actor: RecordedActor { kind: self.actor, id: self.actor_id, name: self.name },
            operation: self.operation,
            thing: self.thing.zip(self.thing_id).map(|(kind, id)| RecordedThing { kind, id }),
            request_id: self.request_id,
        })
    }
}
