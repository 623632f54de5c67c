//! The digest: what falls due in a stretch of days, by property, as data and as text.

pub mod make;
pub mod markdown;
pub mod plain;
pub mod render;
pub mod sheet;
pub mod words;
