//! What the benchmark measures and what it is measured against.

pub mod peer;
pub mod scenario;
