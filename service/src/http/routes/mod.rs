//! The routes, a file a resource.

pub mod accounts;
pub mod calendars;
pub mod components;
pub mod digest;
pub mod duties;
pub mod forecasts;
pub mod gauges;
pub mod properties;
pub mod rain;
pub mod reminders;
pub mod rounds;
pub mod skill;
pub mod status;
pub mod subscriptions;
pub mod systems;
pub mod tasks;
pub mod visits;

use super::problem::ApiError;
use actix_web::web::{self, ServiceConfig, delete, get, post, put};
use actix_web::{Resource, Route};

/// The largest JSON body.
pub const JSON_LIMIT: usize = 2 * 1024 * 1024;
/// The largest rain body: fifty years of station lines with a dozen elements a day stay under it.
pub const RAIN_LIMIT: usize = 32 * 1024 * 1024;

/// A path with its methods; any other method is answered `405` with what there is.
pub fn at(path: &str, methods: Vec<(&'static str, Route)>) -> Resource {
    let allow = methods.iter().map(|(method, _)| *method).collect::<Vec<_>>().join(", ");
    let resource = web::resource(path.to_owned());
    methods.into_iter().fold(resource, |resource, (_, route)| resource.route(route)).default_service(web::to(
        move || {
            let refusal = ApiError::method_not_allowed(&allow);
            async move { Err::<actix_web::HttpResponse, _>(refusal) }
        },
    ))
}

/// Everything under `/v1`, to be put behind [`super::authenticate`].
pub fn configure(cfg: &mut ServiceConfig) {
    cfg.service(at("/account", vec![("GET", get().to(accounts::account))]))
        .service(at(
            "/keys",
            vec![("GET", get().to(accounts::keys)), ("POST", post().to(accounts::create_key))],
        ))
        .service(at("/keys/{id}", vec![("DELETE", delete().to(accounts::revoke_key))]))
        .service(at(
            "/calendars",
            vec![("GET", get().to(calendars::list)), ("POST", post().to(calendars::create))],
        ))
        .service(at("/calendars/{id}", vec![("DELETE", delete().to(calendars::revoke))]))
        .service(at("/duties", vec![("GET", get().to(duties::list))]))
        .service(at(
            "/duties/{duty}",
            vec![("GET", get().to(duties::get)), ("PUT", put().to(duties::update))],
        ))
        .service(at(
            "/properties",
            vec![("GET", get().to(properties::list)), ("POST", post().to(properties::create))],
        ))
        .service(at(
            "/properties/{id}",
            vec![
                ("GET", get().to(properties::get)),
                ("PUT", put().to(properties::update)),
                ("DELETE", delete().to(properties::remove)),
            ],
        ))
        .service(at("/gauges", vec![("GET", get().to(gauges::list)), ("POST", post().to(gauges::create))]))
        .service(at(
            "/gauges/{id}",
            vec![
                ("GET", get().to(gauges::get)),
                ("PUT", put().to(gauges::update)),
                ("DELETE", delete().to(gauges::remove)),
            ],
        ))
        .service(
            at(
                "/gauges/{id}/rain",
                vec![
                    ("GET", get().to(rain::list)),
                    ("PUT", put().to(rain::upsert)),
                    ("DELETE", delete().to(rain::remove)),
                ],
            )
            .app_data(web::PayloadConfig::new(RAIN_LIMIT)),
        )
        .configure(of_systems)
        .service(at("/tasks", vec![("GET", get().to(tasks::list))]))
        .service(at("/tasks/{id}", vec![("GET", get().to(tasks::get))]))
        .service(at("/reminders", vec![("GET", get().to(reminders::pull))]))
        .service(at("/digest", vec![("GET", get().to(digest::accepted))]))
        .service(at("/digest.{format}", vec![("GET", get().to(digest::by_ending))]))
        .configure(carried)
        .service(at("/skill", vec![("GET", get().to(skill::by_duty))]))
        .service(at("/skill/answers", vec![("GET", get().to(skill::answers))]))
        .configure(trips)
        .service(at("/visits", vec![("GET", get().to(visits::list)), ("POST", post().to(visits::log))]))
        .service(at("/visits/{id}", vec![("GET", get().to(visits::get)), ("PUT", put().to(visits::correct))]))
        .service(at("/visits/{id}/withdraw", vec![("POST", post().to(visits::withdraw))]))
        .service(at("/visits/{id}/revisions", vec![("GET", get().to(visits::revisions))]))
        .service(
            at("/forecast", vec![("POST", post().to(forecasts::stateless))])
                .app_data(web::PayloadConfig::new(RAIN_LIMIT)),
        );
}

/// Systems and what belongs to one.
fn of_systems(cfg: &mut ServiceConfig) {
    cfg.service(at("/systems", vec![("GET", get().to(systems::list)), ("POST", post().to(systems::create))]))
        .service(at(
            "/systems/{id}",
            vec![("GET", get().to(systems::get)), ("PUT", put().to(systems::update))],
        ))
        .service(at(
            "/systems/{id}/components",
            vec![("GET", get().to(components::list)), ("POST", post().to(components::add))],
        ))
        .service(at("/systems/{id}/forecast", vec![("GET", get().to(forecasts::of_system))]))
        .service(at("/systems/{id}/status", vec![("GET", get().to(status::get))]))
        .service(at("/systems/{id}/status/events", vec![("GET", get().to(status::events))]))
        .service(at(
            "/components/{id}",
            vec![("GET", get().to(components::get)), ("PUT", put().to(components::update))],
        ))
        .service(at("/components/{id}/replace", vec![("POST", post().to(components::replace))]))
        .service(at("/components/{id}/retire", vec![("POST", post().to(components::retire))]));
}

/// What is posted to whom.
fn carried(cfg: &mut ServiceConfig) {
    cfg.service(at(
        "/subscriptions",
        vec![("GET", get().to(subscriptions::list)), ("POST", post().to(subscriptions::create))],
    ))
    .service(at(
        "/subscriptions/{id}",
        vec![
            ("GET", get().to(subscriptions::get)),
            ("PUT", put().to(subscriptions::update)),
            ("DELETE", delete().to(subscriptions::remove)),
        ],
    ))
    .service(at("/subscriptions/{id}/pause", vec![("POST", post().to(subscriptions::pause))]))
    .service(at("/subscriptions/{id}/resume", vec![("POST", post().to(subscriptions::resume))]))
    .service(at("/subscriptions/{id}/secret", vec![("POST", post().to(subscriptions::rotate))]))
    .service(at("/subscriptions/{id}/test", vec![("POST", post().to(subscriptions::test))]))
    .service(at("/subscriptions/{id}/deliveries", vec![("GET", get().to(subscriptions::deliveries))]))
    .service(at("/deliveries/{id}", vec![("GET", get().to(subscriptions::delivery))]))
    .service(at("/deliveries/{id}/send", vec![("POST", post().to(subscriptions::send_again))]));
}

/// Tasks put together into trips.
fn trips(cfg: &mut ServiceConfig) {
    cfg.service(at("/rounds", vec![("GET", get().to(rounds::propose)), ("POST", post().to(rounds::keep))]))
        .service(at("/rounds/planned", vec![("GET", get().to(rounds::list))]))
        .service(at(
            "/rounds/{id}",
            vec![("GET", get().to(rounds::get)), ("DELETE", delete().to(rounds::call_off))],
        ))
        .service(at("/rounds/{id}/done", vec![("POST", post().to(rounds::finish))]));
}

/// Where a list goes on, and how many rows to give.
#[derive(Debug, serde::Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct Paging {
    /// `next_cursor` of the page before; from the start when absent.
    pub cursor: Option<String>,
    /// Rows of a page, 1 to 500; 100 when absent.
    #[param(minimum = 1, maximum = 500)]
    pub limit: Option<u32>,
}
