//! What the domain needs stored: traits over domain types, which the storage layer implements.
//!
//! "Not found" is an answer, never an error. Every method is one transaction: all of it happens, or nothing. When
//! it has returned, what it wrote survives a kill and a power cut. Methods that take an account never show or
//! change another account's rows.
//!
//! A forecast depends on the account's figures for duties, on the facts of property and rain gauge, on rain,
//! systems, components and visits. A write to any of these marks the systems that it affects as stale, in the same
//! transaction.

pub mod accounts;
pub mod audit;
pub mod calendars;
pub mod corrections;
pub mod deliveries;
pub mod duty_settings;
pub mod figures;
pub mod gauges;
pub mod idempotency;
pub mod outcomes;
pub mod properties;
pub mod reminders;
pub mod rounds;
pub mod skill;
pub mod subscriptions;
pub mod systems;
pub mod tasks;
pub mod usage;
pub mod visits;

use crate::domain::base::clock::Clock;
use crate::domain::base::error::Stored;
use crate::domain::model::audit::Act;
use crate::domain::ports::store::accounts::AccountStore;
use crate::domain::ports::store::audit::AuditStore;
use crate::domain::ports::store::calendars::CalendarStore;
use crate::domain::ports::store::corrections::CorrectionStore;
use crate::domain::ports::store::deliveries::DeliveryStore;
use crate::domain::ports::store::duty_settings::DutySettingStore;
use crate::domain::ports::store::figures::FigureStore;
use crate::domain::ports::store::gauges::GaugeStore;
use crate::domain::ports::store::idempotency::IdempotencyStore;
use crate::domain::ports::store::properties::PropertyStore;
use crate::domain::ports::store::reminders::ReminderStore;
use crate::domain::ports::store::rounds::RoundStore;
use crate::domain::ports::store::skill::SkillStore;
use crate::domain::ports::store::subscriptions::SubscriptionStore;
use crate::domain::ports::store::systems::SystemStore;
use crate::domain::ports::store::tasks::TaskStore;
use crate::domain::ports::store::usage::UsageStore;
use crate::domain::ports::store::visits::VisitStore;
use async_trait::async_trait;
use chrono::{DateTime, Utc};
use std::sync::Arc;

/// The whole store.
#[async_trait]
pub trait Store:
    AccountStore
    + AuditStore
    + DutySettingStore
    + PropertyStore
    + GaugeStore
    + SystemStore
    + VisitStore
    + TaskStore
    + SkillStore
    + ReminderStore
    + CalendarStore
    + SubscriptionStore
    + DeliveryStore
    + RoundStore
    + IdempotencyStore
    + CorrectionStore
    + UsageStore
    + FigureStore
{
    /// The same store, which records an act. Its first transaction that changes something also writes the act's entries
    /// into the audit: both are stored, or neither is. What it notes about repeated requests is no change.
    fn acting(&self, act: Arc<Act>, clock: Arc<dyn Clock>) -> Arc<dyn Store>;
    /// Whether it can be reached.
    async fn ping(&self) -> Stored<()>;
    /// Whether it can be read and written, as far as a cheap look tells. Many may ask at once.
    async fn check(&self, now: DateTime<Utc>) -> Stored<()>;
    /// Why it cannot be used until the service is started again, in words for the operator.
    fn fault(&self) -> Option<&'static str>;
    /// Closes its connections.
    async fn close(&self);
}
