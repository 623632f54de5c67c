//! A task's row as a refresh reads it, with what its readers know.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::VisitId;
use crate::domain::model::reminder::{DoneByVisit, ReminderState};
use crate::domain::model::task::NO_DATE;
use crate::storage::rows::RowRef;
use uuid::Uuid;

/// A task's row as it is stored.
#[derive(sqlx::FromRow)]
pub(in crate::storage) struct StoredTask {
    pub(in crate::storage) id: Uuid,
    pub(in crate::storage) component_id: Uuid,
    pub(in crate::storage) kind: String,
    pub(in crate::storage) duty: String,
    pub(in crate::storage) state: String,
    pub(in crate::storage) sort_on: i64,
    pub(in crate::storage) sequence: i64,
    pub(in crate::storage) line: i64,
    #[sqlx(flatten)]
    pub(in crate::storage) known: StoredReminderState,
}

/// What readers know of a task.
#[derive(Default, sqlx::FromRow)]
pub(in crate::storage) struct StoredReminderState {
    pub(in crate::storage) since_on: Option<i64>,
    pub(in crate::storage) told: Option<String>,
    pub(in crate::storage) done_by: Option<Uuid>,
    pub(in crate::storage) done_on: Option<i64>,
}

impl StoredReminderState {
    pub(in crate::storage) fn state(&self, place: RowRef, sort_on: i64) -> Stored<ReminderState> {
        let told = self.told.as_ref().map(|text| place.json("told", text)).transpose()?;
        let due_on = Some(place.date("sort_on", sort_on)?).filter(|date| *date != NO_DATE);
        let (since, done) = (place.date_if("since_on", self.since_on)?, self.done(place)?);
        Ok(ReminderState { since, due_on, done, told })
    }

    pub(in crate::storage) fn done(&self, place: RowRef) -> Stored<Option<DoneByVisit>> {
        let Some((visit, on)) = self.done_by.zip(self.done_on) else { return Ok(None) };
        Ok(Some(DoneByVisit { visit: VisitId(visit), on: place.date("done_on", on)? }))
    }
}

impl StoredTask {
    pub(in crate::storage) const fn place(&self) -> RowRef {
        RowRef { table: "tasks", id: self.id }
    }
}
