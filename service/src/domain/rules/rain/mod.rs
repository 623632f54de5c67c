//! Rain as it comes in: files are read, readings are judged.

pub mod files;
pub mod judge;
