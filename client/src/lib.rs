//! The client SDK.
