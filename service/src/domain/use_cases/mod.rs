//! What a caller asks: one file a noun, one function a request.
//!
//! A use case checks what comes in, calls the store, and returns an error that names the field and the way out.

pub mod accounts;
pub mod calendars;
pub mod components;
pub mod deliveries;
pub mod digest;
pub mod duty_settings;
pub mod forecasts;
pub mod gauges;
pub mod properties;
pub mod rain;
pub mod reminders;
pub mod rounds;
pub mod sketch;
pub mod skill;
pub mod status;
pub mod subscriptions;
pub mod systems;
pub mod tasks;
pub mod visits;
