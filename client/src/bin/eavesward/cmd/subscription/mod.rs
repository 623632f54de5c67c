//! `eavesward subscription`: reminders and digests, posted to an address.

mod change;
mod command;
mod deliveries;
mod facts;
mod print;

pub use command::Subscription;
