//! What the domain needs kept: traits over domain types, implemented by the storage layer.
//!
//! "Not found" is an answer, never an error. Every method is one transaction: it happens as a whole or not at all, and
//! when it has returned, what it wrote survives a kill and a power cut. Methods that take an account never show or touch
//! another account's rows.
//!
//! Writes that a forecast depends on (an account's figures for a duty, a property's or gauge's facts, rain, a system, a
//! component, a visit) mark the systems they reach as stale, in the same transaction.

mod calendars;

pub use calendars::CalendarStore;
mod subscriptions;

pub use subscriptions::{DeliveryStore, Fanned, MakeLetter, SubscriptionStore};

use crate::domain::account::{Account, Key};
use crate::domain::component::{Component, ComponentFacts, Kind};
use crate::domain::duty::Duty;
use crate::domain::duty_settings::{DutySetting, DutySettings, Own};
use crate::domain::forecast::Answers;
use crate::domain::gauge::{Gauge, GaugeFacts, RainSpan};
use crate::domain::idempotency::{Answer, Attempt, Claim};
use crate::domain::ids::{
    AccountId, AnswerId, ComponentId, GaugeId, KeyId, PropertyId, RoundId, SystemId, TaskId, VisitId,
};
use crate::domain::paging::PageAsked;
use crate::domain::property::{Property, PropertyFacts};
use crate::domain::rain::{RainDay, Upserted};
use crate::domain::reminder::{Read, ReminderFilter, Stretch, Telling};
use crate::domain::rounds::places::Position;
use crate::domain::rounds::{Round, RoundFilter};
use crate::domain::skill::{Answered, DutySkill, History, SkillFilter};
use crate::domain::status::{Polled, Status};
use crate::domain::system::{System, SystemFacts};
use crate::domain::task::{Counted, Moves, State, Task};
use crate::domain::visit::{Revision, Visit};
use async_trait::async_trait;
use chrono::{DateTime, NaiveDate, Utc};
use std::collections::BTreeMap;
use std::sync::Arc;

/// The storage failed; the cause is for the log, not for the caller.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// It cannot be reached or is overloaded; trying again may help.
    #[error("the storage cannot be reached")]
    Unavailable(#[source] Box<dyn std::error::Error + Send + Sync>),
    /// A row holds something that this version cannot read.
    #[error("row {row} of {table} has an unreadable {column}")]
    BadRow {
        /// The table.
        table: &'static str,
        /// The column.
        column: &'static str,
        /// The row's id.
        row: String,
    },
    /// What a new row refers to is not there, or is no longer.
    #[error("what a row refers to is gone")]
    Dangling(#[source] Box<dyn std::error::Error + Send + Sync>),
    /// Anything else.
    #[error("the storage failed")]
    Failed(#[source] Box<dyn std::error::Error + Send + Sync>),
}

/// A storage answer.
pub type Stored<T> = Result<T, StoreError>;

/// What became of a guarded update.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Updated {
    /// It was made, and the version counted up by one.
    Done,
    /// There is no such row in this account.
    Missing,
    /// The caller saw an older version; nothing was changed.
    Stale {
        /// The current version.
        current: i64,
    },
}

/// What became of a guarded removal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Deleted {
    /// It is gone.
    Done,
    /// There is no such row in this account.
    Missing,
    /// The caller saw an older version; nothing was removed.
    Stale {
        /// The current version.
        current: i64,
    },
    /// Systems still refer to it; nothing was removed.
    InUse {
        /// How many.
        systems: i64,
    },
}

/// What became of a round that was to be kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kept {
    /// It is kept, now or from an earlier attempt.
    Done,
    /// A task of it stands in another round that is planned; nothing was kept.
    Taken {
        /// The task.
        task_id: TaskId,
        /// That round.
        round_id: RoundId,
    },
}

/// A task that stands in a round that is planned.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PlannedTask {
    /// The task.
    pub task_id: TaskId,
    /// The round.
    pub round_id: RoundId,
    /// The day it is planned for.
    pub on: NaiveDate,
    /// Where the task's property counts its days.
    pub zone: chrono_tz::Tz,
}

/// What became of a round that was to be called off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CalledOff {
    /// It is gone.
    Done,
    /// There is no such round in this account.
    Missing,
    /// The caller saw an older version; nothing was changed.
    Stale {
        /// The current version.
        current: i64,
    },
    /// It was done already; nothing was changed.
    WasDone,
}

/// What became of a round that was to be reported as done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Finished {
    /// Its visits are logged, and it is done.
    Done,
    /// There is no such round in this account.
    Missing,
    /// It was done before, by somebody faster; nothing was changed.
    Before,
    /// A visit did one of its tasks since it was read; nothing was changed.
    Moved,
}

/// Which systems to list.
#[derive(Clone, Debug, Default)]
pub struct SystemFilter {
    /// Those at this property.
    pub property_id: Option<PropertyId>,
    /// Those under this gauge.
    pub gauge_id: Option<GaugeId>,
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

/// Which visits to list.
#[derive(Clone, Debug, Default)]
pub struct VisitFilter {
    /// Those to this system.
    pub system_id: Option<SystemId>,
    /// Those on or after this day.
    pub from: Option<NaiveDate>,
    /// Those on or before this day.
    pub to: Option<NaiveDate>,
    /// Whether withdrawn ones are listed too.
    pub include_withdrawn: bool,
}

/// Everything a system's forecast is made from, but for the rain.
#[derive(Clone, Debug, PartialEq)]
pub struct Inputs {
    /// The system.
    pub system: System,
    /// Its property.
    pub property: Property,
    /// Its gauge.
    pub gauge: Gauge,
    /// All its components, those taken out included, oldest first.
    pub components: Vec<Component>,
    /// Its visits that were not withdrawn, by day.
    pub visits: Vec<Visit>,
    /// What its account has set for duties; shared by all systems of the account that are read together.
    pub duty_settings: Arc<DutySettings>,
}

/// What is known of a gauge's record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RainKnown {
    /// How often it had been rewritten when it was read.
    pub rewrites: i64,
    /// The last day with a reading.
    pub through: Option<NaiveDate>,
}

/// What was read of a gauge's record.
#[derive(Clone, Debug, PartialEq)]
pub struct RainRead {
    /// How often it has been rewritten: counts up when a reading is changed, removed, or added before the last one.
    pub rewrites: i64,
    /// Whether `days` is the whole record, and not what came after the known one.
    pub whole: bool,
    /// Readings by date.
    pub days: Vec<RainDay>,
}

/// A stale system that this process is to refresh.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StaleSystem {
    /// Whose it is.
    pub account_id: AccountId,
    /// The system.
    pub system_id: SystemId,
    /// The version of its inputs at the time of the claim.
    pub inputs_version: i64,
}

/// What a refresh writes.
#[derive(Clone, Debug)]
pub struct Refreshed {
    /// The claim it answers.
    pub claim: StaleSystem,
    /// The system's tasks; rows of the system that are not among them are removed.
    pub tasks: Vec<Task>,
    /// Its status.
    pub status: Status,
    /// When the local day ends and it is stale again.
    pub next_at: DateTime<Utc>,
    /// What has to be known to tell its readers.
    pub telling: Telling,
}

/// A claimed system whose visits changed since its answers were worked out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Unscored {
    /// Whose it is.
    pub account_id: AccountId,
    /// The system.
    pub system_id: SystemId,
    /// Counts up with every change of its visits; as it was when it was claimed.
    pub changes: i64,
    /// Until when the claim holds others off; tells it from a later one.
    pub held_until: DateTime<Utc>,
}

/// Accounts and keys.
#[async_trait]
pub trait AccountStore: Send + Sync {
    /// If no account was ever made, makes this one with its key; says whether it did. Safe with several replicas
    /// starting at once.
    async fn bootstrap(&self, account: &Account, key: &Key) -> Stored<bool>;
    /// Makes a further account with its first key.
    async fn insert_account(&self, account: &Account, key: &Key) -> Stored<()>;
    /// One account.
    async fn account(&self, id: AccountId) -> Stored<Option<Account>>;
    /// All accounts, oldest first: for the operator's command, never for a route.
    async fn accounts(&self) -> Stored<Vec<Account>>;
    /// Adds a key.
    async fn insert_key(&self, key: &Key) -> Stored<()>;
    /// The account's keys by `(created_at, id)`.
    async fn keys(&self, account: AccountId, page: &PageAsked<DateTime<Utc>>) -> Stored<Vec<Key>>;
    /// Sets `revoked_at` if it is not set; `false` when there is no such key in the account.
    async fn revoke_key(&self, account: AccountId, id: KeyId, now: DateTime<Utc>) -> Stored<bool>;
    /// The key with this hash, whatever its state.
    async fn key_by_hash(&self, hash: &[u8; 32]) -> Stored<Option<Key>>;
}

/// What accounts have set for duties.
#[async_trait]
pub trait DutySettingStore: Send + Sync {
    /// Everything that the account ever set, back to the defaults included, in no order.
    async fn duty_settings(&self, account: AccountId) -> Stored<Vec<DutySetting>>;
    /// Replaces what is set for a duty if the version is current, 0 being that of a duty for which nothing was ever
    /// set. All systems of the account become stale.
    async fn put_duty_setting(
        &self,
        account: AccountId,
        duty: Duty,
        version: i64,
        own: Own,
        now: DateTime<Utc>,
    ) -> Stored<Updated>;
}

/// Properties.
#[async_trait]
pub trait PropertyStore: Send + Sync {
    /// Adds a property; does nothing when the id is there already (a repeated request).
    async fn insert_property(&self, property: &Property) -> Stored<()>;
    /// One property.
    async fn property(&self, account: AccountId, id: PropertyId) -> Stored<Option<Property>>;
    /// The account's properties by `(name, id)`, names compared byte by byte on every database.
    async fn properties(&self, account: AccountId, page: &PageAsked<String>) -> Stored<Vec<Property>>;
    /// Those of these properties that are the account's, in no order.
    async fn properties_of(&self, account: AccountId, ids: &[PropertyId]) -> Stored<Vec<Property>>;
    /// Replaces the facts if the version is current; its systems become stale.
    async fn update_property(
        &self,
        account: AccountId,
        id: PropertyId,
        version: i64,
        facts: &PropertyFacts,
        now: DateTime<Utc>,
    ) -> Stored<Updated>;
    /// Removes it if the version is current and no system stands at it.
    async fn delete_property(&self, account: AccountId, id: PropertyId, version: i64) -> Stored<Deleted>;
}

/// Gauges and their rain.
#[async_trait]
pub trait GaugeStore: Send + Sync {
    /// Adds a gauge; does nothing when the id is there already.
    async fn insert_gauge(&self, gauge: &Gauge) -> Stored<()>;
    /// One gauge with the span of its record.
    async fn gauge(&self, account: AccountId, id: GaugeId) -> Stored<Option<Gauge>>;
    /// The account's gauges by `(name, id)`.
    async fn gauges(&self, account: AccountId, page: &PageAsked<String>) -> Stored<Vec<Gauge>>;
    /// Replaces the facts if the version is current; the systems under it become stale.
    async fn update_gauge(
        &self,
        account: AccountId,
        id: GaugeId,
        version: i64,
        facts: &GaugeFacts,
        now: DateTime<Utc>,
    ) -> Stored<Updated>;
    /// Removes it with its record if the version is current and no system uses it.
    async fn delete_gauge(&self, account: AccountId, id: GaugeId, version: i64) -> Stored<Deleted>;
    /// Upserts readings by date (given by date, without repeats) and keeps the gauge's span up to date. The systems
    /// under the gauge become stale if anything was new or changed. Concurrent upserts to one gauge follow each other.
    /// `None` when there is no such gauge in the account.
    async fn put_rain(
        &self,
        account: AccountId,
        id: GaugeId,
        days: &[RainDay],
    ) -> Stored<Option<(Upserted, RainSpan)>>;
    /// Readings of a gauge by date, from one day to another, both included.
    async fn rain(
        &self,
        id: GaugeId,
        range: (Option<NaiveDate>, Option<NaiveDate>),
        page: &PageAsked<NaiveDate>,
    ) -> Stored<Vec<RainDay>>;
    /// The whole record of a gauge through a day, by date.
    async fn rain_record(&self, id: GaugeId, through: NaiveDate) -> Stored<Vec<RainDay>>;
    /// What there is of a gauge's record, through a day, beyond what is known: readings after the known ones, or the whole
    /// record when nothing is known or when it did not only grow at its end since.
    async fn rain_since(&self, id: GaugeId, known: Option<RainKnown>, through: NaiveDate)
    -> Stored<RainRead>;
    /// Removes readings; the systems under the gauge become stale. `false` when there is no such gauge.
    async fn delete_rain(
        &self,
        account: AccountId,
        id: GaugeId,
        from: NaiveDate,
        to: NaiveDate,
    ) -> Stored<bool>;
}

/// Systems and components.
#[async_trait]
pub trait SystemStore: Send + Sync {
    /// Adds a system with its components, stale from the start; does nothing when the system's id is there already.
    async fn insert_system(&self, system: &System, components: &[Component]) -> Stored<()>;
    /// One system.
    async fn system(&self, account: AccountId, id: SystemId) -> Stored<Option<System>>;
    /// The account's systems by `(name, id)`.
    async fn systems(
        &self,
        account: AccountId,
        filter: &SystemFilter,
        page: &PageAsked<String>,
    ) -> Stored<Vec<System>>;
    /// Replaces the facts if the version is current; it becomes stale.
    async fn update_system(
        &self,
        account: AccountId,
        id: SystemId,
        version: i64,
        facts: &SystemFacts,
        now: DateTime<Utc>,
    ) -> Stored<Updated>;
    /// A system's components, those taken out included, oldest first (`created_at`, `id`).
    async fn components(&self, account: AccountId, system: SystemId) -> Stored<Vec<Component>>;
    /// The components of several systems, in the same order within each.
    async fn components_of(&self, account: AccountId, systems: &[SystemId]) -> Stored<Vec<Component>>;
    /// One component.
    async fn component(&self, account: AccountId, id: ComponentId) -> Stored<Option<Component>>;
    /// Adds a component; does nothing when the id is there already. Its system becomes stale.
    async fn insert_component(&self, account: AccountId, component: &Component) -> Stored<()>;
    /// Replaces the facts if the version is current. Its system becomes stale.
    async fn update_component(
        &self,
        account: AccountId,
        id: ComponentId,
        version: i64,
        facts: &ComponentFacts,
        now: DateTime<Utc>,
    ) -> Stored<Updated>;
    /// Takes `old` out on a day and adds `new`; `false`, and nothing done, when `old` is no longer at its version.
    async fn replace_component(
        &self,
        account: AccountId,
        old: &Component,
        new: &Component,
        on: NaiveDate,
    ) -> Stored<bool>;
    /// Takes a component out on a day; `false`, and nothing done, when it is no longer at its version.
    async fn retire_component(
        &self,
        account: AccountId,
        old: &Component,
        on: NaiveDate,
        now: DateTime<Utc>,
    ) -> Stored<bool>;
    /// Everything the forecasts of these systems are made from, but for the rain; systems that are gone are left out.
    /// A fixed number of queries, whatever the number of systems.
    async fn inputs(&self, systems: &[(AccountId, SystemId)]) -> Stored<Vec<Inputs>>;
}

/// Visits.
#[async_trait]
pub trait VisitStore: Send + Sync {
    /// Adds a visit; does nothing when the id is there already. Its system becomes stale.
    async fn insert_visit(&self, visit: &Visit) -> Stored<()>;
    /// One visit.
    async fn visit(&self, account: AccountId, id: VisitId) -> Stored<Option<Visit>>;
    /// The account's visits, latest day first: by `(visited_on, id)` descending, so the cursor's row and all above it
    /// are behind.
    async fn visits(
        &self,
        account: AccountId,
        filter: &VisitFilter,
        page: &PageAsked<NaiveDate>,
    ) -> Stored<Vec<Visit>>;
    /// Replaces a visit whose stored version is `version`, and keeps what stood before as a revision. Its system
    /// becomes stale.
    async fn update_visit(&self, account: AccountId, version: i64, new: &Visit) -> Stored<Updated>;
    /// What a visit was before each change, oldest first.
    async fn revisions(&self, id: VisitId) -> Stored<Vec<Revision>>;
}

/// Tasks, status and the work of refreshing them.
#[async_trait]
pub trait TaskStore: Send + Sync {
    /// The account's tasks by `(sort_on, id)`, where tasks without a date come last ([`crate::domain::task::NO_DATE`]).
    /// A filter by `from` or `to` leaves those without a date out.
    async fn tasks(
        &self,
        account: AccountId,
        filter: &TaskFilter,
        page: &PageAsked<NaiveDate>,
    ) -> Stored<Vec<Task>>;
    /// The same, with how their due dates moved.
    async fn moved_tasks(
        &self,
        account: AccountId,
        filter: &TaskFilter,
        page: &PageAsked<NaiveDate>,
    ) -> Stored<Vec<(Task, Moves)>>;
    /// How many tasks a filter finds, in no order.
    async fn count_tasks(&self, account: AccountId, filter: &TaskFilter) -> Stored<Counted>;
    /// One task.
    async fn task(&self, account: AccountId, id: TaskId) -> Stored<Option<Task>>;
    /// A system's status, if it was ever refreshed, with the end of its day unless a refresh is waited for.
    async fn status(&self, account: AccountId, system: SystemId) -> Stored<Option<Polled>>;
    /// Claims up to `limit` stale systems (inputs newer than the last refresh, or the local day over) that nobody else
    /// holds, grouped by gauge, and holds them until `until`. Two replicas never get the same system at once. A hold that
    /// a clock far ahead has made counts for nothing.
    async fn claim_stale(
        &self,
        now: DateTime<Utc>,
        until: DateTime<Utc>,
        limit: u32,
    ) -> Stored<Vec<StaleSystem>>;
    /// Writes refreshed systems, all in one transaction, and lets go of them. What there is to tell of their tasks
    /// ([`crate::domain::reminder::see`]) is appended to the feeds in the same transaction; says how many entries. A system
    /// whose inputs changed since the claim stays stale. A system refreshed by another replica from newer inputs is not set
    /// back.
    async fn finish_refresh(&self, refreshed: &[Refreshed], now: DateTime<Utc>) -> Stored<usize>;
    /// Lets go of claimed systems that could not be refreshed, to be tried again at `at`.
    async fn release_stale(&self, claims: &[StaleSystem], at: DateTime<Utc>) -> Stored<()>;
    /// How many systems are stale now.
    async fn stale_count(&self, now: DateTime<Utc>) -> Stored<i64>;
}

/// Forecasts that findings answered.
#[async_trait]
pub trait SkillStore: Send + Sync {
    /// The answers of each duty together, in no order.
    async fn skill(&self, account: AccountId, filter: &SkillFilter) -> Stored<Vec<DutySkill>>;
    /// The answers, latest visit first: by `(visited_on, id)` descending.
    async fn answers(
        &self,
        account: AccountId,
        filter: &SkillFilter,
        page: &PageAsked<NaiveDate>,
    ) -> Stored<Vec<Answered>>;
    /// Claims up to `limit` systems whose visits changed since their answers were worked out, and holds them until
    /// `until`. Two replicas never get the same system at once.
    async fn claim_unscored(
        &self,
        now: DateTime<Utc>,
        until: DateTime<Utc>,
        limit: u32,
    ) -> Stored<Vec<Unscored>>;
    /// What the answers that are kept of a system rest on.
    async fn histories(&self, system: SystemId) -> Stored<BTreeMap<AnswerId, History>>;
    /// Removes what is no longer so of a claimed system and writes what is new. Does nothing when a visit changed since the
    /// claim, or when somebody else holds it by now.
    async fn finish_scoring(&self, claim: &Unscored, answers: &Answers, now: DateTime<Utc>) -> Stored<()>;
    /// Lets go of a claimed system whose answers could not be worked out, to be tried again at `at`.
    async fn release_unscored(&self, claim: &Unscored, at: DateTime<Utc>) -> Stored<()>;
    /// How many systems have answers to be worked out.
    async fn unscored_count(&self) -> Stored<i64>;
}

/// The reminders' feed.
#[async_trait]
pub trait ReminderStore: Send + Sync {
    /// Reads a stretch of an account's feed. Entries become visible in the order of their numbers: one that is read has all
    /// before it beside it.
    async fn reminders(&self, account: AccountId, filter: &ReminderFilter, stretch: Stretch) -> Stored<Read>;
    /// Forgets entries that were raised before an instant, but for those behind one that was not; says how many.
    async fn forget_reminders(&self, before: DateTime<Utc>) -> Stored<u64>;
}

/// Rounds that are kept.
#[async_trait]
pub trait RoundStore: Send + Sync {
    /// The account's tasks that stand in rounds that are planned and that no visit did since, in no order.
    async fn planned_tasks(&self, account: AccountId) -> Stored<Vec<PlannedTask>>;
    /// Where properties of the account are, in no order; those that are not there are left out.
    async fn positions(
        &self,
        account: AccountId,
        properties: &[PropertyId],
    ) -> Stored<Vec<(PropertyId, Position)>>;
    /// Those of these tasks that the account has, in no order.
    async fn tasks_by_id(&self, account: AccountId, ids: &[TaskId]) -> Stored<Vec<Task>>;
    /// Keeps a round as planned; does nothing when the id is there already. Of two rounds with a task in common that are
    /// kept at once, one is refused.
    async fn insert_round(&self, round: &Round) -> Stored<Kept>;
    /// One round. Names are those of now.
    async fn round(&self, account: AccountId, id: RoundId) -> Stored<Option<Round>>;
    /// The account's rounds by `(on, id)`.
    async fn rounds(
        &self,
        account: AccountId,
        filter: &RoundFilter,
        page: &PageAsked<NaiveDate>,
    ) -> Stored<Vec<Round>>;
    /// Removes a planned round if the version is current; its tasks are free.
    async fn delete_round(&self, account: AccountId, id: RoundId, version: i64) -> Stored<CalledOff>;
    /// Writes a round as it was done and logs its visits, all or nothing, unless it was done before, or a visit did a task of
    /// it that is without [`crate::domain::rounds::RoundTask::done_elsewhere`]. The systems visited
    /// become stale, and the tasks of the round are free.
    async fn finish_round(&self, round: &Round, visits: &[Visit]) -> Stored<Finished>;
}

/// Repeated requests.
#[async_trait]
pub trait IdempotencyStore: Send + Sync {
    /// Claims a key, or says what stands in the way. One of several rivals wins. A claim without an answer older than
    /// [`crate::domain::idempotency::HELD`] is taken over with the first attempt's seed; an answer older than
    /// [`crate::domain::idempotency::KEPT`] counts as gone.
    async fn claim(&self, attempt: &Attempt) -> Stored<Claim>;
    /// Keeps the answer.
    async fn answer(&self, account: AccountId, key: &str, answer: &Answer) -> Stored<()>;
    /// Forgets a claim whose request failed without doing anything.
    async fn forget(&self, account: AccountId, key: &str) -> Stored<()>;
    /// Removes answers and claims made before an instant; says how many.
    async fn purge(&self, before: DateTime<Utc>) -> Stored<u64>;
}

/// The whole store.
#[async_trait]
pub trait Store:
    AccountStore
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
{
    /// Whether it can be reached.
    async fn ping(&self) -> Stored<()>;
    /// Lets go of its connections.
    async fn close(&self);
}
