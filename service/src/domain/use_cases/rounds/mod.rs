//! Rounds: proposed, kept, reported.

pub mod keep;
pub mod propose;
