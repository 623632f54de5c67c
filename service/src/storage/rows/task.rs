use super::RowRef;
use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, ComponentId, PropertyId, SystemId, TaskId};
use crate::domain::model::duty::Duty;
use crate::domain::model::part::Kind;
use crate::domain::model::task::{Moves, NO_DATE, State, Task};
use crate::storage::packed::Unpacked;
use uuid::Uuid;

#[derive(sqlx::FromRow)]
pub(in crate::storage) struct TaskRow {
    id: Uuid,
    account_id: Uuid,
    property_id: Uuid,
    system_id: Uuid,
    component_id: Uuid,
    kind: String,
    duty: String,
    state: String,
    sort_on: i64,
    line: i64,
    sequence: i64,
    date_changed_at: i64,
    as_of: i64,
    refreshed_at: i64,
    packed: Vec<u8>,
    property_name: String,
    system_name: String,
}

impl TaskRow {
    /// How often its due date moved, and when it last did.
    pub(in crate::storage) fn moves(&self) -> Stored<Moves> {
        let place = RowRef { table: "tasks", id: self.id };
        Ok(Moves {
            sequence: self.sequence,
            changed_at: place.instant("date_changed_at", self.date_changed_at)?,
        })
    }

    pub(in crate::storage) fn read(self) -> Stored<Task> {
        let place = RowRef { table: "tasks", id: self.id };
        let found = RowRef { table: "forecasts", id: self.system_id };
        let component_id = ComponentId(self.component_id);
        let kind = place.word("kind", Kind::parse(&self.kind))?;
        let duty = place.word("duty", Duty::parse(&self.duty))?;
        let due_on = Some(place.date("sort_on", self.sort_on)?).filter(|date| *date != NO_DATE);
        let line = place.word("line", usize::try_from(self.line).ok())?;
        let opened = Unpacked::of(&self.packed, self.system_id)?;
        Ok(Task {
            id: TaskId(self.id),
            account_id: AccountId(self.account_id),
            property_id: PropertyId(self.property_id),
            system_id: SystemId(self.system_id),
            component_id,
            kind,
            duty,
            state: place.word("state", State::parse(&self.state))?,
            due_on,
            property_name: self.property_name,
            system_name: self.system_name,
            forecast: opened.forecast(line, component_id, kind, duty, due_on)?,
            as_of: found.date("as_of", self.as_of)?,
            refreshed_at: found.instant("refreshed_at", self.refreshed_at)?,
        })
    }
}
