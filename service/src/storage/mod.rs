//! The storage traits over SQLite and PostgreSQL, with the same SQL text.
//!
//! `sql` builds a statement with its values. `connection` runs it and is the only module that knows both
//! databases. Their SQL differs in two points: how a transaction begins and how it locks a row. `connection`
//! handles both. `rows` turns rows into domain types, `errors` sorts failures and `migrate` makes the tables.
//! `health` knows whether writes work.
//! `recorder` adds an entry of the audit to the transaction of a change.
//! `packed`, `stale` and `removed_tasks` are shared by several modules. Most other modules implement a trait
//! of [`crate::domain::ports::store`] or a part of one.
//!
//! To add a table, write the same columns into a new file in both migration folders. Then add a row struct in
//! `rows` and the statements in the module of its trait. Add a case to the storage suite, which runs on both
//! databases.
//!
//! Every writer takes locks in one order, so that writers never wait for each other in a circle: round, duty
//! setting, gauge or property, system, the counts of quotas, then rows of `refreshes` by system, then rows of `unscored`.

mod accounts;
mod audit;
mod calendars;
mod components;
mod connection;
mod corrections;
mod deliveries;
mod duty_settings;
mod errors;
mod figures;
mod file;
mod gauges;
mod health;
mod idempotency;
mod incarnation;
mod inputs;
mod leases;
mod migrate;
mod packed;
mod planned_rounds;
mod properties;
mod rain;
mod recorder;
mod refresh;
mod reminders;
mod removed_tasks;
mod rounds;
mod rows;
mod secret_keys;
mod skill;
mod sql;
mod sqlite_file;
mod stale;
mod subscriptions;
mod systems;
mod tasks;
mod usage;
mod visits;

pub use connection::{ConnectOptions, Database};
pub use secret_keys::{SecretKeys, add_key, make_key_file};
pub use sqlite_file::missing_file;
