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
//!
//! # Calendars, trips and messages
//!
//! A calendar ([`Client::calendars`]) has one event for each due date. The event lasts all day and carries reasons and
//! cautions. An alarm rings at nine in the morning, as many days ahead as the duty's lead time.
//! The address is a secret and needs no key. It is shown once, kept only as a hash, and works until it is revoked.
//! A task that is overdue stays on its date. It leaves the calendar when its component is taken out.
//!
//! A digest ([`Client::digest`]) groups what is due by property, adds up tasks and minutes, and names each caution and
//! each thing to bring once. It lists at most 2,000 tasks and says how many it leaves out.
//!
//! Rounds ([`Client::rounds`]) put tasks on common trips. The proposal has the lowest cost of trips, of days early and of
//! days late; you may set these costs, and their defaults are judgement. For a single property the plan is exact as long
//! as trips have room, or at most ten tasks depend on each other. Otherwise it is a heuristic, and `lower_bound` says
//! what no plan can cost less than.
//! Keep a proposed round, and its tasks are reserved until its day ends; a round left open then shows as overdue.
//! A round that is done logs one visit for each system, in one call. It skips what another visit did in the meantime.
//!
//! Entries of the reminders' feed are kept for 90 days. An older cursor is answered 410
//! ([`Error::is_cursor_expired`]), and the problem says how to begin again. `behind` counts the entries still to read.
//! A move is an entry with both dates and its cause, if the date moved by more days than the duty's setting allows.
//!
//! What a subscription ([`Client::subscriptions`]) posts is signed by the open Standard Webhooks scheme, so any library for
//! it can check the signature. A message comes at least once, always under the same `webhook-id`. The service tries a
//! failed delivery for two days and then parks it. It follows no redirect. It posts to addresses inside a network only if
//! the operator sets `local_webhooks`.
//!
//! # What makes dates better
//!
//! - Log every visit, also one that found nothing. A visit that was logged wrongly can be corrected or withdrawn; the dates
//!   become what they would have been without the error.
//! - Give the property's monthly temperatures. Then heat ages rubber beside light, frost has its dates, and cautions warn of
//!   mosquitoes.
//! - Give monthly evaporation. Then the water seal of an overflow trap has a date.
//! - Register the tank. Then the service finds the best day to remove its sediment.
//!
//! [`Client::skill`] compares each finding with the forecast of the visit before it. The service keeps that forecast as it
//! was, whatever rain and findings follow. If the forecasts are right, 8 findings in 10 lie in the predicted range.
//!
//! # The command `eavesward`
//!
//! The feature `cli` builds it: `cargo build --release -p eavesward-client --features cli`.
//! `--help` works on each step. Figures may have their unit, such as `"1200 gal"` or `"0.5 in"`.
//!
//! ```sh
//! # A component by flags instead of a file, one reading by hand, an account's own longest interval and lead time.
//! eavesward component add "orchard shed" --kind tank --name butt --installed 2026-01-10 \
//!   --capacity "1200 gal" --floor-area "40 sqft" --outlet-height "4 in"
//! eavesward rain import "orchard gauge" days.dly --layout ghcn-daily
//! eavesward rain add "orchard gauge" 2026-03-01 "0.4 in"
//! eavesward duty list
//! eavesward duty set clean-screen --ceiling-months 2 --lead-days 14
//! # The status of a system and then its changes; how well forecasts met findings, and each one beside its finding.
//! eavesward watch "orchard shed"
//! eavesward skill
//! eavesward skill --answers
//! # A proposal of which rounds 1 and 2 are kept. Keep several in one call: later proposals have other numbers.
//! eavesward rounds propose --off sat,sun --keep 1,2
//! eavesward rounds done ROUND --found "north screen:clean_screen=half" --skip "vent:check_mesh"
//! # The feed. After a cursor has expired, run it once with `--after now`: this puts a new cursor into the file.
//! eavesward reminders --follow --cursor-file upkeep.cursor
//! # Entries as they come, or a digest at set times. `test` sends a message; `deliveries` says whether it arrived.
//! eavesward subscription add --name "upkeep rota" --to https://hooks.example/eaves --kind due,late
//! eavesward subscription add --name "Monday list" --to https://hooks.example/list --digest "0 7 * * 1" \
//!   --time-zone Europe/London --form markdown
//! eavesward subscription change ID --to https://hooks.example/new
//! eavesward subscription test ID
//! # Several services by name. The file of profiles is readable by you alone, and so must be a file with a key.
//! eavesward profile add school --url https://eaves.example --key-file FILE
//! eavesward profile use school
//! eavesward due --profile home
//! # Completions for a shell (bash, zsh or fish), and the manual page.
//! eavesward completions bash
//! eavesward man
//! ```
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
