//! Holds only the test binary in `suite/`, and the examples of the README beside the workspace.

/// The examples in the README, held to compile.
#[cfg(doctest)]
#[doc = include_str!("../../README.md")]
struct Readme;
