use super::RowRef;
use crate::domain::base::error::Stored;
use crate::domain::base::ids::{ComponentId, SystemId};
use crate::domain::model::component::{Component, ComponentFacts};
use uuid::Uuid;

/// The columns of a [`ComponentRow`].
pub(in crate::storage) const COMPONENT_COLUMNS: &str = "id, system_id, name, part, installed_on, last_served_on, removed_on, replaces, version, created_at, updated_at";

#[derive(sqlx::FromRow)]
pub(in crate::storage) struct ComponentRow {
    id: Uuid,
    system_id: Uuid,
    name: String,
    part: String,
    installed_on: i64,
    last_served_on: Option<i64>,
    removed_on: Option<i64>,
    replaces: Option<Uuid>,
    version: i64,
    created_at: i64,
    updated_at: i64,
}

impl ComponentRow {
    pub(in crate::storage) fn read(self) -> Stored<Component> {
        let place = RowRef { table: "components", id: self.id };
        Ok(Component {
            id: ComponentId(self.id),
            system_id: SystemId(self.system_id),
            facts: ComponentFacts {
                name: self.name,
                part: place.json("part", &self.part)?,
                installed_on: place.date("installed_on", self.installed_on)?,
                last_served_on: place.date_if("last_served_on", self.last_served_on)?,
            },
            removed_on: place.date_if("removed_on", self.removed_on)?,
            replaces: self.replaces.map(ComponentId),
            version: self.version,
            created_at: place.instant("created_at", self.created_at)?,
            updated_at: place.instant("updated_at", self.updated_at)?,
        })
    }
}
