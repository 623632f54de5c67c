//! What a caller asks for: one file for each noun, one function for each request.
//!
//! A use case checks the request and calls the store. Its errors name the field and say what to do.

pub mod accounts;
pub mod audit;
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
