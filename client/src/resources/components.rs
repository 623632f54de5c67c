//! Single components.

use crate::{Client, Error, requests};
use eavesward_contract::{Component, ComponentRequest, ReplaceRequest, RetireRequest};
use uuid::Uuid;

/// Single components.
#[derive(Clone, Copy, Debug)]
pub struct Components<'a>(pub(super) &'a Client);

impl Components<'_> {
    /// One component, in service or not.
    pub async fn get(&self, id: Uuid) -> Result<Component, Error> {
        self.0.call(requests::component(id)).await
    }

    /// Corrects what is known of a component, if it still has this version. A new part in its place is
    /// [`Components::replace`].
    pub async fn update(
        &self,
        id: Uuid,
        version: i64,
        component: &ComponentRequest,
    ) -> Result<Component, Error> {
        self.0.call(requests::update_component(id, version, component)?).await
    }

    /// Puts a new component in the place of an old one and gives the new one. The old one's history stays.
    pub async fn replace(&self, id: Uuid, replace: &ReplaceRequest) -> Result<Component, Error> {
        self.0.call(requests::replace_component(id, replace)?).await
    }

    /// Takes a component out for good. Its history stays.
    pub async fn retire(&self, id: Uuid, retire: &RetireRequest) -> Result<Component, Error> {
        self.0.call(requests::retire_component(id, retire)?).await
    }
}
