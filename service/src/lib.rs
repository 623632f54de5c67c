//! The Eavesward service: REST/JSON over the forecasting engine.
//!
//! The rooms and the doors between them are drawn in DEVELOPERS.md and held by a test.

pub mod config;
pub mod domain;
pub mod http;
pub mod jobs;
pub mod outbound;
pub mod server;
pub mod storage;
pub mod telemetry;
