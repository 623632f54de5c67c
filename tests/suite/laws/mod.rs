//! Laws of the domain's pure functions, tried on random histories.

mod calendars;
mod digest;
mod outlet;
mod problems;
mod reason_codes;
mod reasons;
mod reminders;
mod schedule;
mod weep_hole;
