//! Wire types.
