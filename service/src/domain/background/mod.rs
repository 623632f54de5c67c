//! What happens by itself: refreshing, scoring, delivering, and corrections after the clock was ahead.

pub mod corrections;
pub mod deliveries;
mod lease;
pub mod refresh;
pub mod scoring;
pub mod secrets;
