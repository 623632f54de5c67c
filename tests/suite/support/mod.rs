//! What the tests share.

pub mod app;
pub mod postgres;
pub mod python;
