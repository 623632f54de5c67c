//! What the service knows and may do, without HTTP and without SQL.
//!
//! Folders from the ground up; each may use those above it in this table and no other:
//!
//! | folder | what is in it |
//! |---|---|
//! | `base` | words that know nothing of rainwater: ids, errors, checks, clock, pages, schedules |
//! | `model` | what is stored: types, their checks, their filters, one file a noun |
//! | `rules` | pure decisions: the same inputs give the same answer |
//! | `ports` | traits that other rooms implement: the store and the senders |
//! | `context` | store, clock, wake-up and gauge cache at hand |
//! | `use_cases` | what a caller asks, one file a noun |
//! | `background` | what happens by itself: refreshing, scoring, delivering |
//!
//! Nothing is re-exported: a path such as `domain::model::task::Task` shows the folder at every use. Types that derive
//! `Serialize` do so for the storage room alone; the wire has types of its own in the contract crate.

pub mod background;
pub mod base;
pub mod context;
pub mod model;
pub mod ports;
pub mod rules;
pub mod use_cases;
