//! `eavesward subscription`: reminders and digests sent to a URL.

mod change;
mod command;
mod deliveries;
mod facts;
mod print;

pub use command::Subscription;
