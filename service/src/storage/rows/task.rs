use super::Place;
use crate::domain::component::Kind;
use crate::domain::duty::Duty;
use crate::domain::ids::{AccountId, ComponentId, PropertyId, SystemId, TaskId};
use crate::domain::store::Stored;
use crate::domain::task::{NO_DATE, State, Task};
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
    forecast: String,
    as_of: i64,
    refreshed_at: i64,
    property_name: String,
    system_name: String,
}

impl TaskRow {
    pub(in crate::storage) fn read(self) -> Stored<Task> {
        let place = Place { table: "tasks", id: self.id };
        Ok(Task {
            id: TaskId(self.id),
            account_id: AccountId(self.account_id),
            property_id: PropertyId(self.property_id),
            system_id: SystemId(self.system_id),
            component_id: ComponentId(self.component_id),
            kind: place.word("kind", Kind::parse(&self.kind))?,
            duty: place.word("duty", Duty::parse(&self.duty))?,
            state: place.word("state", State::parse(&self.state))?,
            due_on: Some(place.date("sort_on", self.sort_on)?).filter(|date| *date != NO_DATE),
            names: (self.property_name, self.system_name),
            forecast: place.json("forecast", &self.forecast)?,
            as_of: place.date("as_of", self.as_of)?,
            refreshed_at: place.instant("refreshed_at", self.refreshed_at)?,
        })
    }
}
