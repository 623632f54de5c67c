//! Client SDK of the Eavesward service, which says when the parts of a rainwater system need care, and why.
//!
//! ```no_run
//! # async fn demo() -> Result<(), eavesward_client::Error> {
//! use eavesward_client::{Client, TaskQuery};
//!
//! let client = Client::builder().base_url("https://eaves.example").key("ew_example").build()?;
//! let mut tasks = client.tasks().list(&TaskQuery::builder().within_days(7).build());
//! while let Some(task) = tasks.next().await {
//!     let task = task?;
//!     println!("{}: {}", task.component_name.as_deref().unwrap_or("-"), task.title);
//! }
//! # Ok(()) }
//! ```
//!
//! # A tour
//!
//! Lists are streams ([`Items`]). They fetch the next page when you have read the one before. `page` gives a single
//! page, for programs that store the cursor themselves.
//!
//! [`build`] makes requests from measured quantities with their units:
//!
//! ```no_run
//! # use eavesward_client::{chrono, uuid};
//! # async fn demo(client: &eavesward_client::Client, property: uuid::Uuid, gauge: uuid::Uuid, on: chrono::NaiveDate)
//! # -> Result<(), eavesward_client::Error> {
//! use eavesward_client::build;
//! use eavesward_client::contract::{Part, Surface};
//! use eavesward_client::units::{Area, Length, Volume};
//!
//! let roof = build::roof(Area::square_feet(1200.0), Surface::Metal);
//! let mut shed = build::system(property, gauge, "apple shed", roof, on);
//! shed = build::with_demand(shed, Volume::us_gallons(30.0));
//! let screen = build::debris_screen(Area::square_inches(60.0), Some(Length::millimetres(1.0)));
//! shed.components.push(build::component("downpipe screen", screen, on));
//! shed.components.push(build::component("pump", Part::pump().mains_powered(false), on));
//! let shed = client.systems().create(&shed).await?;
//! # let _ = shed;
//! # Ok(()) }
//! ```
//!
//! Every kind of component has a constructor on [`contract::Part`], with its optional figures as setters.
//!
//! Dates and ids are those of the crates [`chrono`] and [`uuid`]. Both are re-exported here, so that a program need not
//! depend on them itself.
//!
//! A dashboard watches a status. [`Systems::watch`] asks as often as the service recommends; [`Systems::events`]
//! stays connected. After a restart, both continue from a tag that you stored:
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
//!         Ok(seen) => println!("{:?}, tag to store: {}", seen.status.state, seen.etag),
//!         Err(error) if error.is_transient() => eprintln!("no news: {error}"),
//!         Err(error) => return Err(error),
//!     }
//! }
//! # Ok(()) }
//! ```
//!
//! An app follows the reminders. There is an entry when a task comes near, falls due, runs late, moves or is done.
//! [`Follow`] waits for the next entry. Store its cursor once you have handled an entry; then a restart misses
//! nothing. After an error you may continue, so an outage of the service does not end the app:
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
//!             println!("{:?}  {:?}: {:?}", entry.kind, entry.system_name, entry.title);
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
//! The service can also send the same entries to your URL ([`Client::subscriptions`]). Each message is signed; the
//! module `webhook` checks the signature before you read the body. A message may arrive twice, with the same id.
//!
//! Methods of [`Error`] say what went wrong: [`Error::is_not_found`], [`Error::is_conflict`],
//! [`Error::is_transient`] and so on. After [`Error::is_invalid`], [`Error::problem`] names the fields.
//!
//! Every call is a `tracing` span with method, route, attempts and status, and without key, query or ids
//! ([`Client::send`]).
//!
//! # Traces
//!
//! A client can put its calls into the program's trace: `traceparent` of the builder takes a function that says which
//! span is the present one, as the header of W3C Trace Context. The SDK depends on no library for traces, so the
//! function is the program's own:
//!
//! ```
//! # fn demo() -> Result<(), eavesward_client::Error> {
//! use eavesward_client::Client;
//!
//! // With the crates `tracing-opentelemetry` and `opentelemetry` this is, inside of a call's span:
//! //     let span = tracing::Span::current().context().span().span_context().clone();
//! //     span.is_valid().then(|| format!("00-{}-{}-{:02x}", span.trace_id(), span.span_id(), span.trace_flags()))
//! fn present_span() -> Option<String> {
//!     Some("00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01".to_owned())
//! }
//!
//! let client = Client::builder()
//!     .base_url("https://eaves.example")
//!     .key("ew_example")
//!     .traceparent(present_span)
//!     .build()?;
//! # let _ = client;
//! # Ok(()) }
//! # demo().expect("a client");
//! ```
//!
//! All attempts of a call send the same value. [`Request::header`] sets one for a single request.
//!
//! # Features
//!
//! | feature | what it adds |
//! |---|---|
//! | `tls-ring` (on by default) | TLS by rustls with the cryptography of `ring` |
//! | `tls-rustls` | TLS by rustls with the cryptography that the program installs |
//! | `blocking` | [`blocking`]: the same calls for programs without an async runtime |
//! | `webhook` | [`webhook`]: checking the signatures of what the service sends |
//! | `cli` | the command `eavesward`; nothing for other programs |
//!
//! # TLS and the way to the service
//!
//! With `tls-ring` the first client installs `ring` as the TLS provider of the process, unless the program has installed
//! another before. With `default-features = false` there are three choices:
//!
//! - `tls-rustls`: the program installs a provider in rustls before it makes the first client.
//! - Neither: the program names [`reqwest`] among its own dependencies with the TLS feature it wants, such as `native-tls`.
//! - Neither, and nothing else: plain http, such as to a service on the same machine.
//!
//! A company's network often needs a proxy and a CA certificate of its own:
//!
//! ```no_run
//! # fn demo() -> Result<(), Box<dyn std::error::Error>> {
//! use eavesward_client::{Client, reqwest};
//!
//! let client = Client::builder()
//!     .base_url("https://eaves.example")
//!     .key("ew_example")
//!     .ca_pem(std::fs::read("company-ca.pem")?)
//!     .proxy(reqwest::Proxy::all("http://proxy.example:3128")?)
//!     .build()?;
//! # let _ = client;
//! # Ok(()) }
//! ```
//!
//! For anything else, hand in a [`reqwest::Client`] as `http_client`.
//!
//! # Layers
//!
//! A [`Request`] is a plain value. [`requests`] builds one for every call of the API, without any I/O.
//! [`Client::send`] sends a request, repeats it by the rules of [`retry`], and gives the [`Response`] or an
//! [`Error`]. [`Client::call`] also decodes the body. The handles ([`Client::tasks`], [`Client::visits`] and so on)
//! build and send in one step. For a call that has no method yet, make the [`Request`] by hand.
//!
//! # Repeating
//!
//! GET, PUT and DELETE are repeated after a lost connection, a time-out and the statuses 429, 502, 503, 504 and 507. A
//! POST is repeated, too. The client gives each POST an idempotency key, the same for all attempts, so that the
//! service does the work once.
//!
//! There are four attempts at most, within 60 seconds ([`RetryPolicy`]). Only a POST that may have been done is
//! repeated beyond four: under its key, until an answer tells, within the same 60 seconds.
//!
//! To use the same key after a crash of your own program, build the request and set the key, or keep keys by
//! [`KeptKeys`]:
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
//! Everything that can be changed has a `version`, and an update names the version that it was made from. If
//! someone else changed it first, the answer is 412 ([`Error::is_version_mismatch`]) and nothing is changed.
//!
//! A lost reply needs care. The client repeats the PUT or DELETE, but the service has already done it. It then
//! answers 412, or 404 to a DELETE. The client cannot tell this from another person's change, so it reports the
//! error, and [`Error::may_have_been_applied`] is true. Read the resource again and compare before you give up.
//!
//! # Calendars, trips and messages
//!
//! A calendar ([`Client::calendars`]) has one event for each due date. The event lasts all day and carries reasons
//! and cautions. An alarm rings at nine in the morning, as many days ahead as the duty's lead time. The address is
//! a secret and needs no key. It is shown once, kept only as a hash, and works until it is revoked. An overdue task
//! stays on its date. It leaves the calendar when its component is removed.
//!
//! A digest ([`Client::digest`]) groups what is due by property, adds up tasks and minutes, and names each caution and
//! each thing to bring once. It lists at most 2,000 tasks and says how many it leaves out.
//!
//! Rounds ([`Client::rounds`]) put tasks on common trips. The proposal has the lowest cost of trips, of days early
//! and of days late. You may set these costs; their defaults are judgement. For a single property the plan is exact
//! as long as trips have room, or at most ten tasks depend on each other. Otherwise it is a heuristic, and no plan
//! can cost less than `lower_bound`.
//!
//! Keep a proposed round to reserve its tasks until its day ends. A round that is still open then shows as overdue.
//! Report a round as done to log one visit for each system, in one call. It skips what another visit did in the
//! meantime.
//!
//! Entries of the reminders' feed are kept for 90 days. An older cursor gives 410 ([`Error::is_cursor_expired`]),
//! and the problem says how to start again. `behind` counts the entries still to read. If a date moves by more days
//! than the duty's setting allows, an entry gives both dates and the cause.
//!
//! A subscription ([`Client::subscriptions`]) signs its messages by the open Standard Webhooks scheme, so any
//! library for it can check the signature. A message arrives at least once, always with the same `webhook-id`. The
//! service tries a failed delivery for two days and then parks it. It follows no redirect. It posts to addresses
//! inside a network only if the operator sets `local_webhooks`.
//!
//! # What makes dates better
//!
//! - Log every visit, also one that found nothing. You can correct or withdraw a wrong visit; the dates are then
//!   forecast again without the error.
//! - Give the property's monthly temperatures. Then forecasts count heat as well as light for rubber, know the
//!   dates of frost, and warn of mosquitoes.
//! - Give monthly evaporation. Then the water seal of an overflow trap has a date.
//! - Register the tank. Then the service finds the best day to remove its sediment.
//!
//! [`Client::skill`] compares each finding with the forecast of the visit before it. The service keeps that
//! forecast unchanged, whatever rain and findings follow. If the forecasts are right, 8 findings in 10 lie in the
//! predicted range.
//!
//! # The command `eavesward`
//!
//! The feature `cli` builds it: `cargo build --release -p eavesward-client --features cli`.
//! `--help` works on each step. Figures may have their unit, such as `"1200 gal"` or `"0.5 in"`.
//!
//! ```sh
//! # Add a component by flags, import rain, add one reading, and set the account's own longest interval and lead time.
//! eavesward component add "orchard shed" --kind tank --name butt --installed 2026-01-10 \
//!   --capacity "1200 gal" --floor-area "40 sqft" --outlet-height "4 in"
//! eavesward rain import "orchard gauge" days.dly --layout ghcn-daily
//! eavesward rain add "orchard gauge" 2026-03-01 "0.4 in"
//! eavesward duty list
//! eavesward duty set clean-screen --longest-interval-months 2 --lead-days 14
//! # Watch a status and its changes. Compare forecasts with findings: by duty, then one by one.
//! eavesward watch "orchard shed"
//! eavesward skill
//! eavesward skill --answers
//! # Propose rounds and keep rounds 1 and 2. Keep all in one call: the next proposal has other numbers.
//! eavesward rounds propose --off sat,sun --keep 1,2
//! eavesward rounds done ROUND --found "north screen:clean_screen=half" --skip "vent:check_mesh"
//! # Follow the feed. After a cursor has expired, run it once with `--after now` to store a new cursor in the file.
//! eavesward reminders --follow --cursor-file upkeep.cursor
//! # Send entries as they arise, or a digest at set times. `test` sends a message; `deliveries` shows the result.
//! eavesward subscription add --name "upkeep rota" --to https://hooks.example/eaves --kind due,late
//! eavesward subscription add --name "Monday list" --to https://hooks.example/list --digest "0 7 * * 1" \
//!   --time-zone Europe/London --format markdown
//! eavesward subscription change ID --to https://hooks.example/new
//! eavesward subscription test ID
//! # Use several services by name. Only you can read the file of profiles; a file with a key must be as private.
//! eavesward profile add school --url https://eaves.example --key-file FILE
//! eavesward profile use school
//! eavesward due --profile home
//! # Print completions for a shell (bash, zsh or fish), and the manual page.
//! eavesward completions bash
//! eavesward man
//! ```
#![deny(missing_docs)]
// Older toolchains than the workspace's build this crate: what they lack is no matter of a warning.
#![deny(clippy::incompatible_msrv)]

mod base_url;
#[cfg(feature = "blocking")]
pub mod blocking;
pub mod build;
mod client;
mod connection;
mod error;
mod follow;
mod items;
mod kept_keys;
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

pub use chrono;
pub use client::Client;
pub use eavesward_contract as contract;
pub use error::Error;
pub use follow::Follow;
pub use items::Items;
pub use kept_keys::KeptKeys;
pub use query::{
    AnswerQuery, AuditQuery, ComponentQuery, DeliveryQuery, DigestFormat, DigestQuery, DutyQuery,
    ForecastQuery, KeptRoundQuery, ListQuery, RainFileOptions, RainOptions, RainQuery, ReminderQuery,
    RevisionQuery, RoundQuery, SeveralDays, SkillQuery, SystemQuery, TaskQuery, VisitQuery,
};
pub use request::{Body, Request};
pub use reqwest;
pub use resources::{
    Calendars, Components, Duties, Gauges, Keys, Properties, Reminders, Rounds, Skill, StatusChange,
    Subscriptions, Systems, Tasks, Visits, property_update_from, subscription_update_from,
    system_update_from,
};
pub use response::Response;
pub use retry::RetryPolicy;
pub use uuid;
pub use watch::{StatusSeen, Watch, WatchOptions};

/// Compiles the examples in the README.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;
