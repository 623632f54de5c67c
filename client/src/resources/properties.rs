//! Properties: the places where systems are.

use super::lists::list_methods;
use crate::{Client, Error, ListQuery, requests};
use eavesward_contract::{Property, PropertyRequest};
use uuid::Uuid;

/// The places where systems are.
#[derive(Clone, Copy, Debug)]
pub struct Properties<'a>(pub(super) &'a Client);

impl Properties<'_> {
    list_methods!(Property, ListQuery, requests::list_properties);

    /// Registers a property.
    pub async fn create(&self, property: &PropertyRequest) -> Result<Property, Error> {
        self.0.call(requests::create_property(property)?).await
    }

    /// One property.
    pub async fn get(&self, id: Uuid) -> Result<Property, Error> {
        self.0.call(requests::property(id)).await
    }

    /// Replaces the data of a property, if it still has this version. Start from [`property_update_from`].
    pub async fn update(
        &self,
        id: Uuid,
        version: i64,
        property: &PropertyRequest,
    ) -> Result<Property, Error> {
        self.0.call(requests::update_property(id, version, property)?).await
    }

    /// Removes a property, if it still has this version and no system is there.
    pub async fn delete(&self, id: Uuid, version: i64) -> Result<(), Error> {
        self.0.send(requests::delete_property(id, version)).await.map(drop)
    }
}

/// An update that changes nothing yet. Change its fields, then send it with [`Properties::update`].
pub fn property_update_from(property: &Property) -> PropertyRequest {
    let (latitude_deg, longitude_deg) = (property.latitude_deg, property.longitude_deg);
    let mut update = PropertyRequest::new(&property.name, latitude_deg, longitude_deg, &property.time_zone);
    update.elevation_m = property.elevation_m;
    update.temperatures.clone_from(&property.temperatures);
    update.evaporation_mm_per_day.clone_from(&property.evaporation_mm_per_day);
    update.notes.clone_from(&property.notes);
    update
}
