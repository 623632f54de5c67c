//! The digest: tasks that fall due in a range of days, by property, as data and as text.

pub mod make;
pub mod markdown;
pub mod plain;
pub mod render;
pub mod sheet;
pub mod words;
