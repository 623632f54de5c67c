//! Tasks: what falls due, one row a component and duty.

use crate::domain::Context;
use crate::domain::account::Reach;
use crate::domain::check::Check;
use crate::domain::clock;
use crate::domain::component::{Kind, words};
use crate::domain::duty::Duty;
use crate::domain::error::{Error, Result};
use crate::domain::forecast::DutyForecast;
use crate::domain::ids::{AccountId, ComponentId, PropertyId, SystemId, TaskId};
use crate::domain::paging::{self, After, PageAsked, PageFound};
use crate::domain::store::TaskFilter;
use chrono::{DateTime, Days, NaiveDate, Utc};
use std::collections::HashSet;

/// Days before the due date from which a task is near.
pub const NEAR_DAYS: i64 = 7;
/// Days after the due date from which a task is late, whatever its window.
pub const LATE_DAYS: i64 = 14;
/// Days after the due date from which a task is late if the late end of its window has passed too. A window can be a
/// single day; a week is what a weekly round needs to come by.
pub const LATE_DAYS_PAST_WINDOW: i64 = 7;
/// Stands for "no date" in the sort order, after every date.
pub const NO_DATE: NaiveDate = NaiveDate::from_ymd_opt(9999, 12, 31).expect("a date of the calendar");

words! {
    /// How near a task is.
    State {
        /// More than seven days off, or without a date.
        Resting "resting",
        /// Due within seven days.
        Near "near",
        /// The due date has come.
        Due "due",
        /// Due for longer than a fortnight, or for longer than a week and past the late end of its window.
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

/// A task as it is written by a refresh.
#[derive(Clone, Debug, PartialEq)]
pub struct Task {
    /// Id, the same at every refresh.
    pub id: TaskId,
    /// Whose it is.
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
    /// How near it is.
    pub state: State,
    /// The day it falls due.
    pub due_on: Option<NaiveDate>,
    /// The property's name, the system's name.
    pub names: (String, String),
    /// Everything else that a reader is shown, without its curve.
    pub forecast: DutyForecast,
    /// The local day it was computed for.
    pub as_of: NaiveDate,
    /// When it was computed.
    pub refreshed_at: DateTime<Utc>,
}

impl Task {
    /// The date it is sorted by.
    pub fn sort_on(&self) -> NaiveDate {
        self.due_on.unwrap_or(NO_DATE)
    }
}

/// How often the due date of a task has moved, and when it last did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Moves {
    /// Counts up with every other due date; 0 for the first.
    pub sequence: i64,
    /// When the date became what it is.
    pub changed_at: DateTime<Utc>,
}

/// The last day of so many days from now. It counts from the latest civil date on earth: a week's list may show a task a
/// few hours early, never too late.
pub fn last_day(now: DateTime<Utc>, days: u64) -> Option<NaiveDate> {
    clock::local_date(now, chrono_tz::Pacific::Kiritimati).checked_add_days(Days::new(days))
}

/// How many tasks a filter finds, however many there are.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Counted {
    /// By state and duty.
    pub tasks: Vec<(State, Duty, u64)>,
    /// Systems that they are of.
    pub systems: u64,
    /// Properties that those stand at.
    pub properties: u64,
}

impl Counted {
    /// All of them.
    pub fn total(&self) -> u64 {
        self.tasks.iter().map(|(_, _, count)| count).sum()
    }
}

/// Hands the first `most` of the account's tasks over, by due date, as they are read, each once; gives the first one that is
/// left out, if there are more.
///
/// Pages are read one by one, not as of one instant. A task that a refresh moves to a later date in between is handed over
/// with its earlier one; a task that it moves to before the page that is read next is missed, and is there at the next
/// reading.
pub(crate) async fn each(
    cx: &Context,
    account: AccountId,
    filter: &TaskFilter,
    most: usize,
    mut take: impl FnMut(Task, Moves) + Send,
) -> Result<Option<Task>> {
    let mut page = PageAsked { after: None, limit: paging::MOST };
    let mut seen = HashSet::new();
    loop {
        let rows = cx.store.moved_tasks(account, filter, &page).await?;
        let more = rows.len() > page.limit as usize;
        for (task, moves) in rows.into_iter().take(page.limit as usize) {
            page.after = Some(After { key: task.sort_on(), id: task.id.0 });
            if !seen.insert(task.id) {
                continue;
            }
            if seen.len() > most {
                return Ok(Some(task));
            }
            take(task, moves);
        }
        if !more {
            return Ok(None);
        }
    }
}

/// The account's tasks by due date.
pub async fn list(
    cx: &Context,
    account: AccountId,
    filter: &TaskFilter,
    cursor: Option<&str>,
    limit: Option<u32>,
) -> Result<PageFound<Task>> {
    let mut check = Check::new();
    check.range(filter.from, filter.to);
    check.done()?;
    let asked = PageAsked::read("tasks", cursor, limit)?;
    let rows = cx.store.tasks(account, filter, &asked).await?;
    Ok(asked.page("tasks", rows, |row| (row.sort_on(), row.id.0)))
}

/// One task, if it is within reach.
pub async fn seen(cx: &Context, reach: &Reach, id: TaskId) -> Result<Task> {
    let found = get(cx, reach.account, id).await?;
    if reach.sees(found.system_id) {
        Ok(found)
    } else {
        Err(Error::NotFound { what: "task", id: id.to_string() })
    }
}

/// One task.
pub async fn get(cx: &Context, account: AccountId, id: TaskId) -> Result<Task> {
    cx.store.task(account, id).await?.ok_or_else(|| Error::NotFound { what: "task", id: id.to_string() })
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
