//! A plain [`Request`] for every call of the API. Nothing here does I/O.
//!
//! Functions that take a body give an error only if it cannot be written as JSON.

use crate::query::{
    AnswerQuery, ComponentQuery, DeliveryQuery, DigestFormat, DigestQuery, KeptRoundQuery, ListQuery,
    RainFileOptions, RainQuery, ReminderQuery, RoundQuery, SkillQuery, SystemQuery, TaskQuery, VisitQuery,
    word,
};
use crate::{Error, Request};
use chrono::NaiveDate;
use eavesward_contract as contract;
use std::fmt::Display;
use uuid::Uuid;

/// `GET /v1/account`.
pub fn account() -> Request {
    Request::get("/v1/account")
}

/// `GET /v1/keys`.
pub fn list_keys(query: &ListQuery) -> Request {
    paged(Request::get("/v1/keys"), query)
}

/// `POST /v1/keys`.
pub fn create_key(key: &contract::KeyRequest) -> Result<Request, Error> {
    Request::post("/v1/keys").json(key)
}

/// `DELETE /v1/keys/{id}`: revokes the key.
pub fn revoke_key(id: Uuid) -> Request {
    Request::delete(at("keys", id))
}

/// `GET /v1/calendars`.
pub fn list_calendars(query: &ListQuery) -> Request {
    paged(Request::get("/v1/calendars"), query)
}

/// `POST /v1/calendars`.
pub fn create_calendar(calendar: &contract::CalendarRequest) -> Result<Request, Error> {
    Request::post("/v1/calendars").json(calendar)
}

/// `DELETE /v1/calendars/{id}`: revokes the feed.
pub fn revoke_calendar(id: Uuid) -> Request {
    Request::delete(at("calendars", id))
}

/// `GET /calendars/{token}.ics`: what the feed with this path says.
pub fn read_calendar(path: &str) -> Request {
    Request::get(path)
}

/// `GET /v1/duties`. The service gives all in one page, which has no limit to choose.
pub fn list_duties(cursor: Option<&str>) -> Request {
    Request::get("/v1/duties").query_some("cursor", cursor)
}

/// `GET /v1/duties/{duty}`.
pub fn duty(duty: contract::Duty) -> Request {
    Request::get(at("duties", word(&duty)))
}

/// `PUT /v1/duties/{duty}` with `If-Match`; what is absent goes back to the default.
pub fn update_duty(
    duty: contract::Duty,
    version: i64,
    settings: &contract::DutySettingsRequest,
) -> Result<Request, Error> {
    Request::put(at("duties", word(&duty))).if_match(version).json(settings)
}

/// `GET /v1/properties`.
pub fn list_properties(query: &ListQuery) -> Request {
    paged(Request::get("/v1/properties"), query)
}

/// `POST /v1/properties`.
pub fn create_property(property: &contract::PropertyRequest) -> Result<Request, Error> {
    Request::post("/v1/properties").json(property)
}

/// `GET /v1/properties/{id}`.
pub fn property(id: Uuid) -> Request {
    Request::get(at("properties", id))
}

/// `PUT /v1/properties/{id}` with `If-Match`.
pub fn update_property(
    id: Uuid,
    version: i64,
    property: &contract::PropertyRequest,
) -> Result<Request, Error> {
    Request::put(at("properties", id)).if_match(version).json(property)
}

/// `DELETE /v1/properties/{id}` with `If-Match`.
pub fn delete_property(id: Uuid, version: i64) -> Request {
    Request::delete(at("properties", id)).if_match(version)
}

/// `GET /v1/gauges`.
pub fn list_gauges(query: &ListQuery) -> Request {
    paged(Request::get("/v1/gauges"), query)
}

/// `POST /v1/gauges`.
pub fn create_gauge(gauge: &contract::GaugeRequest) -> Result<Request, Error> {
    Request::post("/v1/gauges").json(gauge)
}

/// `GET /v1/gauges/{id}`.
pub fn gauge(id: Uuid) -> Request {
    Request::get(at("gauges", id))
}

/// `PUT /v1/gauges/{id}` with `If-Match`.
pub fn update_gauge(id: Uuid, version: i64, gauge: &contract::GaugeRequest) -> Result<Request, Error> {
    Request::put(at("gauges", id)).if_match(version).json(gauge)
}

/// `DELETE /v1/gauges/{id}` with `If-Match`.
pub fn delete_gauge(id: Uuid, version: i64) -> Request {
    Request::delete(at("gauges", id)).if_match(version)
}

/// `PUT /v1/gauges/{id}/rain` as JSON: an upsert by date.
pub fn put_rain(id: Uuid, rain: &contract::RainRequest, all_or_nothing: bool) -> Result<Request, Error> {
    Request::put(below("gauges", id, "rain"))
        .query_some("all_or_nothing", all_or_nothing.then_some(true))
        .json(rain)
}

/// `PUT /v1/gauges/{id}/rain` as CSV: an upsert by date.
pub fn put_rain_csv(id: Uuid, text: impl Into<Vec<u8>>, options: &RainFileOptions) -> Request {
    options.put_on(Request::put(below("gauges", id, "rain"))).csv(text)
}

/// `GET /v1/gauges/{id}/rain`.
pub fn list_rain(id: Uuid, query: &RainQuery) -> Request {
    Request::get(below("gauges", id, "rain"))
        .query_some("from", query.from)
        .query_some("to", query.to)
        .query_some("limit", query.limit)
        .query_some("cursor", query.cursor.as_deref())
}

/// `DELETE /v1/gauges/{id}/rain`: forgets the readings from one day to another, both included.
pub fn delete_rain(id: Uuid, from: NaiveDate, to: NaiveDate) -> Request {
    Request::delete(below("gauges", id, "rain")).query("from", from).query("to", to)
}

/// `GET /v1/systems`.
pub fn list_systems(query: &SystemQuery) -> Request {
    Request::get("/v1/systems")
        .query_some("property_id", query.property_id)
        .query_some("gauge_id", query.gauge_id)
        .query_some("limit", query.limit)
        .query_some("cursor", query.cursor.as_deref())
}

/// `POST /v1/systems`.
pub fn create_system(system: &contract::SystemCreateRequest) -> Result<Request, Error> {
    Request::post("/v1/systems").json(system)
}

/// `GET /v1/systems/{id}`.
pub fn system(id: Uuid) -> Request {
    Request::get(at("systems", id))
}

/// `PUT /v1/systems/{id}` with `If-Match`.
pub fn update_system(
    id: Uuid,
    version: i64,
    system: &contract::SystemUpdateRequest,
) -> Result<Request, Error> {
    Request::put(at("systems", id)).if_match(version).json(system)
}

/// `GET /v1/systems/{id}/components`.
pub fn list_components(system: Uuid, query: &ComponentQuery) -> Request {
    Request::get(below("systems", system, "components"))
        .query_some("include_removed", query.include_removed.then_some(true))
        .query_some("cursor", query.cursor.as_deref())
}

/// `POST /v1/systems/{id}/components`.
pub fn add_component(system: Uuid, component: &contract::ComponentRequest) -> Result<Request, Error> {
    Request::post(below("systems", system, "components")).json(component)
}

/// `GET /v1/components/{id}`.
pub fn component(id: Uuid) -> Request {
    Request::get(at("components", id))
}

/// `PUT /v1/components/{id}` with `If-Match`: corrects what is known of it.
pub fn update_component(
    id: Uuid,
    version: i64,
    component: &contract::ComponentRequest,
) -> Result<Request, Error> {
    Request::put(at("components", id)).if_match(version).json(component)
}

/// `POST /v1/components/{id}/replace`.
pub fn replace_component(id: Uuid, replace: &contract::ReplaceRequest) -> Result<Request, Error> {
    Request::post(below("components", id, "replace")).json(replace)
}

/// `POST /v1/components/{id}/retire`.
pub fn retire_component(id: Uuid, retire: &contract::RetireRequest) -> Result<Request, Error> {
    Request::post(below("components", id, "retire")).json(retire)
}

/// `GET /v1/systems/{id}/forecast`, for the property's today when `as_of` is absent.
pub fn system_forecast(system: Uuid, as_of: Option<NaiveDate>) -> Request {
    Request::get(below("systems", system, "forecast")).query_some("as_of", as_of)
}

/// `GET /v1/systems/{id}/status`.
pub fn system_status(system: Uuid) -> Request {
    Request::get(below("systems", system, "status"))
}

/// `GET /v1/systems/{id}/status/events`: server-sent events, which only [`crate::Systems::events`] reads.
///
/// # Errors
/// `last_event_id` has characters that cannot stand in a header.
pub fn system_status_events(system: Uuid, last_event_id: Option<&str>) -> Result<Request, Error> {
    let request = Request::get(below("systems", system, "status/events"));
    match last_event_id {
        Some(id) => request.header("last-event-id", id),
        None => Ok(request),
    }
}

/// `POST /v1/forecast`: a forecast of a system that nobody has registered.
pub fn forecast(request: &contract::ForecastRequest) -> Result<Request, Error> {
    Request::post("/v1/forecast").json(request)
}

/// `GET /v1/tasks`, soonest first, those without a date last.
pub fn list_tasks(query: &TaskQuery) -> Request {
    query.put_on(Request::get("/v1/tasks"))
}

/// `GET /v1/tasks/{id}`.
pub fn task(id: Uuid) -> Request {
    Request::get(at("tasks", id))
}

/// `GET /v1/subscriptions`.
pub fn list_subscriptions(query: &ListQuery) -> Request {
    paged(Request::get("/v1/subscriptions"), query)
}

/// `POST /v1/subscriptions`.
pub fn create_subscription(subscription: &contract::SubscriptionRequest) -> Result<Request, Error> {
    Request::post("/v1/subscriptions").json(subscription)
}

/// `GET /v1/subscriptions/{id}`.
pub fn subscription(id: Uuid) -> Request {
    Request::get(at("subscriptions", id))
}

/// `PUT /v1/subscriptions/{id}` with `If-Match`.
pub fn update_subscription(
    id: Uuid,
    version: i64,
    subscription: &contract::SubscriptionRequest,
) -> Result<Request, Error> {
    Request::put(at("subscriptions", id)).if_match(version).json(subscription)
}

/// `DELETE /v1/subscriptions/{id}` with `If-Match`.
pub fn delete_subscription(id: Uuid, version: i64) -> Request {
    Request::delete(at("subscriptions", id)).if_match(version)
}

/// `POST /v1/subscriptions/{id}/pause`.
pub fn pause_subscription(id: Uuid) -> Request {
    Request::post(below("subscriptions", id, "pause"))
}

/// `POST /v1/subscriptions/{id}/resume`.
pub fn resume_subscription(id: Uuid) -> Request {
    Request::post(below("subscriptions", id, "resume"))
}

/// `POST /v1/subscriptions/{id}/secret`: a new secret.
pub fn rotate_secret(id: Uuid) -> Request {
    Request::post(below("subscriptions", id, "secret"))
}

/// `POST /v1/subscriptions/{id}/test`.
pub fn test_subscription(id: Uuid) -> Request {
    Request::post(below("subscriptions", id, "test"))
}

/// `GET /v1/subscriptions/{id}/deliveries`.
pub fn list_deliveries(id: Uuid, query: &DeliveryQuery) -> Request {
    query.put_on(Request::get(below("subscriptions", id, "deliveries")))
}

/// `GET /v1/deliveries/{id}`.
pub fn delivery(id: Uuid) -> Request {
    Request::get(at("deliveries", id))
}

/// `POST /v1/deliveries/{id}/send`.
pub fn send_delivery_again(id: Uuid) -> Request {
    Request::post(below("deliveries", id, "send"))
}

/// `GET /v1/reminders`: a stretch of the feed.
pub fn pull_reminders(query: &ReminderQuery) -> Request {
    query.put_on(Request::get("/v1/reminders"))
}

/// `GET /v1/skill`. The service gives all in one page, which has no limit to choose.
pub fn skill(query: &SkillQuery) -> Request {
    Request::get("/v1/skill")
        .query_some("system_id", query.system_id)
        .query_some("from", query.from)
        .query_some("to", query.to)
}

/// `GET /v1/skill/answers`.
pub fn list_answers(query: &AnswerQuery) -> Request {
    Request::get("/v1/skill/answers")
        .query_some("system_id", query.system_id)
        .query_some("duty", query.duty.as_ref().map(word))
        .query_some("from", query.from)
        .query_some("to", query.to)
        .query_some("limit", query.limit)
        .query_some("cursor", query.cursor.as_deref())
}

/// `GET /v1/digest`.
pub fn digest(query: &DigestQuery) -> Request {
    query.put_on(Request::get("/v1/digest"))
}

/// `GET /v1/digest.{format}`.
pub fn digest_as(query: &DigestQuery, format: DigestFormat) -> Request {
    query.put_on(Request::get(format!("/v1/digest.{}", format.ending())))
}

/// `GET /v1/rounds`: puts tasks together into trips; nothing is stored.
pub fn propose_rounds(query: &RoundQuery) -> Request {
    query.put_on(Request::get("/v1/rounds"))
}

/// `POST /v1/rounds`: keeps a round as planned.
pub fn keep_round(round: &contract::RoundRequest) -> Result<Request, Error> {
    Request::post("/v1/rounds").json(round)
}

/// `GET /v1/rounds/planned`, those that were done included.
pub fn list_rounds(query: &KeptRoundQuery) -> Request {
    Request::get("/v1/rounds/planned")
        .query_some("state", query.state.as_ref().map(word))
        .query_some("from", query.from)
        .query_some("to", query.to)
        .query_some("limit", query.limit)
        .query_some("cursor", query.cursor.as_deref())
}

/// `GET /v1/rounds/{id}`.
pub fn round(id: Uuid) -> Request {
    Request::get(at("rounds", id))
}

/// `DELETE /v1/rounds/{id}` with `If-Match`: calls a planned round off.
pub fn call_off_round(id: Uuid, version: i64) -> Request {
    Request::delete(at("rounds", id)).if_match(version)
}

/// `POST /v1/rounds/{id}/done`: logs one visit a system.
pub fn finish_round(id: Uuid, report: &contract::RoundDoneRequest) -> Result<Request, Error> {
    Request::post(below("rounds", id, "done")).json(report)
}

/// `GET /v1/visits`.
pub fn list_visits(query: &VisitQuery) -> Request {
    Request::get("/v1/visits")
        .query_some("system_id", query.system_id)
        .query_some("from", query.from)
        .query_some("to", query.to)
        .query_some("include_withdrawn", query.include_withdrawn.then_some(true))
        .query_some("limit", query.limit)
        .query_some("cursor", query.cursor.as_deref())
}

/// `POST /v1/visits`.
pub fn log_visit(visit: &contract::VisitRequest) -> Result<Request, Error> {
    Request::post("/v1/visits").json(visit)
}

/// `GET /v1/visits/{id}`.
pub fn visit(id: Uuid) -> Request {
    Request::get(at("visits", id))
}

/// `PUT /v1/visits/{id}` with `If-Match`: corrects it; the visit as it stood is kept as a revision.
pub fn correct_visit(id: Uuid, version: i64, visit: &contract::VisitRequest) -> Result<Request, Error> {
    Request::put(at("visits", id)).if_match(version).json(visit)
}

/// `POST /v1/visits/{id}/withdraw`.
pub fn withdraw_visit(id: Uuid, withdraw: &contract::WithdrawRequest) -> Result<Request, Error> {
    Request::post(below("visits", id, "withdraw")).json(withdraw)
}

/// `GET /v1/visits/{id}/revisions`. The service gives all in one page, which has no limit to choose.
pub fn list_visit_revisions(id: Uuid, cursor: Option<&str>) -> Request {
    Request::get(below("visits", id, "revisions")).query_some("cursor", cursor)
}

fn paged(request: Request, query: &ListQuery) -> Request {
    request.query_some("limit", query.limit).query_some("cursor", query.cursor.as_deref())
}

fn at(resource: &str, id: impl Display) -> String {
    format!("/v1/{resource}/{id}")
}

fn below(resource: &str, id: impl Display, rest: &str) -> String {
    format!("/v1/{resource}/{id}/{rest}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use contract::{ComponentKind, Duty, DutySettingsRequest, RainDay, RainLayout, RainRequest, TaskState};

    fn query_of(request: &Request) -> String {
        request
            .query_pairs()
            .iter()
            .map(|(name, value)| format!("{name}={value}"))
            .collect::<Vec<_>>()
            .join("&")
    }

    fn day(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2031, 4, day).expect("a day in April")
    }

    #[test]
    fn tasks_carry_every_filter_in_the_words_of_the_wire() {
        let query = TaskQuery::builder()
            .system_id(Uuid::nil())
            .component_kind(ComponentKind::FirstFlushDiverter)
            .state([TaskState::Due, TaskState::Late])
            .within_days(7)
            .limit(500)
            .build();
        let request = list_tasks(&query);
        assert_eq!(request.method(), reqwest::Method::GET);
        assert_eq!(
            query_of(&request),
            "system_id=00000000-0000-0000-0000-000000000000&component_kind=first_flush_diverter\
             &state=due,late&within=P7D&limit=500"
        );
        assert_eq!(query_of(&list_tasks(&TaskQuery::default())), "");
    }

    #[test]
    fn rounds_carry_days_off_as_lists_and_only_figures_that_are_given() {
        let query = RoundQuery::builder()
            .from(day(1))
            .off_weekdays([chrono::Weekday::Sat, chrono::Weekday::Sun])
            .off_dates([day(3), day(6)])
            .trip_cost(80.5)
            .most_minutes(240)
            .build();
        assert_eq!(
            query_of(&propose_rounds(&query)),
            "from=2031-04-01&off_weekdays=sat,sun&off_dates=2031-04-03,2031-04-06&trip_cost=80.5&most_minutes=240"
        );
        assert_eq!(query_of(&propose_rounds(&RoundQuery::default())), "");
        let planned = KeptRoundQuery::builder().state(contract::RoundState::Planned).limit(5).build();
        assert_eq!(query_of(&list_rounds(&planned)), "state=planned&limit=5");
    }

    #[test]
    fn rain_files_say_how_they_are_laid_out() {
        let options = RainFileOptions::builder()
            .layout(RainLayout::GhcnDaily)
            .accumulated(crate::Accumulated::Refuse)
            .all_or_nothing(true)
            .build();
        let request = put_rain_csv(Uuid::nil(), "x", &options);
        assert_eq!(query_of(&request), "layout=ghcn_daily&accumulated=refuse&all_or_nothing=true");
        assert_eq!(request.body().expect("a body").content_type, "text/csv");
    }

    #[test]
    fn rain_as_json_is_what_the_contract_says() {
        let rain = RainRequest { days: vec![RainDay { date: day(3), rain_mm: 4.2 }] };
        let request = put_rain(Uuid::nil(), &rain, false).expect("plain numbers");
        let body = request.body().expect("a body");
        assert_eq!(body.bytes, br#"{"days":[{"date":"2031-04-03","rain_mm":4.2}]}"#);
        assert_eq!(query_of(&request), "");
        assert_eq!(query_of(&delete_rain(Uuid::nil(), day(1), day(30))), "from=2031-04-01&to=2031-04-30");
    }

    #[test]
    fn a_duty_is_named_by_its_word_and_only_what_is_set_is_sent() {
        let settings = DutySettingsRequest { ceiling_months: Some(2), ..DutySettingsRequest::default() };
        let request = update_duty(Duty::ClearWeepHole, 0, &settings).expect("plain numbers");
        assert_eq!(request.path(), "/v1/duties/clear_weep_hole");
        assert_eq!(request.headers()["if-match"], "\"0\"");
        assert_eq!(request.body().expect("a body").bytes, br#"{"ceiling_months":2}"#);
        assert_eq!(duty(Duty::CleanScreen).path(), "/v1/duties/clean_screen");
    }

    #[test]
    fn every_guarded_call_names_its_version() {
        let nil = Uuid::nil();
        for request in [delete_property(nil, 4), delete_gauge(nil, 4), call_off_round(nil, 4)] {
            assert_eq!(request.headers()["if-match"], "\"4\"");
        }
    }
}
