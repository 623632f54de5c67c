//! Makes entries of the feed.

use crate::domain::model::forecast::Window;
use crate::domain::model::reminder::{Entry, Gone, News};
use crate::domain::model::task::Task;
use crate::domain::rules::reminders::decide::Raised;
use crate::domain::rules::reminders::inputs::Telling;
use chrono::{DateTime, Utc};

/// An entry of a task as a refresh found it.
pub fn of_task(task: &Task, raised: Raised, at: DateTime<Utc>) -> Entry {
    let forecast = &task.forecast;
    let (property_name, system_name) = task.names.clone();
    Entry {
        number: 0,
        raised_at: at,
        as_of: task.as_of,
        kind: raised.kind,
        covers: raised.covers,
        task_id: task.id,
        property_id: task.property_id,
        property_name,
        system_id: task.system_id,
        system_name,
        component_id: task.component_id,
        component_name: forecast.component_name.clone(),
        component_kind: task.kind,
        duty: task.duty,
        due_on: task.due_on,
        window: window(task),
        decided_by: Some(forecast.decided_by),
        moved: raised.moved,
        done_on: (raised.kind == News::Done).then_some(forecast.since),
        reasons: forecast.reasons.clone(),
        hazards: forecast.hazards.clone(),
    }
}

/// An entry of a task that is no longer among those of its system.
pub fn of_removed(gone: Gone, telling: &Telling, at: DateTime<Utc>) -> Entry {
    let replaced_on = telling.replaced.get(&gone.component_id).copied();
    // A part that wants replacing at times and was replaced has had what it wanted, unless a visit said so already.
    let done_on =
        replaced_on.filter(|on| gone.duty.is_replacement() && gone.done.is_none_or(|done| done.on < *on));
    let kind = if done_on.is_some() { News::Done } else { News::Withdrawn };
    let why = telling.why_gone(gone.component_id);
    Entry {
        number: 0,
        raised_at: at,
        as_of: telling.as_of,
        kind,
        covers: vec![kind],
        task_id: gone.task_id,
        property_id: telling.property_id,
        property_name: telling.property_name.clone(),
        system_id: telling.system_id,
        system_name: telling.system_name.clone(),
        component_id: gone.component_id,
        component_name: gone.component_name,
        component_kind: gone.kind,
        duty: gone.duty,
        due_on: None,
        window: None,
        decided_by: None,
        moved: None,
        done_on,
        reasons: vec![why],
        hazards: Vec::new(),
    }
}

pub(crate) fn window(task: &Task) -> Option<Window> {
    task.forecast.prediction.as_ref().and_then(|prediction| prediction.window)
}
