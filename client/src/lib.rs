//! Client SDK of the Eavesward service: when the parts of a rainwater system want care, and why.
//!
//! ```no_run
//! # async fn demo() -> Result<(), eavesward_client::Error> {
//! use eavesward_client::{Client, TaskQuery};
//!
//! let client = Client::builder().base_url("https://eaves.example").key("the bearer key").build()?;
//! let mut tasks = client.tasks().list(&TaskQuery::builder().within_days(7).build());
//! while let Some(task) = tasks.next().await {
//!     let task = task?;
//!     println!("{}: {}", task.component_name, task.title);
//! }
//! # Ok(()) }
//! ```
//!
//! # Layers
//!
//! A [`Request`] is a plain value; [`requests`] builds one for every call of the API, without any I/O.
//! [`Client::send`] sends a request, repeats it where [`retry`] says so, and gives the [`Response`] or an [`Error`].
//! [`Client::call`] also decodes the body.
//! The handles ([`Client::tasks`], [`Client::visits`] and so on) put the two together.
//! For a call that has no method yet, make the [`Request`] by hand.
//!
//! # Repeating
//!
//! GET, PUT and DELETE are repeated after a lost connection, a time-out and the statuses 429, 502, 503 and 504.
//! So is every POST, because the client gives each one an idempotency key of its own that stays the same over the
//! attempts; the service then does the work once.
//! To keep a key over a crash of your own program, build the request and name the key:
//!
//! ```no_run
//! # async fn demo(client: &eavesward_client::Client, visit: &eavesward_client::contract::VisitRequest)
//! # -> Result<(), eavesward_client::Error> {
//! use eavesward_client::{contract::Visit, requests};
//!
//! let logged: Visit = client.call(requests::log_visit(visit)?.idempotency_key("job-4711-visit")?).await?;
//! # Ok(()) }
//! ```
//!
//! # Updates
//!
//! Everything that can be changed carries a `version`, and an update names the version it was made from.
//! If somebody else was faster the answer is 412 ([`Error::is_version_mismatch`]) and nothing was changed.
//! One case needs thought: the reply to a PUT or DELETE is lost, the client repeats it, and the service, which had
//! already done it, answers 412 (or 404 to a DELETE).
//! The client cannot tell this from a rival's change, so it reports the error and [`Error::may_have_been_applied`]
//! is true: read the thing again and compare before giving up.
#![deny(missing_docs)]

mod client;
mod error;
mod follow;
mod items;
mod query;
pub mod rain_file;
mod request;
pub mod requests;
mod resources;
pub mod retry;
pub mod units;

pub use client::{Client, Response};
pub use eavesward_contract as contract;
pub use error::Error;
pub use follow::Follow;
pub use items::Items;
pub use query::{
    Accumulated, AnswerQuery, ComponentQuery, DeliveryQuery, DigestFormat, DigestQuery, KeptRoundQuery,
    ListQuery, RainFileOptions, RainQuery, ReminderQuery, RoundQuery, SkillQuery, SystemQuery, TaskQuery,
    VisitQuery,
};
pub use request::{Body, Request};
pub use resources::{
    Calendars, Components, Duties, Gauges, Keys, Properties, Reminders, Rounds, Skill, StatusChange,
    Subscriptions, Systems, Tasks, Visits, property_update_from, system_update_from,
};
pub use retry::RetryPolicy;

/// The examples in the README, held to compile.
#[cfg(doctest)]
#[doc = include_str!("../../README.md")]
struct Readme;
