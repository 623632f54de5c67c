//! Makes entries of the feed.
use crate::domain::base::ids::FIRST_GENERATION;
use crate::domain::model::reminder::{Reminder, ReminderKind, RemovedTask};
use crate::domain::model::task::Task;
use crate::domain::rules::reminders::decide::NewReminder;
use crate::domain::rules::reminders::inputs::ReminderInputs;
use chrono::{DateTime, Utc};

/// The entry for a task that a refresh found.
pub fn of_task(task: &Task, raised: NewReminder, at: DateTime<Utc>) -> Reminder {
    let forecast = &task.forecast;
    Reminder {
        number: 0,
        generation: FIRST_GENERATION,
        feed_generation: FIRST_GENERATION,
        raised_at: at,
        as_of: task.as_of,
        kind: raised.kind,
        covers: raised.covers,
        task_id: task.id,
        property_id: task.property_id,
        property_name: task.property_name.clone(),
        system_id: task.system_id,
        system_name: task.system_name.clone(),
        component_id: task.component_id,
        component_name: forecast.component_name.clone(),
        component_kind: task.kind,
        duty: task.duty,
        due_on: task.due_on,
        window: task.window(),
        decided_by: Some(forecast.decided_by),
        moved: raised.moved,
        done_on: (raised.kind == ReminderKind::Done).then_some(forecast.since),
        reasons: forecast.reasons.clone(),
        hazards: forecast.hazards.clone(),
    }
}

/// The entry for a task that its system no longer has.
pub fn of_removed(gone: RemovedTask, reminders: &ReminderInputs, at: DateTime<Utc>) -> Reminder {
    let replaced_on = reminders.replaced.get(&gone.component_id).copied();
    // If the duty is to replace the part, replacing the component has done it, unless a visit already reported
    // that.
    let done_on = replaced_on
        .filter(|on| gone.duty.facts().is_replacement && gone.done.is_none_or(|done| done.on < *on));
    let kind = if done_on.is_some() { ReminderKind::Done } else { ReminderKind::Withdrawn };
    let why = reminders.why_removed(gone.component_id);
    Reminder {
        number: 0,
        generation: FIRST_GENERATION,
        feed_generation: FIRST_GENERATION,
        raised_at: at,
        as_of: reminders.as_of,
        kind,
        covers: vec![kind],
        task_id: gone.task_id,
        property_id: reminders.property_id,
        property_name: reminders.property_name.clone(),
        system_id: reminders.system_id,
        system_name: reminders.system_name.clone(),
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
