//! Rows as they are stored, and the domain types they become.

mod account;
mod answered;
mod audit;
mod calendar;
mod component;
mod duty_setting;
mod gauge;
mod property;
mod round;
mod stored_task;
mod subscription;
mod system;
mod task;
mod visit;

pub(super) use account::{AccountRow, KeyRow, scope_words};
pub(super) use answered::{ANSWERED_COLUMNS, AnsweredRow, StoredAnswer};
pub(super) use audit::AuditRow;
pub(super) use calendar::CalendarRow;
pub(super) use component::{COMPONENT_COLUMNS, ComponentRow};
pub(super) use duty_setting::DutySettingRow;
pub(super) use gauge::{GAUGE_COLUMNS, GaugeRow};
pub(super) use property::{PROPERTY_COLUMNS, PropertyRow};
pub(super) use round::{PlannedTaskRow, ROUND_COLUMNS, RoundRow, RoundTaskRow};
pub(super) use stored_task::{StoredReminderState, StoredTask};
pub(super) use subscription::{
    AttemptRow, DELIVERY_COLUMNS, DeliveryRow, LetterRow, SUBSCRIPTION_COLUMNS, SubscriptionRow,
    select_subscriptions, stored_secrets,
};
pub(super) use system::{SYSTEM_COLUMNS, SystemRow};
pub(super) use task::TaskRow;
pub(super) use visit::{RevisionRow, VISIT_COLUMNS, VisitRow};

use crate::domain::base::error::Stored;
use crate::storage::errors::bad;
use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

/// A row of a table, named in errors about its columns.
#[derive(Clone, Copy)]
pub(super) struct RowRef {
    pub(super) table: &'static str,
    pub(super) id: Uuid,
}

impl RowRef {
    /// Reads an instant.
    pub(super) fn instant(self, column: &'static str, micros: i64) -> Stored<DateTime<Utc>> {
        DateTime::from_timestamp_micros(micros).ok_or_else(|| bad(self.table, column, &self.id))
    }

    /// Reads an instant that may be absent.
    pub(super) fn instant_if(
        self,
        column: &'static str,
        micros: Option<i64>,
    ) -> Stored<Option<DateTime<Utc>>> {
        micros.map(|micros| self.instant(column, micros)).transpose()
    }

    /// Reads a civil date.
    pub(super) fn date(self, column: &'static str, days: i64) -> Stored<NaiveDate> {
        let date = i32::try_from(days).ok().and_then(NaiveDate::from_epoch_days);
        date.ok_or_else(|| bad(self.table, column, &self.id))
    }

    /// Reads a civil date that may be absent.
    pub(super) fn date_if(self, column: &'static str, days: Option<i64>) -> Stored<Option<NaiveDate>> {
        days.map(|days| self.date(column, days)).transpose()
    }

    /// Reads JSON text.
    pub(super) fn json<T: serde::de::DeserializeOwned>(self, column: &'static str, text: &str) -> Stored<T> {
        crate::storage::errors::from_json(text, self.table, column, &self.id)
    }

    /// The meaning of a stored word; an error if it has none.
    pub(super) fn word<T>(self, column: &'static str, meaning: Option<T>) -> Stored<T> {
        meaning.ok_or_else(|| bad(self.table, column, &self.id))
    }
}

/// Turns rows into domain values.
pub(super) fn values<R, T>(rows: Vec<R>, read: impl Fn(R) -> Stored<T>) -> Stored<Vec<T>> {
    rows.into_iter().map(read).collect()
}
