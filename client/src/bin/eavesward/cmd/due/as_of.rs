//! The list of another day (`--as-of`), from one forecast per system.

use super::args::Due;
use super::rows::{self, Row};
use crate::app::{App, PAGE};
use crate::failure::Failure;
use chrono::{Days, NaiveDate};
use eavesward_client::contract::{DutyForecast, System, TaskState};
use eavesward_client::{ForecastQuery, ListQuery, SystemQuery};
use serde::Serialize;
use std::collections::HashMap;
use uuid::Uuid;

/// A duty as of that day, with its place.
#[derive(Serialize)]
struct DutyThen {
    property_id: Uuid,
    property_name: String,
    system_id: Uuid,
    system_name: String,
    as_of: NaiveDate,
    #[serde(flatten)]
    duty: DutyForecast,
}

impl<'a> From<&'a DutyThen> for Row<'a> {
    fn from(then: &'a DutyThen) -> Self {
        Self {
            due_on: then.duty.due_on,
            state: then.duty.state,
            property: &then.property_name,
            system_id: Some(then.system_id),
            system: &then.system_name,
            component: Some(&then.duty.component_name),
            duty: &then.duty.duty,
            title: &then.duty.title,
            decided_by: then.duty.decided_by,
            accumulated: then.duty.accumulated.as_ref(),
            limit: then.duty.limit.as_ref(),
            bring: &then.duty.bring,
            cautions: &then.duty.cautions,
        }
    }
}

/// Prints the list of that day. Returns whether anything on it was late.
pub async fn run(due: &Due, day: NaiveDate, app: &mut App<'_>) -> Result<bool, Failure> {
    let systems = systems(due, app).await?;
    let property_names = property_names(app, &systems).await?;
    let mut list = Vec::new();
    for system in &systems {
        let query = ForecastQuery::builder().as_of(day).build();
        let forecast = app.client.systems().forecast(system.id, &query).await?;
        let place = property_names.get(&system.property_id);
        list.extend(forecast.duties.into_iter().map(|duty| DutyThen {
            property_id: system.property_id,
            property_name: place.cloned().unwrap_or_else(|| system.property_id.to_string()),
            system_id: system.id,
            system_name: system.name.clone(),
            as_of: forecast.as_of,
            duty,
        }));
    }
    list.retain(|then| wanted(due, day, then));
    // Duties without a date come last. The other keys make the order stable.
    list.sort_by(|a, b| {
        let key = |then: &DutyThen| {
            (then.duty.due_on.is_none(), then.duty.due_on, then.system_id, then.duty.duty.clone())
        };
        key(a).cmp(&key(b)).then_with(|| a.duty.component_name.cmp(&b.duty.component_name))
    });
    if app.json {
        app.print_json(&list)?;
    } else {
        let rows: Vec<Row<'_>> = list.iter().map(Row::from).collect();
        rows::print(due, app, &rows).await?;
    }
    Ok(list.iter().any(|then| then.duty.state == TaskState::Late))
}

async fn systems(due: &Due, app: &App<'_>) -> Result<Vec<System>, Failure> {
    let property = match &due.property {
        Some(given) => Some(app.property_id(given).await?),
        None => None,
    };
    let Some(given) = &due.system else {
        let mut query = SystemQuery::builder().limit(PAGE).build();
        query.property_id = property;
        return Ok(app.client.systems().list(&query).all().await?);
    };
    let system = app.client.systems().get(app.system_id(given).await?).await?;
    let there = property.is_none_or(|property| property == system.property_id);
    Ok(if there { vec![system] } else { Vec::new() })
}

/// The names of the properties.
async fn property_names(app: &App<'_>, systems: &[System]) -> Result<HashMap<Uuid, String>, Failure> {
    let properties = match systems {
        [] => Vec::new(),
        [one] => vec![app.client.properties().get(one.property_id).await?],
        _ => app.client.properties().list(&ListQuery::builder().limit(PAGE).build()).all().await?,
    };
    Ok(properties.into_iter().map(|property| (property.id, property.name)).collect())
}

/// Whether a duty is wanted, by the same rules as the service's list of today.
fn wanted(due: &Due, day: NaiveDate, then: &DutyThen) -> bool {
    let last =
        due.days_on().map(|days| day.checked_add_days(Days::new(days.into())).unwrap_or(NaiveDate::MAX));
    let last = last.or(due.to);
    let in_window = match then.duty.due_on {
        Some(on) => last.is_none_or(|last| on <= last) && due.from.is_none_or(|first| on >= first),
        None => last.is_none() && due.from.is_none(),
    };
    in_window
        && (due.state.is_empty() || due.state.contains(&then.duty.state))
        && due.kind.as_ref().is_none_or(|kind| *kind == then.duty.component_kind)
}
