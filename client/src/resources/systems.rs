//! Systems with their forecast, status and components.

use super::lists::list_methods;
use crate::{Client, ComponentQuery, Error, Items, SystemQuery, Watch, WatchOptions, requests, watch};
use chrono::NaiveDate;
use eavesward_contract::{
    Component, ComponentRequest, Page, RoofRequest, System, SystemCreateRequest, SystemForecast,
    SystemStatus, SystemUpdateRequest,
};
use uuid::Uuid;

/// Systems with their forecast, status and components.
#[derive(Clone, Copy, Debug)]
pub struct Systems<'a>(pub(super) &'a Client);

/// A status, or word that it is still the one already known.
#[derive(Clone, Debug, PartialEq)]
pub enum StatusChange {
    /// The status has changed, or none was known.
    Fresh {
        /// The status.
        status: Box<SystemStatus>,
        /// Pass it to the next [`Systems::status_if_changed`].
        etag: String,
    },
    /// Nothing has changed since the answer that the entity tag came with.
    Unchanged,
}

impl Systems<'_> {
    list_methods!(System, SystemQuery, requests::list_systems);

    /// Registers a system, with its components if they are known.
    pub async fn create(&self, system: &SystemCreateRequest) -> Result<System, Error> {
        self.0.call(requests::create_system(system)?).await
    }

    /// One system with its components in service.
    pub async fn get(&self, id: Uuid) -> Result<System, Error> {
        self.0.call(requests::system(id)).await
    }

    /// Replaces what is known of a system, if it still has this version. [`system_update_from`] is a start.
    pub async fn update(
        &self,
        id: Uuid,
        version: i64,
        system: &SystemUpdateRequest,
    ) -> Result<System, Error> {
        self.0.call(requests::update_system(id, version, system)?).await
    }

    /// A system explained in full, on a day or on the property's today. Nothing later than that day is used.
    pub async fn forecast(&self, id: Uuid, as_of: Option<NaiveDate>) -> Result<SystemForecast, Error> {
        self.0.call(requests::system_forecast(id, as_of)).await
    }

    /// A system in a few lines.
    pub async fn status(&self, id: Uuid) -> Result<SystemStatus, Error> {
        self.0.call(requests::system_status(id)).await
    }

    /// A system in a few lines, unless it is still as it was when the entity tag came: made for polling.
    pub async fn status_if_changed(&self, id: Uuid, etag: Option<&str>) -> Result<StatusChange, Error> {
        let mut request = requests::system_status(id);
        if let Some(etag) = etag {
            request = request.if_none_match(etag)?;
        }
        let response = self.0.send(request).await?;
        if response.status() == 304 {
            return Ok(StatusChange::Unchanged);
        }
        let missing = || Error::contract("a status came without an entity tag");
        let etag = response.etag().ok_or_else(missing)?.to_owned();
        Ok(StatusChange::Fresh { status: Box::new(response.json()?), etag })
    }

    /// A system's status as a stream: at once, unless it is known already, and whenever it changes, for ever.
    ///
    /// The service is asked as often as it says is worthwhile and answers in a few bytes while nothing changed. Where a
    /// minute is too long to wait, [`Systems::events`] is told at once.
    pub fn watch(&self, id: Uuid, options: &WatchOptions) -> Watch {
        watch::poll(self.0.clone(), id, options.clone())
    }

    /// The same over one connection that stays open (server-sent events), so that a change is known within seconds.
    ///
    /// A connection that ends is taken up again from the last status. The service has room for so many; who finds none is
    /// told by an error with [`Error::is_unavailable`], and [`Systems::watch`] always works.
    pub fn events(&self, id: Uuid, options: &WatchOptions) -> Watch {
        watch::follow(self.0.clone(), id, options.clone())
    }

    /// The components of a system as a stream.
    pub fn components(&self, id: Uuid, query: &ComponentQuery) -> Items<Component> {
        let query = query.clone();
        self.0.follow(query.cursor.clone(), move |cursor| {
            requests::list_components(id, &ComponentQuery { cursor, ..query.clone() })
        })
    }

    /// One page of [`Systems::components`].
    pub async fn components_page(&self, id: Uuid, query: &ComponentQuery) -> Result<Page<Component>, Error> {
        self.0.call(requests::list_components(id, query)).await
    }

    /// Adds a component to a system.
    pub async fn add_component(&self, id: Uuid, component: &ComponentRequest) -> Result<Component, Error> {
        self.0.call(requests::add_component(id, component)?).await
    }
}

/// The update that would leave a system as it is: change a field of it, then send it.
///
/// Roof values that are the surface's defaults stay absent, so that they go on following the defaults. An update has room
/// for one roof: for a system of several there is none, so that no roof is lost.
pub fn system_update_from(system: &System) -> Option<SystemUpdateRequest> {
    let [roof] = system.roofs.as_slice() else { return None };
    Some(SystemUpdateRequest {
        property_id: system.property_id,
        gauge_id: system.gauge_id,
        name: system.name.clone(),
        roof: RoofRequest {
            plan_area_m2: roof.plan_area_m2,
            surface: roof.surface,
            runoff_coefficient: roof.runoff_coefficient_source.given.then_some(roof.runoff_coefficient),
            wetting_loss_mm: roof.wetting_loss_source.given.then_some(roof.wetting_loss_mm),
            canopy: roof.canopy,
            canopy_share: roof.canopy_share,
        },
        commissioned_on: system.commissioned_on,
        demand_l_per_day: system.demand_l_per_day,
        retired_on: system.retired_on,
    })
}
