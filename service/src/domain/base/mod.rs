//! Basics that know nothing of rainwater.

pub mod addresses;
pub mod blocking;
pub mod bounds;
pub mod check;
pub mod clock;
pub mod error;
pub mod ids;
pub mod paging;
pub mod plural;
pub mod rounding;
pub mod schedule;
pub mod secret;
pub mod trace_context;
pub mod words;
