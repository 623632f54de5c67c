//! The seal of a trap.
