//! Tasks: what falls due, one row for each component and duty.

use crate::domain::base::ids::{AccountId, ComponentId, PropertyId, SystemId, TaskId};
use crate::domain::base::words::words;
use crate::domain::model::duty::Duty;
use crate::domain::model::forecast::{DutyForecast, Window};
use crate::domain::model::part::Kind;
use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

/// Days before the due date from which a task is near.
pub const NEAR_DAYS: i64 = 7;

/// Days after the due date from which a task is late, whatever its window.
pub const LATE_DAYS: i64 = 14;

/// Days after the due date from which a task is late if the late end of its window is over, too. A window can be a
/// single day, and a weekly round needs a week to get there.
pub const LATE_DAYS_PAST_WINDOW: i64 = 7;

/// Stands for "no date" in the sort order, after every date.
pub const NO_DATE: NaiveDate = NaiveDate::from_ymd_opt(9999, 12, 31).expect("a date of the calendar");

words! {
    /// How urgent a task is.
    State {
        /// Due in more than seven days, or without a date.
        Resting "resting",
        /// Due within seven days.
        Near "near",
        /// The due date has come.
        Due "due",
        /// Due for more than a fortnight, or for more than a week and the late end of its window is over.
        Late "late",
    }
}

impl State {
    /// The state of a due date on a day.
    pub fn on(day: NaiveDate, due_on: Option<NaiveDate>, late_on: Option<NaiveDate>) -> Self {
        let Some(due_on) = due_on else { return Self::Resting };
        let days = due_on.signed_duration_since(day).num_days();
        if days > NEAR_DAYS {
            Self::Resting
        } else if days > 0 {
            Self::Near
        } else if -days > LATE_DAYS
            || (-days > LATE_DAYS_PAST_WINDOW && late_on.is_some_and(|late| late < day))
        {
            Self::Late
        } else {
            Self::Due
        }
    }
}

/// Where a task belongs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TaskPlace {
    /// The account that owns it.
    pub account_id: AccountId,
    /// The property.
    pub property_id: PropertyId,
    /// The property's name.
    pub property_name: String,
    /// The system.
    pub system_id: SystemId,
    /// The system's name.
    pub system_name: String,
}

/// A task as a refresh writes it.
#[derive(Clone, Debug, PartialEq)]
pub struct Task {
    /// Id, the same at every refresh.
    pub id: TaskId,
    /// The account that owns it.
    pub account_id: AccountId,
    /// The property.
    pub property_id: PropertyId,
    /// The system.
    pub system_id: SystemId,
    /// The component.
    pub component_id: ComponentId,
    /// What the component is.
    pub kind: Kind,
    /// The duty.
    pub duty: Duty,
    /// How urgent it is.
    pub state: State,
    /// The day it falls due.
    pub due_on: Option<NaiveDate>,
    /// The property's name.
    pub property_name: String,
    /// The system's name.
    pub system_name: String,
    /// Its forecast, without the curve.
    pub forecast: DutyForecast,
    /// The local day it was computed for.
    pub as_of: NaiveDate,
    /// When it was computed.
    pub refreshed_at: DateTime<Utc>,
}

impl Task {
    /// The task of a component's forecast. Its dates give its state on the day.
    pub fn of(
        place: TaskPlace,
        component_id: ComponentId,
        forecast: DutyForecast,
        as_of: NaiveDate,
        refreshed_at: DateTime<Utc>,
    ) -> Self {
        let late_on = forecast.prediction.as_ref().and_then(|prediction| prediction.window?.late_on);
        Self {
            id: TaskId::of(component_id, forecast.duty),
            account_id: place.account_id,
            property_id: place.property_id,
            system_id: place.system_id,
            component_id,
            kind: forecast.kind,
            duty: forecast.duty,
            state: State::on(as_of, forecast.due_on, late_on),
            due_on: forecast.due_on,
            property_name: place.property_name,
            system_name: place.system_name,
            forecast,
            as_of,
            refreshed_at,
        }
    }

    /// The date by which it is sorted.
    pub fn sort_on(&self) -> NaiveDate {
        self.due_on.unwrap_or(NO_DATE)
    }

    /// The predicted window; absent when nothing is predicted.
    pub fn window(&self) -> Option<Window> {
        self.forecast.prediction.as_ref().and_then(|prediction| prediction.window)
    }
}

/// How often the due date of a task has moved, and when it last did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Moves {
    /// Counts up with every change of the due date; 0 for the first.
    pub sequence: i64,
    /// When the present due date was set.
    pub changed_at: DateTime<Utc>,
}

/// A task, with how often its due date has moved.
#[derive(Clone, Debug, PartialEq)]
pub struct MovedTask {
    /// The task.
    pub task: Task,
    /// How its due date moved.
    pub moves: Moves,
}

/// How many tasks of one duty are in one state.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TaskCount {
    /// The state.
    pub state: State,
    /// The duty.
    pub duty: Duty,
    /// Number of tasks.
    pub count: u64,
}

/// Numbers of all tasks that a filter finds, even if they are not all listed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Counted {
    /// Numbers of tasks by state and duty.
    pub tasks: Vec<TaskCount>,
    /// Number of their systems.
    pub systems: u64,
    /// Number of their properties.
    pub properties: u64,
}

impl Counted {
    /// Number of all tasks.
    pub fn total(&self) -> u64 {
        self.tasks.iter().map(|some| some.count).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_task_comes_near_falls_due_and_runs_late() {
        let day = |d| NaiveDate::from_ymd_opt(2026, 5, d).unwrap();
        let on = |d, late: Option<u32>| State::on(day(d), Some(day(10)), late.map(day));
        assert_eq!(State::on(day(1), None, None), State::Resting);
        assert_eq!(on(2, None), State::Resting);
        assert_eq!(on(3, None), State::Near);
        assert_eq!(on(10, None), State::Due);
        assert_eq!(on(24, None), State::Due);
        assert_eq!(on(25, None), State::Late);
        assert_eq!(on(17, Some(10)), State::Due);
        assert_eq!(on(18, Some(18)), State::Due);
        assert_eq!(on(18, Some(17)), State::Late);
    }
}

impl TaskId {
    /// The id of a component's duty. It is computed, so that two refreshes or two replicas make the same row.
    ///
    /// It begins with the time of the component's id, so that the tasks of a system are close together when sorted
    /// by id.
    pub fn of(component: ComponentId, duty: Duty) -> Self {
        let mut bytes = Uuid::new_v5(&component.0, duty.code().as_bytes()).into_bytes();
        bytes[..6].copy_from_slice(&component.0.as_bytes()[..6]);
        Self(uuid::Builder::from_custom_bytes(bytes).into_uuid())
    }
}

/// Which tasks to list.
#[derive(Clone, Debug, Default)]
pub struct TaskFilter {
    /// Those at this property.
    pub property_id: Option<PropertyId>,
    /// Those of this system.
    pub system_id: Option<SystemId>,
    /// Those of this kind of component.
    pub kind: Option<Kind>,
    /// Those in one of these states; all when empty.
    pub states: Vec<State>,
    /// Those due on or after this day.
    pub from: Option<NaiveDate>,
    /// Those due on or before this day.
    pub to: Option<NaiveDate>,
}
