//! What is stored: types, their checks and their filters, one file for each noun. No I/O.

pub mod account;
pub mod calendar;
pub mod component;
pub mod delivery;
pub mod duty;
pub mod duty_facts;
pub mod duty_settings;
pub mod forecast;
pub mod gauge;
pub mod hazard;
pub mod idempotency;
pub mod inputs;
pub mod part;
pub mod property;
pub mod rain;
pub mod reminder;
pub mod roof;
pub mod round;
pub mod signing;
pub mod skill;
pub mod status;
pub mod subscription;
pub mod system;
pub mod task;
pub mod visit;
