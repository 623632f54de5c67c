//! What readers are told of their tasks.

pub mod decide;
pub mod entries;
pub mod inputs;
