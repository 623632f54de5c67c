//! Rounds.

use crate::domain::base::ids::{PropertyId, RoundId, SystemId};
use crate::domain::context::Context;
use crate::domain::model::round::RoundFilter;
use crate::domain::rules::rounds::figures::ProposalRequest;
use crate::domain::use_cases::rounds::{keep, propose as proposals};
use crate::http::access::{Reader, Version, Writer, known_word};
use crate::http::acting::Cx;
use crate::http::body::Json;
use crate::http::conditional::{compound, hashed, page};
use crate::http::idempotent::{Reply, once};
use crate::http::problem::ApiError;
use crate::http::query::{Query, entries};
use crate::http::wire::round::report;
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::{NaiveDate, Weekday};
use eavesward_contract as wire;
use serde::Deserialize;
use uuid::Uuid;

type Answer = Result<HttpResponse, ApiError>;

/// What to put together, and what things cost. Costs are in any unit: only their ratios count.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct ProposalQuery {
    /// The first day; today by UTC when absent.
    pub from: Option<NaiveDate>,
    /// The last day, at most half a year on; four weeks in all when absent.
    pub to: Option<NaiveDate>,
    /// Tasks at this property alone.
    pub property_id: Option<Uuid>,
    /// Tasks of this system alone.
    pub system_id: Option<Uuid>,
    /// Days of the week without work, separated by commas, such as `sat,sun`; none when absent.
    pub off_weekdays: Option<String>,
    /// Dates without work, separated by commas, such as `2026-04-03,2026-04-06`; none when absent.
    pub off_dates: Option<String>,
    /// Whether tasks of rounds that are planned already are put into rounds as well; `false` when absent.
    #[serde(default)]
    #[param(required = false)]
    pub include_planned: bool,
    /// What a trip costs; 60 when absent (judgement).
    pub trip_cost: Option<f64>,
    /// What each property of a trip beyond the first costs, not more than the trip; 15 when absent (judgement).
    pub stop_cost: Option<f64>,
    /// What a day early costs; 0.5 when absent (judgement).
    pub cost_per_day_early: Option<f64>,
    /// What a day late costs; 2 when absent (judgement).
    pub cost_per_day_late: Option<f64>,
    /// The most minutes of work of a trip, ways left out; 360 when absent (judgement).
    pub most_minutes: Option<u32>,
    /// How near properties are that may share a trip, km along the great circle, each to each; 0, every property by
    /// itself, when absent.
    pub nearby_km: Option<f64>,
}

/// Which kept rounds to list.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct RoundsQuery {
    /// Those in this state; all when absent.
    #[param(inline)]
    pub state: Option<wire::RoundState>,
    /// Those planned for this day or later.
    pub from: Option<NaiveDate>,
    /// Those planned for this day or earlier.
    pub to: Option<NaiveDate>,
    /// `next_cursor` of the page before; from the start when absent.
    pub cursor: Option<String>,
    /// Rows of a page, 1 to 50 since each may have 500 tasks; 50 when absent.
    pub limit: Option<u32>,
}

impl ProposalQuery {
    fn ask(&self) -> Result<ProposalRequest, ApiError> {
        let weekdays = self.off_weekdays.as_deref();
        let known = "one of mon, tue, wed, thu, fri, sat, sun";
        let off_weekdays = entries("off_weekdays", weekdays, known, |word| {
            WEEKDAYS.iter().find(|(known, _)| *known == word).map(|(_, day)| *day)
        })?;
        let known = "a date such as 2026-04-03";
        let off_dates =
            entries("off_dates", self.off_dates.as_deref(), known, |word| word.parse::<NaiveDate>().ok())?;
        Ok(ProposalRequest {
            from: self.from,
            to: self.to,
            property_id: self.property_id.map(PropertyId),
            system_id: self.system_id.map(SystemId),
            off_weekdays,
            off_dates,
            include_planned: self.include_planned,
            trip_cost: self.trip_cost,
            stop_cost: self.stop_cost,
            cost_per_day_early: self.cost_per_day_early,
            cost_per_day_late: self.cost_per_day_late,
            most_minutes: self.most_minutes,
            nearby_km: self.nearby_km,
        })
    }
}

/// The days of the week, by the words that stand for them.
pub const WEEKDAYS: [(&str, Weekday); 7] = [
    ("mon", Weekday::Mon),
    ("tue", Weekday::Tue),
    ("wed", Weekday::Wed),
    ("thu", Weekday::Thu),
    ("fri", Weekday::Fri),
    ("sat", Weekday::Sat),
    ("sun", Weekday::Sun),
];

/// Put tasks together into rounds
///
/// The plan has the tasks that fall due up to `to`, overdue ones included. It also has tanks that fall due up to 92 days
/// later and are best emptied by then. Trips, days early and days late cost as little as possible. Nothing is stored.
///
/// The plan of a single property is exact while its trips have room, or while at most ten tasks depend on each other.
/// Otherwise, and across nearby properties, it is a heuristic. `lower_bound` is a cost that no plan can be below.
/// At most 2,000 tasks are planned at once; more are refused. A kept round reserves its tasks until its day ends. After that `overdue_rounds` names
/// it, to be reported or cancelled.
#[utoipa::path(get, path = "/v1/rounds/proposal", tag = "rounds", operation_id = "propose_rounds", params(ProposalQuery),
    responses((status = 200, description = "The rounds", body = wire::RoundProposal)))]
pub async fn propose(req: HttpRequest, caller: Reader, cx: Cx, query: Query<ProposalQuery>) -> Answer {
    let found = proposals::propose(&cx, caller.0, &query.ask()?).await?;
    hashed(&req, &wire::RoundProposal::from(found))
}

/// Keep a round as planned
///
/// Its tasks are not proposed again until its day is over, it is done or cancelled. A task stands in one planned round at
/// most. Another visit may do one of the tasks first: the round then no longer asks for it. This holds for visits from a
/// month before the round was kept.
#[utoipa::path(post, path = "/v1/rounds", tag = "rounds", operation_id = "keep_round",
    request_body = wire::RoundRequest,
    responses((status = 201, description = "The round", body = wire::Round)))]
pub async fn keep(req: HttpRequest, caller: Writer, cx: Cx, body: Json<wire::RoundRequest>) -> Answer {
    let cx: &Context = &cx;
    once(cx, caller.0, &req, body.hash, |seed| async move {
        let made = wire::Round::from(keep::keep(cx, caller.0, RoundId(seed), body.value.into()).await?);
        Reply::created(format!("/v1/rounds/{}", made.id), made.version, &made)
    })
    .await
}

/// List kept rounds
///
/// By the day they are planned for, those that were done included. At most 50 a page.
#[utoipa::path(get, path = "/v1/rounds", tag = "rounds", operation_id = "list_rounds", params(RoundsQuery),
    responses((status = 200, description = "One page of rounds", body = wire::Page<wire::Round>)))]
pub async fn list(req: HttpRequest, caller: Reader, cx: Cx, query: Query<RoundsQuery>) -> Answer {
    let state = query.state.map(|state| known_word("state", state, "planned, done")).transpose()?;
    let filter = RoundFilter { state, from: query.from, to: query.to };
    let found = keep::list(&cx, caller.0, &filter, query.cursor.as_deref(), query.limit).await?;
    page::<_, wire::Round>(&req, found)
}

/// Show a kept round
///
/// With its version and a hash of the rest as `ETag`: names are those of now.
#[utoipa::path(get, path = "/v1/rounds/{id}", tag = "rounds", operation_id = "get_round",
    params(("id" = Uuid, Path, description = "Id of the round")),
    responses((status = 200, description = "The round", body = wire::Round)))]
pub async fn get(req: HttpRequest, caller: Reader, cx: Cx, id: web::Path<Uuid>) -> Answer {
    let found = wire::Round::from(keep::get(&cx, caller.0, RoundId(*id)).await?);
    compound(&req, found.version, &found)
}

/// Call a planned round off
///
/// It is gone, and its tasks are proposed again. One that was done stays.
#[utoipa::path(delete, path = "/v1/rounds/{id}", tag = "rounds", operation_id = "cancel_round",
    params(
        ("id" = Uuid, Path, description = "Id of the round"),
        ("If-Match" = String, Header, description = "The version that was read, such as \"3\""),
    ),
    responses((status = 204, description = "It is gone")))]
pub async fn cancel(caller: Writer, cx: Cx, id: web::Path<Uuid>, version: Version) -> Answer {
    keep::cancel(&cx, caller.0, RoundId(*id), version.0).await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Report a round as done
///
/// Logs one visit for each system: all of them or none. Tasks that the report does not name count as done. Tasks that
/// another visit has done since the round was kept are not logged again; the answer has them with `done_elsewhere`.
/// The same report twice, or an empty one, changes nothing: the answer has the same visits and `reported_before`. A second
/// report that differs is refused, and the refusal names the visits to correct.
#[utoipa::path(post, path = "/v1/rounds/{id}/done", tag = "rounds", operation_id = "finish_round",
    params(("id" = Uuid, Path, description = "Id of the round")),
    request_body = wire::RoundDoneRequest,
    responses((status = 200, description = "The round and its visits", body = wire::RoundDone)))]
pub async fn finish(
    req: HttpRequest,
    caller: Writer,
    cx: Cx,
    id: web::Path<Uuid>,
    body: Json<wire::RoundDoneRequest>,
) -> Answer {
    let cx: &Context = &cx;
    once(cx, caller.0, &req, body.hash, |_| async move {
        let done = keep::finish(cx, caller.0, RoundId(*id), report(body.value)?).await?;
        let done = wire::RoundDone::from(done);
        Reply::done(done.round.version, &done)
    })
    .await
}
