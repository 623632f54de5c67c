//! The API as somebody without our types sees it: raw JSON over HTTP, on both databases.
//!
//! `document` reads the operations off the committed OpenAPI document, so that a new route is covered by `isolation`,
//! `keys` and `coverage` as soon as it is documented, and `bounded_fields` the bounds of their fields for `bounds`.

mod audit;
mod bodies;
mod bounded_fields;
mod bounds;
mod calendars;
mod climate;
mod components;
mod coverage;
mod crud;
mod digest;
mod document;
mod duties;
mod example_types;
mod examples;
mod forecast;
mod forecast_chambers;
mod forecast_dates;
mod forecast_extremes;
mod forecast_learning;
mod forecast_lessons;
mod forecast_models;
mod forecast_seasons;
mod forecast_shape;
mod headers;
mod idempotency;
mod isolation;
mod journey;
mod keys;
mod keys_of_one_system;
mod languages;
mod limits;
mod metrics;
mod normal;
mod quotas;
mod rain;
mod rain_files;
mod receiver;
mod refresh;
mod refusals;
mod reminders;
mod rounds;
mod rounds_kept;
mod scenario;
mod served;
mod service;
mod skill;
mod status;
mod status_events;
mod subscriptions;
mod tasks;
mod visits;
mod visits_corrected;
mod webhook_secrets;
