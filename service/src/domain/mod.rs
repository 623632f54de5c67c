//! What the service knows and may do, without HTTP and without SQL.
//!
//! Folders from the ground up. Each may use those above it in this table and no others:
//!
//! | folder | what is in it |
//! |---|---|
//! | `base` | basics that know nothing of rainwater: ids, errors, checks, clock, pages, schedules |
//! | `model` | what is stored: types, their checks, their filters, one file for each noun |
//! | `rules` | pure decisions: the same inputs give the same answer |
//! | `ports` | traits that other parts of the service implement: the store and the senders |
//! | `context` | the store, clock, wake-up and gauge cache that use cases need |
//! | `use_cases` | what a caller asks for, one file for each noun |
//! | `background` | what happens by itself: refreshing, scoring, delivering |
//!
//! Nothing is re-exported, so a path such as `domain::model::task::Task` shows the folder at every use. Types that
//! derive `Serialize` do so only for the storage. The API has types of its own in the contract crate.

pub mod background;
pub mod base;
pub mod context;
pub mod model;
pub mod ports;
pub mod rules;
pub mod use_cases;
