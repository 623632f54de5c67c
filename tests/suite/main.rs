//! Every integration test in one binary: it links the service once, and shares one PostgreSQL cluster.
//!
//! `api` speaks raw JSON, so that a renamed field is seen; `sdk` goes through the client; both run over both databases.
//! `storage` holds the storage traits to their word, `outside` the engine to published figures, `doors` the sources to
//! the map, `faults` takes disk and database away, `operator` makes keys and kills the service, `settings` reads them from everywhere, `rounds` the plans of trips to every way there is to make them.

mod api;
mod contract;

mod doors;
mod faults;
mod laws;
mod operator;
mod outside;
mod process;
mod rounds;
mod sdk_live;
mod sdk_offline;
mod settings;
mod storage;
mod support;
