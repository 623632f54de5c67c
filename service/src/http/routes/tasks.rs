//! Tasks.

use crate::domain::base::clock;
use crate::domain::base::error::Error;
use crate::domain::base::ids::{PropertyId, SystemId, TaskId};
use crate::domain::context::Context;
use crate::domain::model::task::TaskFilter;
use crate::domain::model::{part, task};
use crate::domain::use_cases::tasks;
use crate::http::access::{SystemReader, known_word};
use crate::http::acting::Cx;
use crate::http::conditional::{hashed, page};
use crate::http::problem::ApiError;
use crate::http::query::{Query, entries};
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::NaiveDate;
use eavesward_contract as wire;
use serde::Deserialize;
use uuid::Uuid;

type Answer = Result<HttpResponse, ApiError>;

/// Which tasks to list.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct TasksQuery {
    /// Those at this property.
    pub property_id: Option<Uuid>,
    /// Those of this system.
    pub system_id: Option<Uuid>,
    /// Those of this kind of component.
    #[param(inline)]
    pub component_kind: Option<wire::ComponentKind>,
    /// Those in one of these states, set apart by commas: `resting`, `near`, `due`, `late`.
    pub state: Option<String>,
    /// Those due within this many days from today, including those that are due already. It is an ISO 8601 duration in
    /// days or weeks, such as `P7D`. Give it without `from` and `to`.
    #[param(pattern = "^P[0-9]{1,5}[DW]$")]
    pub within: Option<String>,
    /// Those due on or after this day.
    pub from: Option<NaiveDate>,
    /// Those due on or before this day.
    pub to: Option<NaiveDate>,
    /// `next_cursor` of the page before; from the start when absent.
    pub cursor: Option<String>,
    /// Rows of a page, 1 to 500; 100 when absent.
    pub limit: Option<u32>,
}

/// List tasks
///
/// By due date, those without a date last. A filter by date leaves those out. Rows are as of their last refresh, which
/// follows every change within seconds and every local midnight. A key of one system is shown that system's tasks.
#[utoipa::path(get, path = "/v1/tasks", tag = "tasks", operation_id = "list_tasks", params(TasksQuery),
    responses((status = 200, description = "One page of tasks", body = wire::Page<wire::Task>)))]
pub async fn list(req: HttpRequest, caller: SystemReader, cx: Cx, query: Query<TasksQuery>) -> Answer {
    let mut filter = filter(&cx, &query)?;
    filter.system_id = caller.reach.narrowed(filter.system_id)?;
    let found = tasks::list(&cx, caller.reach.account, &filter, query.cursor.as_deref(), query.limit).await?;
    page::<_, wire::Task>(&req, found)
}

/// Show a task
///
/// One component's duty.
#[utoipa::path(get, path = "/v1/tasks/{id}", tag = "tasks", operation_id = "get_task",
    params(("id" = Uuid, Path, description = "Id of the task")),
    responses((status = 200, description = "The task", body = wire::Task)))]
pub async fn get(req: HttpRequest, caller: SystemReader, cx: Cx, id: web::Path<Uuid>) -> Answer {
    hashed(&req, &wire::Task::from(tasks::get_within_reach(&cx, &caller.reach, TaskId(*id)).await?))
}

fn filter(cx: &Context, query: &TasksQuery) -> Result<TaskFilter, ApiError> {
    let kind = query
        .component_kind
        .clone()
        .map(|kind| known_word::<_, part::Kind>("component_kind", kind, "the kinds that /docs lists"))
        .transpose()?;
    let DayRange { from, to } =
        day_range(cx, query.within.as_deref(), DayRange { from: query.from, to: query.to })?;
    Ok(TaskFilter {
        property_id: query.property_id.map(PropertyId),
        system_id: query.system_id.map(SystemId),
        kind,
        states: entries(
            "state",
            query.state.as_deref(),
            "one of resting, near, due, late",
            task::State::parse,
        )?,
        from,
        to,
    })
}

/// The first and the last day of what a request asks for; open where there is none.
pub(super) struct DayRange {
    pub(super) from: Option<NaiveDate>,
    pub(super) to: Option<NaiveDate>,
}

/// The days that a request asks for, either by their number from today or by the first and the last.
pub(super) fn day_range(cx: &Context, within: Option<&str>, given: DayRange) -> Result<DayRange, ApiError> {
    let Some(within) = within else { return Ok(given) };
    if given.from.is_some() || given.to.is_some() {
        return Err(Error::field("within", "send either within, or from and to").into());
    }
    Ok(DayRange { from: None, to: clock::last_day(cx.clock.now(), days(within)?) })
}

/// Whole days of an ISO 8601 duration: `P7D`, `P2W`.
fn days(text: &str) -> Result<u64, ApiError> {
    let number = |text: &str| {
        let digits = (1..=5).contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_digit());
        text.parse::<u64>().ok().filter(|number| digits && *number <= 36_525)
    };
    let found = text.strip_prefix('P').and_then(|rest| {
        let days = rest.strip_suffix('D').and_then(number);
        days.or_else(|| rest.strip_suffix('W').and_then(number).map(|weeks| weeks * 7))
    });
    found.ok_or_else(|| {
        let message =
            format!("{text:?} is not a number of days or weeks such as P7D or P2W, up to a century");
        Error::field("within", message).into()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn durations_are_days_or_weeks() {
        assert_eq!(days("P7D").unwrap(), 7);
        assert_eq!(days("P2W").unwrap(), 14);
        assert_eq!(days("P0D").unwrap(), 0);
        for wrong in ["7", "P7", "PT7H", "P-1D", "P1Y", "P+7D", "P000007D", "", "P99999999999999999999D"] {
            assert!(days(wrong).is_err(), "{wrong}");
        }
    }
}
