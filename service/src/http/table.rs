//! The table of routes: router and document are both made from it, so that a route is in both or in neither.
//!
//! A row names a handler; path and method stand at the handler, in its `#[utoipa::path]`. Rows have the order of the
//! document. The router does not depend on it.

use super::acting::Change;
use super::payload::RAIN_JSON_LIMIT;
use super::routes::{
    accounts, audit, calendars, components, digest, duties, forecasts, gauges, properties, rain, reminders,
    rounds, service, skill, status, subscriptions, systems, tasks, visits,
};
use super::unread::Reads;
use crate::domain::model::audit::ThingKind;
use crate::gate::Work;
use actix_web::http::Method;
use actix_web::{Route, web};
use std::sync::LazyLock;
use utoipa::OpenApi as _;
use utoipa::openapi::path::{Operation, ParameterIn};
use utoipa::openapi::{OpenApi, RefOr};

/// Paths below this one are answered to callers with a key alone.
pub const WITH_KEY: &str = "/v1";

/// A row of the table: a handler, and what is said of it.
pub struct Row {
    /// Its path.
    pub path: String,
    /// Its methods.
    pub methods: Vec<Method>,
    /// The largest body that it reads, where that is not [`BODY_LIMIT`].
    pub body_limit: Option<usize>,
    /// How much a request asks of the service.
    pub work: Work,
    /// Whether its requests have a body.
    pub has_body: bool,
    /// What it reads of a request beside path and headers.
    pub reads: Reads,
    /// What it changes; nothing if it only reads. Whatever changes an account is recorded.
    pub change: Option<Change>,
    /// The word by which the document names it.
    pub operation: String,
    /// Makes a route to it, open to any method.
    pub route: fn() -> Route,
    /// A document of this handler alone.
    pub document: OpenApi,
}

impl Row {
    fn new(document: OpenApi, route: fn() -> Route) -> Self {
        let (path, item) = document.paths.paths.first().map(|(path, item)| (path.clone(), item)).unzip();
        let operations = item.map(|item| {
            [
                (&item.get, Method::GET),
                (&item.post, Method::POST),
                (&item.put, Method::PUT),
                (&item.delete, Method::DELETE),
            ]
        });
        let named = operations.iter().flatten().find_map(|(operation, _)| operation.as_ref());
        let operation = named.and_then(|operation| operation.operation_id.clone()).unwrap_or_default();
        let has = |what: fn(&Operation) -> bool| {
            operations.iter().flatten().any(|(operation, _)| operation.as_ref().is_some_and(what))
        };
        let has_body = has(|operation| operation.request_body.is_some());
        let is_get = item.is_some_and(|item| item.get.is_some());
        let reads = Reads { query: has(has_query), body: has_body || is_get };
        let served = operations.into_iter().flatten().filter(|(operation, _)| operation.is_some());
        let methods = served.map(|(_, method)| method).collect();
        Self {
            path: path.unwrap_or_default(),
            methods,
            body_limit: None,
            work: Work::Light,
            has_body,
            reads,
            change: None,
            operation,
            route,
            document,
        }
    }

    fn with_body_limit(self, limit: usize) -> Self {
        Self { body_limit: Some(limit), ..self }
    }

    /// The same for a handler that changes what its path names.
    fn changes(self, thing: ThingKind) -> Self {
        Self { change: Some(Change { thing, is_new: false }), ..self }
    }

    /// The same for a handler that makes a new thing.
    fn makes(self, thing: ThingKind) -> Self {
        Self { change: Some(Change { thing, is_new: true }), ..self }
    }

    /// The same for a handler that computes or carries much.
    fn heavy(self) -> Self {
        Self { work: Work::Heavy, ..self }
    }
}

/// Whether an operation has parameters in its query.
fn has_query(operation: &Operation) -> bool {
    operation.parameters.iter().flatten().any(|parameter| match parameter {
        RefOr::T(parameter) => parameter.parameter_in == ParameterIn::Query,
        RefOr::Ref(_) => false,
    })
}

/// Makes a row of each handler. The document comes from the handler's own `#[utoipa::path]`.
macro_rules! rows {
    ($($resource:ident::$handler:ident $(changes $thing:ident)? $(makes $new:ident)? $(body $limit:ident)? $(is $work:ident)?),* $(,)?) => {
        vec![$({
            #[derive(utoipa::OpenApi)]
            #[openapi(paths($resource::$handler))]
            struct OfHandler;
            Row::new(OfHandler::openapi(), || web::to($resource::$handler))
                $(.changes(ThingKind::$thing))?$(.makes(ThingKind::$new))?$(.with_body_limit($limit))?$(.$work())?
        }),*]
    };
}

static TABLE: LazyLock<Vec<Row>> = LazyLock::new(|| {
    rows![
        accounts::account,
        accounts::keys,
        accounts::create_key makes Key,
        accounts::revoke_key changes Key,
        audit::list,
        duties::list,
        duties::get,
        duties::update changes Duty,
        properties::list,
        properties::create makes Property,
        properties::get,
        properties::update changes Property,
        properties::remove changes Property,
        gauges::list,
        gauges::create makes Gauge,
        gauges::get,
        gauges::update changes Gauge,
        gauges::remove changes Gauge,
        rain::list,
        rain::upsert changes Gauge is heavy,
        rain::remove changes Gauge,
        systems::list,
        systems::create makes System,
        systems::get,
        systems::update changes System,
        status::get,
        status::events,
        components::list,
        components::add makes Component,
        components::get,
        components::update changes Component,
        components::replace makes Component,
        components::retire changes Component,
        tasks::list,
        tasks::get,
        reminders::pull,
        subscriptions::list,
        subscriptions::create makes Subscription,
        subscriptions::get,
        subscriptions::update changes Subscription,
        subscriptions::remove changes Subscription,
        subscriptions::pause changes Subscription,
        subscriptions::resume changes Subscription,
        subscriptions::rotate changes Subscription,
        subscriptions::test changes Subscription,
        subscriptions::deliveries,
        subscriptions::delivery,
        subscriptions::send_again changes Delivery,
        digest::accepted is heavy,
        digest::by_ending is heavy,
        calendars::list,
        calendars::create makes Calendar,
        calendars::revoke changes Calendar,
        calendars::read,
        forecasts::of_system is heavy,
        forecasts::stateless body RAIN_JSON_LIMIT is heavy,
        skill::by_duty,
        skill::answers,
        rounds::propose is heavy,
        rounds::keep makes Round,
        rounds::list,
        rounds::get,
        rounds::cancel changes Round,
        rounds::finish changes Round,
        visits::list,
        visits::log makes Visit,
        visits::get,
        visits::correct changes Visit,
        visits::withdraw changes Visit,
        visits::revisions,
        service::healthz,
        service::readyz,
        service::document,
    ]
});

/// The table.
pub fn table() -> &'static [Row] {
    &TABLE
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_row_has_a_path_and_a_method_of_its_own() {
        let mut seen = BTreeSet::new();
        for row in table() {
            assert_eq!(row.document.paths.paths.len(), 1, "{}", row.path);
            assert_eq!(row.methods.len(), 1, "{}: {:?}", row.path, row.methods);
            // The one that has a body and stores nothing.
            let reads = row.methods[0] == Method::GET || row.path == "/v1/forecast";
            assert_eq!(row.change.is_none(), reads, "say what {} changes", row.operation);
            let named = row.change.is_none_or(|change| change.is_new || row.path.contains('{'));
            assert!(
                named && !row.operation.is_empty(),
                "the path of {} does not name its thing",
                row.operation
            );
            assert!(seen.insert((&row.path, row.methods[0].as_str())), "{} {}", row.methods[0], row.path);
        }
    }
}
