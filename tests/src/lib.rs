//! Holds only the test binary in `suite/`.
