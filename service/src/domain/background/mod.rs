//! What happens by itself: refreshing, scoring, delivering, and corrections after the clock was ahead.

pub mod audit;
pub mod corrections;
pub mod deliveries;
pub mod key_uses;
mod lease;
pub mod refresh;
pub mod scoring;
pub mod secrets;
