//! The service.
