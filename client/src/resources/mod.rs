//! Handles, one file per resource. Each builds a request with [`crate::requests`] and sends it.
//!
//! To add a call, add its request to `requests`, then a method here that sends it.

mod audit;
mod calendars;
mod components;
mod duties;
mod gauges;
mod handles;
mod keys;
mod lists;
mod properties;
mod reminders;
mod rounds;
mod skill;
mod subscriptions;
mod systems;
mod tasks;
mod visits;

pub use audit::Audit;
pub use calendars::Calendars;
pub use components::Components;
pub use duties::Duties;
pub use gauges::Gauges;
pub use keys::Keys;
pub use properties::{Properties, property_update_from};
pub use reminders::Reminders;
pub use rounds::Rounds;
pub use skill::Skill;
pub use subscriptions::{Subscriptions, subscription_update_from};
pub use systems::{StatusChange, Systems, system_update_from};
pub use tasks::Tasks;
pub use visits::Visits;
