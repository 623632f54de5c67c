//! What happens by itself: refreshing, scoring, delivering.

pub mod deliveries;
pub mod refresh;
pub mod scoring;
