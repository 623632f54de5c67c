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
//! # A tour
//!
//! Lists are streams ([`Items`]) that fetch a page when the one before it is used up; `page` gives one page, for programs
//! that keep the cursor themselves.
//!
//! What people measure has a unit, and [`build`] makes requests of it:
//!
//! ```no_run
//! # async fn demo(client: &eavesward_client::Client, property: uuid::Uuid, gauge: uuid::Uuid, on: chrono::NaiveDate)
//! # -> Result<(), eavesward_client::Error> {
//! use eavesward_client::build;
//! use eavesward_client::contract::Surface;
//! use eavesward_client::units::{Area, Length, Volume};
//!
//! let roof = build::roof(Area::square_feet(1200.0), Surface::Metal);
//! let mut shed = build::system(property, gauge, "apple shed", roof, on);
//! shed = build::with_demand(shed, Volume::us_gallons(30.0));
//! let screen = build::debris_screen(Area::square_inches(60.0), Some(Length::millimetres(1.0)));
//! shed.components.push(build::component("downpipe screen", screen, on));
//! let shed = client.systems().create(&shed).await?;
//! # let _ = shed;
//! # Ok(()) }
//! ```
//!
//! The first client installs `ring` as the TLS provider of the process, unless the program has installed one before.
//! A program that wants another provider installs it first.
//!
//! A dashboard watches a status. It asks as often as the service says is worthwhile, or stays connected with
//! [`Systems::events`]; either goes on from a tag that was kept over a restart:
//!
//! ```no_run
//! # async fn demo(client: &eavesward_client::Client, system: uuid::Uuid, kept: Option<String>)
//! # -> Result<(), eavesward_client::Error> {
//! use eavesward_client::WatchOptions;
//!
//! let options = WatchOptions::builder().maybe_known(kept).build();
//! let mut watch = client.systems().watch(system, &options);
//! while let Some(seen) = watch.next().await {
//!     match seen {
//!         Ok(seen) => println!("{:?}, to be kept: {}", seen.status.state, seen.etag),
//!         Err(error) if error.is_transient() => eprintln!("no news: {error}"),
//!         Err(error) => return Err(error),
//!     }
//! }
//! # Ok(()) }
//! ```
//!
//! An app follows the reminders: an entry when a task comes near, falls due, runs late, moves or is done. [`Follow`] waits
//! for the next one; keep its cursor once an entry was dealt with, and after a restart nothing is missed. An error does
//! not end it, so that a service that is away for a while need not end the app:
//!
//! ```no_run
//! # async fn demo(client: &eavesward_client::Client, kept: Option<String>, keep: impl Fn(&str))
//! # -> Result<(), eavesward_client::Error> {
//! use eavesward_client::ReminderQuery;
//! use std::time::Duration;
//!
//! let query = ReminderQuery::builder().maybe_after(kept).build();
//! let mut entries = client.reminders().follow(&query);
//! loop {
//!     match entries.next().await {
//!         Ok(entry) => {
//!             println!("{:?}  {}: {}", entry.kind, entry.system_name, entry.title);
//!             keep(&entry.cursor);
//!         }
//!         Err(error) if error.is_transient() => {
//!             eprintln!("no news: {error}");
//!             tokio::time::sleep(error.retry_after().unwrap_or(Duration::from_secs(10))).await;
//!         }
//!         Err(error) => return Err(error),
//!     }
//! }
//! # }
//! ```
//!
//! Who would rather be called has the service send the same entries to a URL ([`Client::subscriptions`]). Each message is
//! signed: the module `webhook` checks the signature before the body is read. A message may come twice, under one id.
//!
//! An error is asked what it is, never taken apart: [`Error::is_not_found`], [`Error::is_conflict`],
//! [`Error::is_invalid`] with the fields in [`Error::problem`], [`Error::is_transient`] and so on.
//! Every call is a `tracing` span with method, route, attempts and status, and without key, query or ids
//! ([`Client::send`]).
//!
//! # Features
//!
//! | feature | what it adds |
//! |---|---|
//! | `blocking` | [`blocking`]: the same calls for programs without an async runtime |
//! | `webhook` | [`webhook`]: checking the signatures of what the service sends |
//! | `cli` | the command `eavesward`; nothing for other programs |
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

mod base_url;
#[cfg(feature = "blocking")]
pub mod blocking;
pub mod build;
mod client;
mod error;
mod follow;
mod items;
mod query;
pub mod rain_file;
mod request;
pub mod requests;
mod resources;
mod response;
pub mod retry;
mod tls;
pub mod units;
mod watch;
#[cfg(feature = "webhook")]
pub mod webhook;

pub use client::Client;
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
    Subscriptions, Systems, Tasks, Visits, property_update_from, subscription_update_from,
    system_update_from,
};
pub use response::Response;
pub use retry::RetryPolicy;
pub use watch::{StatusSeen, Watch, WatchOptions};

/// The examples in the README, held to compile.
#[cfg(doctest)]
#[doc = include_str!("../../README.md")]
struct Readme;
