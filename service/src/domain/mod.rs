//! What the words mean and what may happen: types, use cases, storage traits, clock, errors without status codes.
//!
//! Nothing here knows HTTP or SQL. Types that derive `Serialize` do so for the storage layer alone, which keeps some of
//! them as JSON text; the wire has types of its own in the contract crate.
//!
//! To add a use case: a type for what goes in, a function that checks it and calls the [`store`] traits, an error that
//! names the field and the way out.

pub mod account;
pub mod calendar;
pub mod cautions;
pub mod check;
pub mod clock;
pub mod component;
pub mod context;
pub mod defaults;
pub mod digest;
pub mod duty;
pub mod duty_settings;
pub mod error;
pub mod forecast;
pub mod gauge;
pub mod ground_cache;
pub mod idempotency;
pub mod ids;
pub mod paging;
pub mod property;
pub mod rain;
pub mod rain_files;
pub mod refresh;
pub mod reminder;
pub mod rounding;
pub mod rounds;
pub mod schedule;
pub mod skill;
pub mod status;
pub mod store;
pub mod subscription;
pub mod system;
pub mod task;
pub mod visit;

pub use context::{Context, Kept};
pub use error::{Error, FieldError, Result};
