//! Properties in the store.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, PropertyId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::property::{Property, PropertyFacts};
use crate::domain::ports::store::outcomes::{Deleted, Updated};
use async_trait::async_trait;
use chrono::{DateTime, Utc};

/// Properties.
#[async_trait]
pub trait PropertyStore: Send + Sync {
    /// Adds a property; does nothing if the id exists already (a repeated request).
    async fn insert_property(&self, property: &Property) -> Stored<()>;
    /// One property.
    async fn property(&self, account: AccountId, id: PropertyId) -> Stored<Option<Property>>;
    /// The account's properties by `(name, id)`. Every database compares names byte by byte.
    async fn properties(&self, account: AccountId, page: &PageRequest<String>) -> Stored<Vec<Property>>;
    /// The properties of this list that the account has, in no order.
    async fn properties_of(&self, account: AccountId, ids: &[PropertyId]) -> Stored<Vec<Property>>;
    /// Replaces the facts if the version is current; its systems become stale.
    async fn update_property(
        &self,
        account: AccountId,
        id: PropertyId,
        version: i64,
        facts: &PropertyFacts,
        now: DateTime<Utc>,
    ) -> Stored<Updated>;
    /// Removes it if the version is current and it has no system.
    async fn delete_property(&self, account: AccountId, id: PropertyId, version: i64) -> Stored<Deleted>;
}
