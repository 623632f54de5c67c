//! Reminders.

use super::duty::{bring, reasons};
use super::mirror_open;
use crate::domain::base::ids::AccountId;
use crate::domain::model::reminder;
use crate::domain::use_cases::reminders::{self, FeedPlace};
use eavesward_contract as wire;

mirror_open!(ReminderKind: reminder::ReminderKind { Coming, Due, Late, Moved, Done, Withdrawn });
mirror_open!(MoveCause: reminder::Cause { Rain, Finding, Settings, Calendar });

impl From<reminder::Moved> for wire::DateMoved {
    fn from(moved: reminder::Moved) -> Self {
        Self {
            from_due_on: moved.from_due_on,
            from_window: moved.from_window.map(Into::into),
            cause: moved.cause.into(),
        }
    }
}

/// An entry of an account's feed, as it was read.
pub fn entry(account: AccountId, entry: reminder::Reminder) -> wire::Reminder {
    let place = FeedPlace { generation: entry.feed_generation, number: entry.number };
    wire::Reminder {
        id: entry.id(account).0,
        number: entry.number,
        cursor: reminders::cursor(account, place),
        raised_at: entry.raised_at,
        as_of: entry.as_of,
        kind: entry.kind.into(),
        covers: entry.covers.into_iter().map(Into::into).collect(),
        task_id: Some(entry.task_id.0),
        property_id: Some(entry.property_id.0),
        property_name: Some(entry.property_name),
        system_id: Some(entry.system_id.0),
        system_name: Some(entry.system_name),
        component_id: Some(entry.component_id.0),
        component_name: Some(entry.component_name),
        component_kind: Some(entry.component_kind.into()),
        duty: Some(entry.duty.into()),
        title: Some(entry.duty.title().to_owned()),
        due_on: entry.due_on,
        window: entry.window.map(Into::into),
        decided_by: entry.decided_by.map(Into::into),
        moved: entry.moved.map(Into::into),
        done_on: entry.done_on,
        reasons: reasons(&entry.reasons),
        cautions: entry.hazards.into_iter().map(Into::into).collect(),
        bring: bring(entry.duty),
    }
}

/// A stretch of an account's feed.
pub fn feed(account: AccountId, pulled: reminder::PulledReminders) -> wire::ReminderFeed {
    wire::ReminderFeed {
        items: pulled.entries.into_iter().map(|one| entry(account, one)).collect(),
        cursor: pulled.cursor,
        behind: pulled.behind,
    }
}
