//! Watching a status, either by polling or over a connection that stays open.

mod events;
mod options;
mod polling;
mod stream;

pub use options::WatchOptions;
pub use stream::{StatusSeen, Watch};

pub(crate) use events::follow;
pub(crate) use polling::poll;
