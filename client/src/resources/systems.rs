//! Systems with their forecast, status and components.

use super::lists::list_methods;
use crate::{
    Client, ComponentQuery, Error, ForecastQuery, Items, SystemQuery, Watch, WatchOptions, requests, watch,
};
use eavesward_contract::{
    Component, ComponentRequest, Page, RoofRequest, System, SystemCreateRequest, SystemForecast,
    SystemStatus, SystemUpdateRequest,
};
use uuid::Uuid;

/// Systems with their forecast, status and components.
#[derive(Clone, Copy, Debug)]
pub struct Systems<'a>(pub(super) &'a Client);

/// A status, or the information that it has not changed.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum StatusChange {
    /// The status has changed, or none was known.
    #[non_exhaustive]
    Fresh {
        /// The status.
        status: Box<SystemStatus>,
        /// Pass it to the next [`Systems::status_if_changed`].
        etag: String,
    },
    /// The status is still the one of the entity tag.
    Unchanged,
}

impl Systems<'_> {
    list_methods!(System, SystemQuery, requests::list_systems);

    /// Registers a system, with the components that the request lists.
    pub async fn create(&self, system: &SystemCreateRequest) -> Result<System, Error> {
        self.0.call(requests::create_system(system)?).await
    }

    /// One system with the components that are in service.
    pub async fn get(&self, id: Uuid) -> Result<System, Error> {
        self.0.call(requests::system(id)).await
    }

    /// Replaces the data of a system, if it still has this version. Start from [`system_update_from`].
    pub async fn update(
        &self,
        id: Uuid,
        version: i64,
        system: &SystemUpdateRequest,
    ) -> Result<System, Error> {
        self.0.call(requests::update_system(id, version, system)?).await
    }

    /// The full forecast of a system, as of a day or of the property's today. It uses nothing later than that day.
    pub async fn forecast(&self, id: Uuid, query: &ForecastQuery) -> Result<SystemForecast, Error> {
        self.0.call(requests::system_forecast(id, query)).await
    }

    /// A short status of a system.
    pub async fn status(&self, id: Uuid) -> Result<SystemStatus, Error> {
        self.0.call(requests::system_status(id)).await
    }

    /// The short status, unless it is still the one of the entity tag. Use it for polling.
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

    /// A system's status as a stream. It gives the current status at once, unless you know it already, and then
    /// every change.
    ///
    /// The client asks as often as the service recommends. While nothing changes, the answer has a few bytes. If a
    /// minute is too long to wait, use [`Systems::events`].
    pub fn watch(&self, id: Uuid, options: &WatchOptions) -> Watch {
        watch::poll(self.0.clone(), id, options.clone())
    }

    /// The same as [`Systems::watch`] over one connection that stays open (server-sent events). It gives a change
    /// within seconds.
    ///
    /// If the connection ends, the client connects again and continues from the last status. The service limits the
    /// number of connections. Beyond it the error is [`Error::is_unavailable`]; [`Systems::watch`] has no such
    /// limit.
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

/// An update that changes nothing yet. Change its fields, then send it with [`Systems::update`].
///
/// Roof values that are the surface's defaults stay absent, so that they keep following the defaults. An update
/// holds one roof. A system with several roofs gives `None`, so that no roof is lost.
pub fn system_update_from(system: &System) -> Option<SystemUpdateRequest> {
    let [roof] = system.roofs.as_slice() else { return None };
    let given = |given: bool, value: f64| given.then_some(value);
    let request = RoofRequest::new(roof.plan_area_m2, roof.surface)
        .runoff_coefficient(given(roof.runoff_coefficient_source.given, roof.runoff_coefficient))
        .wetting_loss_mm(given(roof.wetting_loss_source.given, roof.wetting_loss_mm))
        .canopy(roof.canopy)
        .canopy_share(roof.canopy_share);
    let (property_id, gauge_id) = (system.property_id, system.gauge_id);
    let update =
        SystemUpdateRequest::new(property_id, gauge_id, &system.name, request, system.commissioned_on);
    Some(update.demand_l_per_day(system.demand_l_per_day).retired_on(system.retired_on))
}
