//! Laws of the domain's pure functions, tried on random histories.

mod reminders;
mod schedule;
