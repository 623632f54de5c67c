//! The storage traits over SQLite and PostgreSQL, with the same SQL text.
//!
//! `sql` builds a statement with its values; `connection` runs it on whichever database there is, and is the one place
//! that knows two of them. Most other modules implement one trait of [`crate::domain::ports::store`], or a
//! part of it. `packed`, `stale` and `removed_tasks` hold what several of them write; `errors` says what went wrong, and
//! `migrate` makes the tables. `rows` turns rows into domain types. What differs in SQL is how a transaction begins and how it locks a row, and
//! `connection` says both.
//!
//! To add a table: the same columns in a new file of both migration folders; a row struct in `rows`; the statements in
//! the module of its trait; a case in the storage suite, which runs over both databases.
//!
//! Locks are always taken in the order round, duty setting, gauge or property, then a system, then rows of refreshes by system, then those of unscored,
//! so that writers never wait for each other in a circle.

mod accounts;
mod calendars;
mod components;
mod connection;
mod deliveries;
mod duty_settings;
mod errors;
mod gauges;
mod idempotency;
mod inputs;
mod migrate;
mod packed;
mod planned_rounds;
mod properties;
mod rain;
mod refresh;
mod reminders;
mod removed_tasks;
mod rounds;
mod rows;
mod skill;
mod sql;
mod stale;
mod subscriptions;
mod systems;
mod tasks;
mod visits;

pub use connection::{ConnectOptions, Database};
