//! The Eavesward service: a REST/JSON API over the forecasting engine.
//!
//! DEVELOPERS.md lists the modules and which of them may use which. A test checks these rules.

pub mod config;
pub mod domain;
pub mod gate;
pub mod http;
pub mod jobs;
pub mod outbound;
pub mod server;
pub mod storage;
pub mod telemetry;
