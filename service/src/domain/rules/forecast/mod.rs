//! Forecasts: what a system's parts have taken, and when each duty falls due.
//!
//! `system` forecasts every duty of the components in `history`, over a `system_model` made of `model_inputs` and a
//! `gauge_model`. `duty_rules` says what each duty counts, `learned` what visits taught, `predict` when the limit is reached,
//! `due_dates` what the calendar adds. `answered` holds findings against past forecasts.

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
