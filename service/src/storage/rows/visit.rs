use super::RowRef;
use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, SystemId, VisitId};
use crate::domain::model::visit::{Revision, Visit, VisitFacts, Withdrawn};
use uuid::Uuid;

/// The columns of a [`VisitRow`].
pub(in crate::storage) const VISIT_COLUMNS: &str = "id, account_id, system_id, visited_on, visited_by, items, note, withdrawn_at, withdrawn_because, version, \
     created_at, updated_at";

#[derive(sqlx::FromRow)]
pub(in crate::storage) struct VisitRow {
    id: Uuid,
    account_id: Uuid,
    system_id: Uuid,
    visited_on: i64,
    visited_by: Option<String>,
    items: String,
    note: Option<String>,
    withdrawn_at: Option<i64>,
    withdrawn_because: Option<String>,
    version: i64,
    created_at: i64,
    updated_at: i64,
}

impl VisitRow {
    pub(in crate::storage) fn read(self) -> Stored<Visit> {
        let place = RowRef { table: "visits", id: self.id };
        let withdrawn = match place.instant_if("withdrawn_at", self.withdrawn_at)? {
            None => None,
            Some(at) => {
                Some(Withdrawn { at, because: place.word("withdrawn_because", self.withdrawn_because)? })
            }
        };
        Ok(Visit {
            id: VisitId(self.id),
            account_id: AccountId(self.account_id),
            facts: VisitFacts {
                system_id: SystemId(self.system_id),
                visited_on: place.date("visited_on", self.visited_on)?,
                visited_by: self.visited_by,
                items: place.json("items", &self.items)?,
                note: self.note,
            },
            withdrawn,
            version: self.version,
            created_at: place.instant("created_at", self.created_at)?,
            updated_at: place.instant("updated_at", self.updated_at)?,
        })
    }
}

#[derive(sqlx::FromRow)]
pub(in crate::storage) struct RevisionRow {
    visit_id: Uuid,
    replaced_at: i64,
    visit: String,
}

impl RevisionRow {
    pub(in crate::storage) fn read(self) -> Stored<Revision> {
        let place = RowRef { table: "visit_revisions", id: self.visit_id };
        let visit = place.json("visit", &self.visit)?;
        Ok(Revision { replaced_at: place.instant("replaced_at", self.replaced_at)?, visit })
    }
}
