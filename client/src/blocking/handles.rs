//! The blocking versions of the async handles, as a table.

use super::client::Client;
use super::items::{Follow, Items};
use crate::{
    AnswerQuery, AuditQuery, ComponentQuery, DeliveryQuery, DutyQuery, Error, ForecastQuery, KeptRoundQuery,
    ListQuery, RainFileOptions, RainOptions, RainQuery, ReminderQuery, RevisionQuery, RoundQuery, SkillQuery,
    StatusChange, StatusSeen, SystemQuery, TaskQuery, VisitQuery, WatchOptions,
};
use chrono::NaiveDate;
use eavesward_contract::{
    AnsweredForecast, ApiKey, AuditEntry, Calendar, CalendarCreated, CalendarRequest, Component,
    ComponentRequest, Delivery, DeliveryLog, Duty, DutySettings, DutySettingsRequest, DutySkill, Gauge,
    GaugeRequest, KeyCreated, KeyRequest, Page, Property, PropertyRequest, RainDay, RainReport, RainRequest,
    ReminderFeed, ReplaceRequest, RetireRequest, Round, RoundDone, RoundDoneRequest, RoundProposal,
    RoundRequest, Subscription, SubscriptionRequest, SubscriptionSecret, System, SystemCreateRequest,
    SystemForecast, SystemStatus, SystemUpdateRequest, Task, Visit, VisitRequest, VisitRevision,
    WithdrawRequest,
};
use futures_util::stream::StreamExt;
use uuid::Uuid;

/// Writes a handle for each block of the table and a method for each line. `call` waits for one answer. `items`
/// gives an iterator. `follow` gives an iterator without an end. `plain` sends no request.
macro_rules! twins {
    ($($handle:ident $Handle:ident {
        $($kind:ident $name:ident($($arg:ident: $type:ty),*) -> $out:ty;)*
    })*) => {
        impl Client {
            $(
                #[doc = concat!("The blocking version of [`crate::Client::", stringify!($handle), "`].")]
                pub fn $handle(&self) -> $Handle<'_> {
                    $Handle(self)
                }
            )*
        }

        $(
            #[doc = concat!("The blocking version of [`crate::", stringify!($Handle), "`].")]
            #[derive(Clone, Copy, Debug)]
            pub struct $Handle<'a>(&'a Client);

            impl $Handle<'_> {
                $(twins! { $kind $handle $Handle $name($($arg: $type),*) -> $out })*
            }
        )*

        /// Every handle with its methods, for the test that finds missing ones.
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
        #[doc = concat!("The blocking version of [`crate::", stringify!($Handle), "::", stringify!($name), "`].")]
        pub fn $name(&self $(, $arg: $type)*) -> $out {
            <$out>::new(self.0.inner.$handle().$name($($arg),*), &self.0.waiter)
        }
    };
    (items $handle:ident $Handle:ident $name:ident($($arg:ident: $type:ty),*) -> $out:ty) => {
        #[doc = concat!("The items of [`crate::", stringify!($Handle), "::", stringify!($name), "`]; the iterator waits for each.")]
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
    audit Audit {
        items list(query: &AuditQuery) -> AuditEntry;
        call page(query: &AuditQuery) -> Page<AuditEntry>;
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
        items list(query: &DutyQuery) -> DutySettings;
        call get(duty: &Duty) -> DutySettings;
        call set(duty: &Duty, version: i64, settings: &DutySettingsRequest) -> DutySettings;
        call reset(duty: &Duty, version: i64) -> DutySettings;
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
        call send_rain(id: Uuid, rain: &RainRequest, options: &RainOptions) -> RainReport;
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
        call forecast(id: Uuid, query: &ForecastQuery) -> SystemForecast;
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
        call cancel(id: Uuid, version: i64) -> ();
        call finish(id: Uuid, report: &RoundDoneRequest) -> RoundDone;
    }
    visits Visits {
        items list(query: &VisitQuery) -> Visit;
        call page(query: &VisitQuery) -> Page<Visit>;
        call log(visit: &VisitRequest) -> Visit;
        call get(id: Uuid) -> Visit;
        call correct(id: Uuid, version: i64, visit: &VisitRequest) -> Visit;
        call withdraw(id: Uuid, withdraw: &WithdrawRequest) -> Visit;
        items revisions(id: Uuid, query: &RevisionQuery) -> VisitRevision;
    }
    skill Skill {
        call by_duty(query: &SkillQuery) -> Vec<DutySkill>;
        items answers(query: &AnswerQuery) -> AnsweredForecast;
        call answers_page(query: &AnswerQuery) -> Page<AnsweredForecast>;
    }
}

#[cfg(test)]
mod tests {
    use super::TWINS;
    use std::collections::BTreeSet;

    /// The handle and name of every public method in `client/src/resources`.
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
                    // The client's other methods are the handles themselves.
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
        assert!(methods.len() > 40, "the methods were not read correctly: {methods:?}");
        let twins: BTreeSet<(String, String)> = TWINS
            .iter()
            .flat_map(|(handle, names)| names.iter().map(|name| ((*handle).to_owned(), (*name).to_owned())))
            .collect();
        let own =
            ["account", "forecast", "digest", "digest_as"].map(|name| ("Client".to_owned(), name.to_owned()));
        let twins: BTreeSet<_> = twins.into_iter().chain(own).collect();
        let missing: Vec<_> = methods.difference(&twins).collect();
        assert!(
            missing.is_empty(),
            "add a line for {missing:?} to the table in client/src/blocking/handles.rs"
        );
        let strange: Vec<_> = twins.difference(&methods).collect();
        assert!(strange.is_empty(), "{strange:?} are not calls of client/src/resources");
    }
}
