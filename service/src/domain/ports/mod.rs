//! Traits that other parts of the service implement.

pub mod senders;
pub mod store;
