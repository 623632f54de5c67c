//! Which reminders of a task are raised.

pub mod decide;
pub mod entries;
pub mod inputs;
