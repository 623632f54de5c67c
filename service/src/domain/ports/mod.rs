//! Traits that other rooms implement.

pub mod senders;
pub mod store;
