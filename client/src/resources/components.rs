//! Single components.

use crate::{Client, Error, requests};
use eavesward_contract::{Component, ComponentRequest, ReplaceRequest, RetireRequest};
use uuid::Uuid;

/// Single components.
#[derive(Clone, Copy, Debug)]
pub struct Components<'a>(pub(super) &'a Client);

impl Components<'_> {
    /// One component, also a removed one.
    pub async fn get(&self, id: Uuid) -> Result<Component, Error> {
        self.0.call(requests::component(id)).await
    }

    /// Corrects the data of a component, if it still has this version. For a new part in its place, use
    /// [`Components::replace`].
    pub async fn update(
        &self,
        id: Uuid,
        version: i64,
        component: &ComponentRequest,
    ) -> Result<Component, Error> {
        self.0.call(requests::update_component(id, version, component)?).await
    }

    /// Replaces an old component and gives the new one. The old one's history stays.
    pub async fn replace(&self, id: Uuid, replace: &ReplaceRequest) -> Result<Component, Error> {
        self.0.call(requests::replace_component(id, replace)?).await
    }

    /// Removes a component from the system for good. Its history stays.
    pub async fn retire(&self, id: Uuid, retire: &RetireRequest) -> Result<Component, Error> {
        self.0.call(requests::retire_component(id, retire)?).await
    }
}
