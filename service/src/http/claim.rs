//! The claim on an idempotency key while its request is carried out.

/// The header with the key.
pub const IDEMPOTENCY_KEY: &str = "Idempotency-Key";
