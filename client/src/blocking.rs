//! The same calls for programs without an async runtime: each waits for its answer.
//!
//! ```no_run
//! # fn main() -> Result<(), eavesward_client::Error> {
//! use eavesward_client::{Client, TaskQuery, blocking};
//!
//! let client = Client::builder().base_url("https://eaves.example").key("the bearer key").build()?;
//! let client = blocking::Client::new(client)?;
//! for task in client.tasks().list(&TaskQuery::builder().within_days(7).build()) {
//!     let task = task?;
//!     println!("{}: {}", task.component_name, task.title);
//! }
//! // Whatever has no twin here can be waited for, too.
//! let account = client.wait(async |client| client.account().await)?;
//! # let _ = account;
//! # Ok(()) }
//! ```
//!
//! # Beside an async runtime
//!
//! A program that has a runtime calls from a thread that may wait: one of its own, or one of
//! [`tokio::task::spawn_blocking`]. In the latter a further thread makes the call, since one that belongs to a runtime
//! must not drive another.
//!
//! A call in what a runtime's `block_on` runs, such as the body of an async `main`, would stop all that it runs, so it is
//! an error with [`crate::Error::is_usage`]. In a spawned async task it cannot be told from one of `spawn_blocking`: it
//! is made, and holds the task's worker up until the answer is there. Async code uses [`crate::Client`].
//!
//! To add a call: a line in the table below. A test names those that are missing.

use crate::{
    AnswerQuery, ComponentQuery, DeliveryQuery, DigestFormat, DigestQuery, Error, KeptRoundQuery, ListQuery,
    RainFileOptions, RainQuery, ReminderQuery, Request, Response, RoundQuery, SkillQuery, StatusChange,
    StatusSeen, SystemQuery, TaskQuery, VisitQuery, WatchOptions,
};
use chrono::NaiveDate;
use eavesward_contract::{
    Account, AnsweredForecast, ApiKey, Calendar, CalendarCreated, CalendarRequest, Component,
    ComponentRequest, Delivery, DeliveryLog, Digest, Duty, DutySettings, DutySettingsRequest, DutySkill,
    ForecastRequest, Gauge, GaugeRequest, KeyCreated, KeyRequest, Page, Property, PropertyRequest, RainDay,
    RainReport, RainRequest, Reminder, ReminderFeed, ReplaceRequest, RetireRequest, Round, RoundDone,
    RoundDoneRequest, RoundProposal, RoundRequest, Subscription, SubscriptionRequest, SubscriptionSecret,
    System, SystemCreateRequest, SystemForecast, SystemStatus, SystemUpdateRequest, Task, Visit,
    VisitRequest, VisitRevision, WithdrawRequest,
};
use futures_util::stream::{BoxStream, StreamExt};
use std::fmt;
use std::sync::Arc;
use std::thread;
use tokio::runtime::{Builder, Handle, Runtime};
use uuid::Uuid;

/// A connection whose calls wait. Cloning it is cheap and shares the connections; threads may share it.
#[derive(Clone)]
pub struct Client {
    inner: crate::Client,
    waiter: Waiter,
}

impl Client {
    /// Waits for the calls of a client.
    ///
    /// # Errors
    /// The machine refuses what waiting needs.
    pub fn new(client: crate::Client) -> Result<Self, Error> {
        let runtime = Builder::new_current_thread().enable_all().build();
        let runtime = runtime.map_err(|e| Error::setup(format!("the runtime could not be started: {e}")))?;
        Ok(Self { inner: client, waiter: Waiter(Arc::new(Owned(Some(runtime)))) })
    }

    /// Waits for anything that is done with the async client: the way out where no method fits.
    pub fn wait<T: Send>(
        &self,
        call: impl AsyncFnOnce(&crate::Client) -> Result<T, Error> + Send,
    ) -> Result<T, Error> {
        self.waiter.wait(|runtime| runtime.block_on(call(&self.inner)))?
    }

    /// Waits for [`crate::Client::send`].
    pub fn send(&self, request: Request) -> Result<Response, Error> {
        self.wait(async |client| client.send(request).await)
    }

    /// Waits for [`crate::Client::account`].
    pub fn account(&self) -> Result<Account, Error> {
        self.wait(async |client| client.account().await)
    }

    /// Waits for [`crate::Client::forecast`].
    pub fn forecast(&self, request: &ForecastRequest) -> Result<SystemForecast, Error> {
        self.wait(async |client| client.forecast(request).await)
    }

    /// Waits for [`crate::Client::digest`].
    pub fn digest(&self, query: &DigestQuery) -> Result<Digest, Error> {
        self.wait(async |client| client.digest(query).await)
    }

    /// Waits for [`crate::Client::digest_as`].
    pub fn digest_as(&self, query: &DigestQuery, format: DigestFormat) -> Result<String, Error> {
        self.wait(async |client| client.digest_as(query, format).await)
    }
}

impl fmt::Debug for Client {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(&self.inner, f)
    }
}

/// What waits.
#[derive(Clone, Debug)]
struct Waiter(Arc<Owned>);

/// A runtime that may be let go anywhere; dropping it inside another one would panic.
#[derive(Debug)]
struct Owned(Option<Runtime>);

impl Drop for Owned {
    fn drop(&mut self) {
        if let Some(runtime) = self.0.take() {
            runtime.shutdown_background();
        }
    }
}

impl Waiter {
    /// Does what waits, on this thread if no runtime has a claim on it.
    fn wait<T: Send>(&self, work: impl FnOnce(&Runtime) -> T + Send) -> Result<T, Error> {
        let Some(runtime) = &self.0.0 else { return Err(Error::unsendable("the runtime is gone")) };
        if Handle::try_current().is_err() {
            return Ok(work(runtime));
        }
        // What `spawn_blocking` runs is a task, what `block_on` runs is none.
        if tokio::task::try_id().is_none() {
            return Err(Error::unsendable(
                "a blocking call was made inside an async runtime, which it would stop; use eavesward_client::Client, or \
                 call from tokio::task::spawn_blocking",
            ));
        }
        elsewhere(|| work(runtime))
    }
}

/// Does something on a further thread and waits for it, within the caller's span.
fn elsewhere<T: Send>(work: impl FnOnce() -> T + Send) -> Result<T, Error> {
    let span = tracing::Span::current();
    thread::scope(|scope| {
        let thread = thread::Builder::new().spawn_scoped(scope, || span.in_scope(work));
        let thread =
            thread.map_err(|e| Error::setup(format!("no thread could be started to wait on: {e}")))?;
        // A panic goes on as if it had come up here.
        thread.join().map_err(|panic| std::panic::resume_unwind(panic))
    })
}

/// The items of a list or of a watch, one after the other; each may be waited for.
pub struct Items<T> {
    stream: BoxStream<'static, Result<T, Error>>,
    waiter: Waiter,
}

impl<T: Send> Iterator for Items<T> {
    type Item = Result<T, Error>;

    fn next(&mut self) -> Option<Self::Item> {
        let stream = &mut self.stream;
        self.waiter.wait(|runtime| runtime.block_on(stream.next())).unwrap_or_else(|error| Some(Err(error)))
    }
}

impl<T> fmt::Debug for Items<T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Items(..)")
    }
}

/// The twin of [`crate::Follow`]: entries of the reminders' feed as they come; each is waited for.
#[derive(Debug)]
pub struct Follow {
    inner: crate::Follow,
    waiter: Waiter,
}

impl Follow {
    fn new(inner: crate::Follow, waiter: &Waiter) -> Self {
        Self { inner, waiter: waiter.clone() }
    }

    /// Waits for [`crate::Follow::next`].
    #[expect(clippy::should_implement_trait, reason = "it has no end and is named as its async twin")]
    pub fn next(&mut self) -> Result<Reminder, Error> {
        let inner = &mut self.inner;
        self.waiter.wait(|runtime| runtime.block_on(inner.next()))?
    }

    /// Waits for [`crate::Follow::poll`].
    pub fn poll(&mut self) -> Result<Option<Reminder>, Error> {
        let inner = &mut self.inner;
        self.waiter.wait(|runtime| runtime.block_on(inner.poll()))?
    }

    /// See [`crate::Follow::cursor`].
    pub fn cursor(&self) -> Option<&str> {
        self.inner.cursor()
    }

    /// See [`crate::Follow::behind`].
    pub fn behind(&self) -> i64 {
        self.inner.behind()
    }
}

/// Writes a handle for each line of the table, with a method for each of its calls: `call` waits for one answer, `items`
/// gives an iterator, `follow` what has no end, `plain` asks nobody.
macro_rules! twins {
    ($($handle:ident $Handle:ident {
        $($kind:ident $name:ident($($arg:ident: $type:ty),*) -> $out:ty;)*
    })*) => {
        impl Client {
            $(
                #[doc = concat!("The twin of [`crate::Client::", stringify!($handle), "`].")]
                pub fn $handle(&self) -> $Handle<'_> {
                    $Handle(self)
                }
            )*
        }

        $(
            #[doc = concat!("The twin of [`crate::", stringify!($Handle), "`].")]
            #[derive(Clone, Copy, Debug)]
            pub struct $Handle<'a>(&'a Client);

            impl $Handle<'_> {
                $(twins! { $kind $handle $Handle $name($($arg: $type),*) -> $out })*
            }
        )*

        /// Every handle with its methods, for the test that none is missing.
        #[cfg(test)]
        const TWINS: &[(&str, &[&str])] = &[$((stringify!($Handle), &[$(stringify!($name)),*])),*];
    };
    (call $handle:ident $Handle:ident $name:ident($($arg:ident: $type:ty),*) -> $out:ty) => {
        #[doc = concat!("Waits for [`crate::", stringify!($Handle), "::", stringify!($name), "`].")]
        pub fn $name(&self $(, $arg: $type)*) -> Result<$out, Error> {
            self.0.wait(async |client| client.$handle().$name($($arg),*).await)
        }
    };
    (plain $handle:ident $Handle:ident $name:ident($($arg:ident: $type:ty),*) -> $out:ty) => {
        #[doc = concat!("See [`crate::", stringify!($Handle), "::", stringify!($name), "`].")]
        pub fn $name(&self $(, $arg: $type)*) -> Result<$out, Error> {
            self.0.inner.$handle().$name($($arg),*)
        }
    };
    (follow $handle:ident $Handle:ident $name:ident($($arg:ident: $type:ty),*) -> $out:ty) => {
        #[doc = concat!("The twin of [`crate::", stringify!($Handle), "::", stringify!($name), "`].")]
        pub fn $name(&self $(, $arg: $type)*) -> $out {
            <$out>::new(self.0.inner.$handle().$name($($arg),*), &self.0.waiter)
        }
    };
    (items $handle:ident $Handle:ident $name:ident($($arg:ident: $type:ty),*) -> $out:ty) => {
        #[doc = concat!("The items of [`crate::", stringify!($Handle), "::", stringify!($name), "`], waited for one by one.")]
        pub fn $name(&self $(, $arg: $type)*) -> Items<$out> {
            let stream = self.0.inner.$handle().$name($($arg),*).boxed();
            Items { stream, waiter: self.0.waiter.clone() }
        }
    };
}

twins! {
    keys Keys {
        items list(query: &ListQuery) -> ApiKey;
        call page(query: &ListQuery) -> Page<ApiKey>;
        call create(key: &KeyRequest) -> KeyCreated;
        call revoke(id: Uuid) -> ();
    }
    calendars Calendars {
        items list(query: &ListQuery) -> Calendar;
        call page(query: &ListQuery) -> Page<Calendar>;
        call create(calendar: &CalendarRequest) -> CalendarCreated;
        call revoke(id: Uuid) -> ();
        call read(path: &str) -> String;
        plain url(created: &CalendarCreated) -> String;
    }
    duties Duties {
        items list() -> DutySettings;
        call get(duty: Duty) -> DutySettings;
        call set(duty: Duty, version: i64, settings: &DutySettingsRequest) -> DutySettings;
        call reset(duty: Duty, version: i64) -> DutySettings;
    }
    properties Properties {
        items list(query: &ListQuery) -> Property;
        call page(query: &ListQuery) -> Page<Property>;
        call create(property: &PropertyRequest) -> Property;
        call get(id: Uuid) -> Property;
        call update(id: Uuid, version: i64, property: &PropertyRequest) -> Property;
        call delete(id: Uuid, version: i64) -> ();
    }
    gauges Gauges {
        items list(query: &ListQuery) -> Gauge;
        call page(query: &ListQuery) -> Page<Gauge>;
        call create(gauge: &GaugeRequest) -> Gauge;
        call get(id: Uuid) -> Gauge;
        call update(id: Uuid, version: i64, gauge: &GaugeRequest) -> Gauge;
        call delete(id: Uuid, version: i64) -> ();
        call send_rain(id: Uuid, rain: &RainRequest, all_or_nothing: bool) -> RainReport;
        call send_rain_file(id: Uuid, text: &str, options: &RainFileOptions) -> RainReport;
        call send_rain_file_with(id: Uuid, text: &str, options: &RainFileOptions, told: impl FnMut(usize, usize) + Send) -> RainReport;
        items rain(id: Uuid, query: &RainQuery) -> RainDay;
        call rain_page(id: Uuid, query: &RainQuery) -> Page<RainDay>;
        call delete_rain(id: Uuid, from: NaiveDate, to: NaiveDate) -> ();
    }
    systems Systems {
        items list(query: &SystemQuery) -> System;
        call page(query: &SystemQuery) -> Page<System>;
        call create(system: &SystemCreateRequest) -> System;
        call get(id: Uuid) -> System;
        call update(id: Uuid, version: i64, system: &SystemUpdateRequest) -> System;
        call forecast(id: Uuid, as_of: Option<NaiveDate>) -> SystemForecast;
        call status(id: Uuid) -> SystemStatus;
        call status_if_changed(id: Uuid, etag: Option<&str>) -> StatusChange;
        items watch(id: Uuid, options: &WatchOptions) -> StatusSeen;
        items events(id: Uuid, options: &WatchOptions) -> StatusSeen;
        items components(id: Uuid, query: &ComponentQuery) -> Component;
        call components_page(id: Uuid, query: &ComponentQuery) -> Page<Component>;
        call add_component(id: Uuid, component: &ComponentRequest) -> Component;
    }
    components Components {
        call get(id: Uuid) -> Component;
        call update(id: Uuid, version: i64, component: &ComponentRequest) -> Component;
        call replace(id: Uuid, replace: &ReplaceRequest) -> Component;
        call retire(id: Uuid, retire: &RetireRequest) -> Component;
    }
    tasks Tasks {
        items list(query: &TaskQuery) -> Task;
        call page(query: &TaskQuery) -> Page<Task>;
        call get(id: Uuid) -> Task;
    }
    reminders Reminders {
        call pull(query: &ReminderQuery) -> ReminderFeed;
        follow follow(query: &ReminderQuery) -> Follow;
    }
    subscriptions Subscriptions {
        items list(query: &ListQuery) -> Subscription;
        call page(query: &ListQuery) -> Page<Subscription>;
        call create(subscription: &SubscriptionRequest) -> SubscriptionSecret;
        call get(id: Uuid) -> Subscription;
        call update(id: Uuid, version: i64, subscription: &SubscriptionRequest) -> Subscription;
        call delete(id: Uuid, version: i64) -> ();
        call pause(id: Uuid) -> Subscription;
        call resume(id: Uuid) -> Subscription;
        call rotate_secret(id: Uuid) -> SubscriptionSecret;
        call test(id: Uuid) -> Delivery;
        items deliveries(id: Uuid, query: &DeliveryQuery) -> Delivery;
        call deliveries_page(id: Uuid, query: &DeliveryQuery) -> Page<Delivery>;
        call delivery(id: Uuid) -> DeliveryLog;
        call send_again(id: Uuid) -> Delivery;
    }
    rounds Rounds {
        items list(query: &KeptRoundQuery) -> Round;
        call page(query: &KeptRoundQuery) -> Page<Round>;
        call propose(query: &RoundQuery) -> RoundProposal;
        call keep(round: &RoundRequest) -> Round;
        call get(id: Uuid) -> Round;
        call call_off(id: Uuid, version: i64) -> ();
        call finish(id: Uuid, report: &RoundDoneRequest) -> RoundDone;
    }
    visits Visits {
        items list(query: &VisitQuery) -> Visit;
        call page(query: &VisitQuery) -> Page<Visit>;
        call log(visit: &VisitRequest) -> Visit;
        call get(id: Uuid) -> Visit;
        call correct(id: Uuid, version: i64, visit: &VisitRequest) -> Visit;
        call withdraw(id: Uuid, withdraw: &WithdrawRequest) -> Visit;
        items revisions(id: Uuid) -> VisitRevision;
    }
    skill Skill {
        call by_duty(query: &SkillQuery) -> Vec<DutySkill>;
        items answers(query: &AnswerQuery) -> AnsweredForecast;
        call answers_page(query: &AnswerQuery) -> Page<AnsweredForecast>;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    /// Handle and method of everything public in `client/src/resources`.
    fn async_methods() -> BTreeSet<(String, String)> {
        let mut methods = BTreeSet::new();
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/src/resources");
        for file in std::fs::read_dir(folder).expect("the handles") {
            let text = std::fs::read_to_string(file.expect("a file").path()).expect("a text");
            let mut handle = None;
            for line in text.lines() {
                if let Some(rest) = line.strip_prefix("impl ") {
                    handle = rest.strip_suffix("<'_> {").or(rest.strip_suffix(" {")).map(str::to_owned);
                }
                if line == "}" {
                    handle = None;
                }
                let Some(handle) = handle.clone() else { continue };
                let line = line.trim_start();
                if line.starts_with("list_methods!(") {
                    methods.extend(["list", "page"].map(|name| (handle.clone(), name.to_owned())));
                }
                let named = line.strip_prefix("pub async fn ").or_else(|| line.strip_prefix("pub fn "));
                let is_async = line.starts_with("pub async fn ");
                if let Some((name, _)) = named.and_then(|rest| rest.split_once(['(', '<']))
                    // What the client has besides are the handles themselves.
                    && (is_async || handle != "Client")
                {
                    methods.insert((handle, name.to_owned()));
                }
            }
        }
        methods
    }

    #[test]
    fn every_async_call_has_a_twin() {
        let methods = async_methods();
        assert!(methods.len() > 40, "they were not read rightly: {methods:?}");
        let twins: BTreeSet<(String, String)> = TWINS
            .iter()
            .flat_map(|(handle, names)| names.iter().map(|name| ((*handle).to_owned(), (*name).to_owned())))
            .collect();
        let own =
            ["account", "forecast", "digest", "digest_as"].map(|name| ("Client".to_owned(), name.to_owned()));
        let twins: BTreeSet<_> = twins.into_iter().chain(own).collect();
        let missing: Vec<_> = methods.difference(&twins).collect();
        assert!(missing.is_empty(), "give {missing:?} a line in the table of client/src/blocking.rs");
        let strange: Vec<_> = twins.difference(&methods).collect();
        assert!(strange.is_empty(), "{strange:?} are no calls of client/src/resources");
    }

    fn client() -> Client {
        // A port of the discard service, where nobody answers.
        let client = crate::Client::builder()
            .base_url("http://127.0.0.1:9")
            .key("k")
            .retry(crate::RetryPolicy::never());
        Client::new(client.build().expect("a client")).expect("a runtime")
    }

    #[test]
    fn a_call_within_a_runtime_is_an_error_and_no_panic() {
        let outside = client();
        assert!(outside.account().expect_err("nobody is there").is_connect());
        let runtime = Builder::new_multi_thread().worker_threads(1).build().expect("a runtime");
        runtime.block_on(async {
            let client = client();
            assert!(client.account().expect_err("inside").is_usage());
            let mut tasks = client.tasks().list(&TaskQuery::default());
            assert!(tasks.next().expect("an item").expect_err("inside").is_usage());
            drop((client, tasks));
            drop(outside);
        });
    }

    #[test]
    fn a_thread_that_may_wait_is_served_although_it_belongs_to_a_runtime() {
        for mut runtime in [Builder::new_multi_thread(), Builder::new_current_thread()] {
            let runtime = runtime.worker_threads(1).enable_all().build().expect("a runtime");
            runtime.block_on(async {
                let waits = || {
                    let client = client();
                    assert!(client.account().expect_err("nobody is there").is_connect());
                    let mut tasks = client.tasks().list(&TaskQuery::default());
                    assert!(tasks.next().expect("an item").expect_err("nobody is there").is_connect());
                    let mut entries = client.reminders().follow(&ReminderQuery::default());
                    assert!(entries.poll().expect_err("nobody is there").is_connect());
                };
                tokio::task::spawn_blocking(waits).await.expect("it may wait there");
                // Not told from the other; it is no good place for it and does no harm.
                tokio::spawn(async move { waits() }).await.expect("no panic");
            });
        }
    }

    #[test]
    fn a_panic_comes_up_where_the_call_was_made() {
        let runtime = Builder::new_current_thread().build().expect("a runtime");
        let panics = || client().wait(async |_| -> Result<(), Error> { panic!("as it was meant to") });
        let end = runtime.block_on(async { tokio::task::spawn_blocking(panics).await });
        let end = end.expect_err("it panicked");
        assert_eq!(end.into_panic().downcast_ref(), Some(&"as it was meant to"));
    }

    #[test]
    fn threads_may_share_it() {
        let client = client();
        std::thread::scope(|scope| {
            for _ in 0..4 {
                scope.spawn(|| assert!(client.account().expect_err("nobody is there").is_connect()));
            }
        });
    }
}
