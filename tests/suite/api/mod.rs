//! The API as somebody without our types sees it: raw JSON over HTTP, on both databases.

mod journey;
mod scenario;
