//! Systems and components in the store.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, ComponentId, SystemId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::component::{Component, ComponentFacts};
use crate::domain::model::inputs::Inputs;
use crate::domain::model::system::{System, SystemFacts, SystemFilter};
use crate::domain::ports::store::outcomes::Updated;
use async_trait::async_trait;
use chrono::{DateTime, NaiveDate, Utc};

/// Systems and components.
#[async_trait]
pub trait SystemStore: Send + Sync {
    /// Adds a system with its components, stale from the start; does nothing if the system's id exists already.
    async fn insert_system(&self, system: &System, components: &[Component]) -> Stored<()>;
    /// One system.
    async fn system(&self, account: AccountId, id: SystemId) -> Stored<Option<System>>;
    /// The account's systems by `(name, id)`.
    async fn systems(
        &self,
        account: AccountId,
        filter: &SystemFilter,
        page: &PageRequest<String>,
    ) -> Stored<Vec<System>>;
    /// Replaces the facts if the version is current. The system becomes stale.
    async fn update_system(
        &self,
        account: AccountId,
        id: SystemId,
        version: i64,
        facts: &SystemFacts,
        now: DateTime<Utc>,
    ) -> Stored<Updated>;
    /// A system's components, removed ones included, oldest first (`created_at`, `id`).
    async fn components(&self, account: AccountId, system: SystemId) -> Stored<Vec<Component>>;
    /// The components of several systems, in the same order within each.
    async fn components_of(&self, account: AccountId, systems: &[SystemId]) -> Stored<Vec<Component>>;
    /// One component.
    async fn component(&self, account: AccountId, id: ComponentId) -> Stored<Option<Component>>;
    /// Adds a component; does nothing if the id exists already. Its system becomes stale.
    async fn insert_component(&self, account: AccountId, component: &Component) -> Stored<()>;
    /// Replaces the facts if the version is current. Its system becomes stale.
    async fn update_component(
        &self,
        account: AccountId,
        id: ComponentId,
        version: i64,
        facts: &ComponentFacts,
        now: DateTime<Utc>,
    ) -> Stored<Updated>;
    /// Removes `old` on a day and adds `new`. `false`, with nothing changed, if `old` is no longer at its version.
    async fn replace_component(
        &self,
        account: AccountId,
        old: &Component,
        new: &Component,
        on: NaiveDate,
    ) -> Stored<bool>;
    /// Removes a component on a day. `false`, with nothing changed, if it is no longer at its version.
    async fn retire_component(
        &self,
        account: AccountId,
        old: &Component,
        on: NaiveDate,
        now: DateTime<Utc>,
    ) -> Stored<bool>;
    /// Everything that these systems' forecasts are made from, apart from the rain. Systems that do not exist are
    /// left out. The number of queries does not depend on the number of systems.
    async fn inputs(&self, systems: &[(AccountId, SystemId)]) -> Stored<Vec<Inputs>>;
}
