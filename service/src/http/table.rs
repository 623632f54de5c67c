//! The table of routes: router and document are both made from it, so that a route is in both or in neither.
//!
//! A row names a handler; path and method stand at the handler, in its `#[utoipa::path]`. Rows have the order of the
//! document. The router does not depend on it.

use super::payload::RAIN_JSON_LIMIT;
use super::routes::{
    accounts, calendars, components, digest, duties, forecasts, gauges, properties, rain, reminders, rounds,
    service, skill, status, subscriptions, systems, tasks, visits,
};
use super::unread::Reads;
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
            route,
            document,
        }
    }

    fn with_body_limit(self, limit: usize) -> Self {
        Self { body_limit: Some(limit), ..self }
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
    ($($resource:ident::$handler:ident $(body $limit:ident)? $(is $work:ident)?),* $(,)?) => {
        vec![$({
            #[derive(utoipa::OpenApi)]
            #[openapi(paths($resource::$handler))]
            struct OfHandler;
            Row::new(OfHandler::openapi(), || web::to($resource::$handler))$(.with_body_limit($limit))?$(.$work())?
        }),*]
    };
}

static TABLE: LazyLock<Vec<Row>> = LazyLock::new(|| {
    rows![
        accounts::account,
        accounts::keys,
        accounts::create_key,
        accounts::revoke_key,
        duties::list,
        duties::get,
        duties::update,
        properties::list,
        properties::create,
        properties::get,
        properties::update,
        properties::remove,
        gauges::list,
        gauges::create,
        gauges::get,
        gauges::update,
        gauges::remove,
        rain::list,
        rain::upsert is heavy,
        rain::remove,
        systems::list,
        systems::create,
        systems::get,
        systems::update,
        status::get,
        status::events,
        components::list,
        components::add,
        components::get,
        components::update,
        components::replace,
        components::retire,
        tasks::list,
        tasks::get,
        reminders::pull,
        subscriptions::list,
        subscriptions::create,
        subscriptions::get,
        subscriptions::update,
        subscriptions::remove,
        subscriptions::pause,
        subscriptions::resume,
        subscriptions::rotate,
        subscriptions::test,
        subscriptions::deliveries,
        subscriptions::delivery,
        subscriptions::send_again,
        digest::accepted is heavy,
        digest::by_ending is heavy,
        calendars::list,
        calendars::create,
        calendars::revoke,
        calendars::read,
        forecasts::of_system is heavy,
        forecasts::stateless body RAIN_JSON_LIMIT is heavy,
        skill::by_duty,
        skill::answers,
        rounds::propose is heavy,
        rounds::keep,
        rounds::list,
        rounds::get,
        rounds::cancel,
        rounds::finish,
        visits::list,
        visits::log,
        visits::get,
        visits::correct,
        visits::withdraw,
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
            assert!(seen.insert((&row.path, row.methods[0].as_str())), "{} {}", row.methods[0], row.path);
        }
    }
}
