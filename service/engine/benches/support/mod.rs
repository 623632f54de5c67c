//! What the benchmark measures, and the peer that it is compared with.

pub mod peer;
pub mod scenario;
