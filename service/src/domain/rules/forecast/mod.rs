//! Forecasts: what a system's parts have accumulated, and when each duty falls due.
//!
//! `system` forecasts every duty of the components in `history`. It uses a `system_model`, which is made from
//! `model_inputs` and a `gauge_model`.
//!
//! For each duty, `duty_rules` says what accumulates, and `learned` what visits taught about the limit. `predict`
//! says when the limit is reached, and `due_dates` adds the dates of the calendar. `answered` compares findings
//! with past forecasts.

pub mod answered;
pub mod chamber;
pub mod convert;
pub mod due_dates;
pub mod duty_rules;
pub mod gauge_model;
pub mod history;
pub mod learned;
pub mod looks;
pub mod model_inputs;
pub mod predict;
pub mod predicted;
pub mod reasons;
pub mod rule;
pub mod simulated;
pub mod system;
pub mod system_model;

/// Counts up with every change of the laws that moves dates. Rows carry the version by which they were refreshed. The
/// first start of a version with another one refreshes every system.
pub const MODEL_VERSION: i64 = 2;
