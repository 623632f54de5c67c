//! What a refresh found of a system, packed: its status and the forecast of each duty.
//!
//! It is read a line at a time and written whole, every day, for every system; what it takes is what a refresh of many
//! systems waits for. So it is JSON, a line for the status and one a task, without what the rows beside it say already,
//! and pressed: lines of one system and of all systems have most of their words in common.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{ComponentId, SystemId, TaskId};
use crate::domain::model::duty::{DecidedBy, Duty};
use crate::domain::model::forecast::{DutyForecast, Prediction};
use crate::domain::model::hazard::Hazard;
use crate::domain::model::part::Kind;
use crate::domain::model::status::{NextDuty, RecentRunoff, RunoffSince, Status};
use crate::domain::model::task::{State, Task};
use crate::storage::errors::{bad, to_json};
use chrono::NaiveDate;
use lz4_flex::block::{compress_prepend_size_with_dict, decompress_size_prepended_with_dict};
use serde::{Deserialize, Serialize};
use std::borrow::Cow;
use std::collections::HashMap;
use uuid::Uuid;

/// Text as it occurs: whatever is alike need not be written again. The first byte of what is packed says which one it
/// was packed with, so none of them is ever changed; one with the words of the day is put behind them.
const TEXTS: [&[u8]; 1] = [include_bytes!("packed/1.txt")];

/// The status. What is beside it in its row is left out.
#[derive(Serialize, Deserialize)]
struct StatusLine<'a> {
    state: State,
    next: Vec<NextLine<'a>>,
    rain_through: Option<NaiveDate>,
    last_7_days: RecentRunoff,
    last_30_days: RecentRunoff,
    since_served: Cow<'a, [RunoffSince]>,
}

#[derive(Serialize, Deserialize)]
struct NextLine<'a> {
    task: TaskRef,
    component_name: Cow<'a, str>,
    duty: Duty,
    state: State,
    due_on: NaiveDate,
}

/// A task by its line, or by its id when it has none.
#[derive(Serialize, Deserialize)]
#[serde(untagged)]
enum TaskRef {
    ForecastLine(usize),
    Id(TaskId),
}

/// The forecast of one task. What is in the task's own row is left out.
#[derive(Serialize, Deserialize)]
struct ForecastLine<'a> {
    component_name: Cow<'a, str>,
    since: NaiveDate,
    decided_by: DecidedBy,
    ceiling_on: Option<NaiveDate>,
    own_ceiling: bool,
    prediction: Option<Cow<'a, Prediction>>,
    reasons: Cow<'a, [String]>,
    hazards: Cow<'a, [Hazard]>,
}

/// Tasks in the order of their lines, the first of which is 1. It stays the same as long as the tasks do.
pub(super) fn lined(tasks: &[Task]) -> Vec<&Task> {
    let mut lined: Vec<&Task> = tasks.iter().collect();
    lined.sort_unstable_by_key(|task| task.id);
    lined
}

/// Packs a status and tasks that come from [`lined`].
pub(super) fn pack(status: &Status, lined: &[&Task]) -> Stored<Vec<u8>> {
    let lines: HashMap<TaskId, usize> = lined.iter().map(|task| task.id).zip(1..).collect();
    let next = status.next.iter().map(|next| NextLine {
        task: lines.get(&next.task_id).map_or(TaskRef::Id(next.task_id), |line| TaskRef::ForecastLine(*line)),
        component_name: Cow::Borrowed(&next.component_name),
        duty: next.duty,
        state: next.state,
        due_on: next.due_on,
    });
    let mut text = to_json(&StatusLine {
        state: status.state,
        next: next.collect(),
        rain_through: status.rain_through,
        last_7_days: status.last_7_days,
        last_30_days: status.last_30_days,
        since_served: Cow::Borrowed(&status.since_served),
    })?;
    for task in lined {
        let forecast = &task.forecast;
        // No line of JSON holds a line's end.
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

/// What was packed, opened.
pub(super) struct Unpacked {
    text: String,
    row: Uuid,
}

impl Unpacked {
    /// Opens what stands in the row of a system.
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

    /// The status. `ids` are those of the system's tasks by line.
    pub(super) fn status(
        &self,
        system_id: SystemId,
        system_name: String,
        as_of: NaiveDate,
        ids: &HashMap<usize, TaskId>,
    ) -> Stored<Status> {
        let head: StatusLine<'_> = self.line(0)?;
        let next = head.next.into_iter().map(|next| {
            let task_id = match next.task {
                TaskRef::Id(id) => Some(id),
                TaskRef::ForecastLine(line) => ids.get(&line).copied(),
            };
            Ok(NextDuty {
                task_id: task_id.ok_or_else(|| bad("forecasts", "packed", &self.row))?,
                component_name: next.component_name.into_owned(),
                duty: next.duty,
                state: next.state,
                due_on: next.due_on,
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
            since_served: head.since_served.into_owned(),
        })
    }

    /// The forecast on a line, with what the row of its task says.
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
