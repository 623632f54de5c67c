//! The example that tests the windows against the past.
