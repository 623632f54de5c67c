//! Incoming rain: files are read, and readings are checked.

pub mod files;
pub mod judge;
mod lines;
