//! Skill: how well past forecasts met what visits found.

use crate::domain::base::error::{Error, Result};
use crate::domain::base::ids::SystemId;
use crate::domain::base::paging::ListPage;
use crate::domain::model::skill::SkillFilter;
use crate::domain::use_cases::skill;
use crate::http::access::Reader;
use crate::http::acting::Cx;
use crate::http::conditional::page;
use crate::http::problem::ApiError;
use crate::http::query::Query;
use crate::http::wire::duty::UNKNOWN_DUTY;
use actix_web::{HttpRequest, HttpResponse};
use chrono::NaiveDate;
use eavesward_contract as wire;
use serde::Deserialize;
use uuid::Uuid;

type Answer = std::result::Result<HttpResponse, ApiError>;

/// Which findings count.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct SkillQuery {
    /// Those on this system.
    pub system_id: Option<Uuid>,
    /// Those of visits on or after this day.
    pub from: Option<NaiveDate>,
    /// Those of visits on or before this day.
    pub to: Option<NaiveDate>,
}

/// Which answered forecasts to list.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct AnswersQuery {
    /// Those of this system.
    pub system_id: Option<Uuid>,
    /// Those of this duty.
    pub duty: Option<wire::Duty>,
    /// Those of visits on or after this day.
    pub from: Option<NaiveDate>,
    /// Those of visits on or before this day.
    pub to: Option<NaiveDate>,
    /// `next_cursor` of the page before; from the start when absent.
    pub cursor: Option<String>,
    /// Rows of a page, 1 to 500; 100 when absent.
    pub limit: Option<u32>,
}

impl AnswersQuery {
    fn filter(&self) -> Result<SkillFilter> {
        let duty = self.duty.clone().map(TryInto::try_into).transpose();
        Ok(SkillFilter {
            system_id: self.system_id.map(SystemId),
            duty: duty.map_err(|()| Error::field("duty", UNKNOWN_DUTY))?,
            from: self.from,
            to: self.to,
        })
    }
}

/// How well duties were predicted
///
/// For every duty with findings that answered a forecast: how many, how many fell inside the predicted range, and which way
/// the others lie. All in one page. A finding counts a moment after its visit is logged.
#[utoipa::path(get, path = "/v1/skill", tag = "skill", operation_id = "get_skill", params(SkillQuery),
    responses((status = 200, description = "The duties", body = wire::Page<wire::DutySkill>)))]
pub async fn by_duty(req: HttpRequest, caller: Reader, cx: Cx, query: Query<SkillQuery>) -> Answer {
    let filter =
        SkillFilter { system_id: query.system_id.map(SystemId), duty: None, from: query.from, to: query.to };
    let items = skill::by_duty(&cx, caller.0, &filter).await?;
    page::<_, wire::DutySkill>(&req, ListPage { items, next: None })
}

/// List answered forecasts
///
/// What had been predicted for the day of a visit, and what it found; latest visit first.
#[utoipa::path(get, path = "/v1/skill/answers", tag = "skill", operation_id = "list_answers", params(AnswersQuery),
    responses((status = 200, description = "One page of answered forecasts", body = wire::Page<wire::AnsweredForecast>)))]
pub async fn answers(req: HttpRequest, caller: Reader, cx: Cx, query: Query<AnswersQuery>) -> Answer {
    let found = skill::list(&cx, caller.0, &query.filter()?, query.cursor.as_deref(), query.limit).await?;
    page::<_, wire::AnsweredForecast>(&req, found)
}
