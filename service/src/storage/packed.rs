//! What a refresh computed for one system, packed: its status and the forecast of each duty.
//!
//! It is read one line at a time, and written whole for every system every day. Its size and its speed decide
//! how long a refresh of many systems takes. So it is compressed JSON: one line for the status and one for
//! each task. It leaves out what the rows beside it already say. It compresses well, because the lines of all
//! systems share most of their words.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{ComponentId, SystemId, TaskId};
use crate::domain::model::duty::{DecidedBy, Duty};
use crate::domain::model::forecast::{DutyForecast, Prediction};
use crate::domain::model::hazard::Hazard;
use crate::domain::model::part::Kind;
use crate::domain::model::reason::Reason;
use crate::domain::model::status::{NextDuty, RecentRunoff, RunoffSince, Status};
use crate::domain::model::task::{State, Task};
use crate::storage::errors::{bad, to_json};
use chrono::NaiveDate;
use lz4_flex::block::{compress_prepend_size_with_dict, decompress_size_prepended_with_dict};
use serde::{Deserialize, Serialize};
use std::borrow::Cow;
use std::collections::HashMap;
use uuid::Uuid;

/// Sample texts for the compression: words that they hold are not stored again. The first byte of a packed
/// row is the index of its sample text. So never change a sample text; append a newer one.
const TEXTS: [&[u8]; 2] = [include_bytes!("packed/1.txt"), include_bytes!("packed/2.txt")];

/// The status, without what other columns of its row say.
#[derive(Serialize, Deserialize)]
struct StatusLine<'a> {
    state: State,
    next: Vec<NextLine<'a>>,
    rain_through: Option<NaiveDate>,
    last_7_days: RecentRunoff,
    last_30_days: RecentRunoff,
    since_served: Vec<SinceLine<'a>>,
}

#[derive(Serialize, Deserialize)]
struct NextLine<'a> {
    task: TaskRef,
    component_name: Cow<'a, str>,
    duty: Duty,
    state: State,
    due_on: NaiveDate,
}

#[derive(Serialize, Deserialize)]
struct SinceLine<'a> {
    component_name: Cow<'a, str>,
    duty: Duty,
    since: NaiveDate,
    runoff_mm: f64,
    /// Rows of earlier versions have none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    task: Option<TaskRef>,
}

/// A task, named by its line, or by its id if it has no line.
#[derive(Serialize, Deserialize)]
#[serde(untagged)]
enum TaskRef {
    ForecastLine(usize),
    Id(TaskId),
}

/// The forecast of one task, without what the task's own row says.
#[derive(Serialize, Deserialize)]
struct ForecastLine<'a> {
    component_name: Cow<'a, str>,
    since: NaiveDate,
    decided_by: DecidedBy,
    ceiling_on: Option<NaiveDate>,
    own_ceiling: bool,
    prediction: Option<Cow<'a, Prediction>>,
    reasons: Cow<'a, [Reason]>,
    hazards: Cow<'a, [Hazard]>,
}

/// Tasks in the order of their lines; the first line is 1. The order changes only when the set of tasks
/// changes.
pub(super) fn lined(tasks: &[Task]) -> Vec<&Task> {
    let mut lined: Vec<&Task> = tasks.iter().collect();
    lined.sort_unstable_by_key(|task| task.id);
    lined
}

/// Packs a status and tasks that come from [`lined`].
pub(super) fn pack(status: &Status, lined: &[&Task]) -> Stored<Vec<u8>> {
    let lines: HashMap<TaskId, usize> = lined.iter().map(|task| task.id).zip(1..).collect();
    let named = |id: TaskId| lines.get(&id).map_or(TaskRef::Id(id), |line| TaskRef::ForecastLine(*line));
    let next = status.next.iter().map(|next| NextLine {
        task: named(next.task_id),
        component_name: Cow::Borrowed(&next.component_name),
        duty: next.duty,
        state: next.state,
        due_on: next.due_on,
    });
    let since = status.since_served.iter().map(|since| SinceLine {
        component_name: Cow::Borrowed(&since.component_name),
        duty: since.duty,
        since: since.since,
        runoff_mm: since.runoff_mm,
        task: since.task_id.map(named),
    });
    let mut text = to_json(&StatusLine {
        state: status.state,
        next: next.collect(),
        rain_through: status.rain_through,
        last_7_days: status.last_7_days,
        last_30_days: status.last_30_days,
        since_served: since.collect(),
    })?;
    for task in lined {
        let forecast = &task.forecast;
        // JSON text on one line holds no line break, so a line break can separate the lines.
        text.push('\n');
        text.push_str(&to_json(&ForecastLine {
            component_name: Cow::Borrowed(&forecast.component_name),
            since: forecast.since,
            decided_by: forecast.decided_by,
            ceiling_on: forecast.ceiling_on,
            own_ceiling: forecast.own_ceiling,
            prediction: forecast.prediction.as_ref().map(Cow::Borrowed),
            reasons: Cow::Borrowed(&forecast.reasons),
            hazards: Cow::Borrowed(&forecast.hazards),
        })?);
    }
    let with = TEXTS.len() - 1;
    let mut packed = vec![with as u8];
    packed.extend_from_slice(&compress_prepend_size_with_dict(text.as_bytes(), TEXTS[with]));
    Ok(packed)
}

/// A packed row, decompressed.
pub(super) struct Unpacked {
    text: String,
    row: Uuid,
}

impl Unpacked {
    /// Decompresses the packed row of a system; `row` names it in errors.
    pub(super) fn of(packed: &[u8], row: Uuid) -> Stored<Self> {
        let open = || {
            let (with, rest) = packed.split_first()?;
            let text = decompress_size_prepended_with_dict(rest, TEXTS.get(usize::from(*with))?).ok()?;
            String::from_utf8(text).ok()
        };
        open().map(|text| Self { text, row }).ok_or_else(|| bad("forecasts", "packed", &row))
    }

    fn line<'a, T: Deserialize<'a>>(&'a self, number: usize) -> Stored<T> {
        let read = || serde_json::from_str(self.text.split('\n').nth(number)?).ok();
        read().ok_or_else(|| bad("forecasts", "packed", &self.row))
    }

    /// The status. `ids` holds the ids of the system's tasks by line.
    pub(super) fn status(
        &self,
        system_id: SystemId,
        system_name: String,
        as_of: NaiveDate,
        ids: &HashMap<usize, TaskId>,
    ) -> Stored<Status> {
        let head: StatusLine<'_> = self.line(0)?;
        let id_of = |task| {
            let id = match task {
                TaskRef::Id(id) => Some(id),
                TaskRef::ForecastLine(line) => ids.get(&line).copied(),
            };
            id.ok_or_else(|| bad("forecasts", "packed", &self.row))
        };
        let next = head.next.into_iter().map(|next| {
            Ok(NextDuty {
                task_id: id_of(next.task)?,
                component_name: next.component_name.into_owned(),
                duty: next.duty,
                state: next.state,
                due_on: next.due_on,
            })
        });
        let since = head.since_served.into_iter().map(|since| {
            Ok(RunoffSince {
                task_id: since.task.map(id_of).transpose()?,
                component_name: since.component_name.into_owned(),
                duty: since.duty,
                since: since.since,
                runoff_mm: since.runoff_mm,
            })
        });
        Ok(Status {
            system_id,
            system_name,
            as_of,
            state: head.state,
            next: next.collect::<Stored<_>>()?,
            rain_through: head.rain_through,
            last_7_days: head.last_7_days,
            last_30_days: head.last_30_days,
            since_served: since.collect::<Stored<_>>()?,
        })
    }

    /// The forecast on a line, completed with the columns of its task's row.
    pub(super) fn forecast(
        &self,
        line: usize,
        component_id: ComponentId,
        kind: Kind,
        duty: Duty,
        due_on: Option<NaiveDate>,
    ) -> Stored<DutyForecast> {
        let line: ForecastLine<'_> = self.line(line)?;
        Ok(DutyForecast {
            component_id: Some(component_id),
            component_name: line.component_name.into_owned(),
            kind,
            duty,
            since: line.since,
            due_on,
            decided_by: line.decided_by,
            ceiling_on: line.ceiling_on,
            own_ceiling: line.own_ceiling,
            prediction: line.prediction.map(Cow::into_owned),
            reasons: line.reasons.into_owned(),
            hazards: line.hazards.into_owned(),
        })
    }
}
