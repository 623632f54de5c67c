//! The routes, a file a resource.

pub mod accounts;
pub mod audit;
pub mod calendars;
pub mod components;
pub mod digest;
pub mod docs;
pub mod duties;
pub mod forecasts;
pub mod gauges;
pub mod properties;
pub mod rain;
pub mod reminders;
pub mod rounds;
pub mod service;
pub mod skill;
pub mod status;
pub mod subscriptions;
pub mod systems;
pub mod tasks;
pub mod visits;

/// Where a list goes on, and how many rows to give.
#[derive(Debug, serde::Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct Paging {
    /// `next_cursor` of the page before; from the start when absent.
    pub cursor: Option<String>,
    /// Rows of a page, 1 to 500; 100 when absent.
    pub limit: Option<u32>,
}
