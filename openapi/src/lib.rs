//! Wire types and problem codes of the Eavesward API, shared by the service and the client.
//!
//! JSON has SI figures, with the unit in the field name. Civil dates (`YYYY-MM-DD`) are in the property's time
//! zone. Instants are RFC 3339 in UTC.
//!
//! The service refuses requests with unknown fields. Clients ignore unknown fields of responses, so that an old
//! client can read a newer service. For the same reason, enums in responses end in a variant for words
//! that this version does not know: `Other`, which keeps the word, or `Unknown`.
//!
//! The feature `openapi` adds the OpenAPI schemas. Only the service needs it.
#![deny(missing_docs)]
// Older toolchains than the workspace's build this crate: what they lack is no matter of a warning.
#![deny(clippy::incompatible_msrv)]

mod account;
mod audit;
mod calendar;
mod component;
mod digest;
mod duty;
mod finding;
mod forecast;
mod gauge;
#[cfg(all(test, not(feature = "service")))]
mod newer;
mod page;
mod problem;
mod property;
mod reason;
mod reminder;
mod round;
mod setters;
mod skill;
mod status;
mod subscription;
mod system;
mod task;
mod visit;
mod word;

/// The most characters of an `Idempotency-Key`. An id, or a digest with a word before it, has half as many.
pub const LONGEST_IDEMPOTENCY_KEY: usize = 200;

pub use account::{Account, ApiKey, KeyCreated, KeyRequest, Quota, QuotaOf, Scope};
pub use audit::{ActorKind, AuditActor, AuditEntry, AuditThing, ThingKind};
pub use calendar::{Calendar, CalendarCreated, CalendarRequest};
pub use component::{
    Component, ComponentKind, ComponentRequest, CouplingMaterial, Emptying, Exposition, MonthDay, Part,
    ReplaceRequest, RetireRequest, Shade, ValveType, parts,
};
pub use digest::{Digest, DigestProperty, DigestTask, DigestTotals};
pub use duty::{
    Accumulated, AgeingClock, BestDay, Caution, DecidedBy, DefaultLongestInterval, DefaultTolerance, Duty,
    DutySettings, DutySettingsInput, DutySettingsRequest, Hazard, Lesson, Limit, NextFinding, Window,
};
pub use finding::{Finding, FoundClass};
pub use forecast::{
    Chances, ClimateBasis, ClimateSummary, CurvePoint, DutyForecast, ForecastRequest, NormalsInput,
    SystemForecast,
};
pub use gauge::{
    Gauge, GaugeRequest, MonthlyNormals, RainCounts, RainDay, RainLayout, RainRefusal, RainReport,
    RainRequest,
};
pub use page::Page;
pub use problem::{FieldProblem, Problem, ProblemCode};
pub use property::{MonthlyTemperatures, Property, PropertyRequest};
pub use reason::{Figure, Reason};
pub use reminder::{DateMoved, MoveCause, Reminder, ReminderFeed, ReminderKind};
pub use round::{
    KeptTask, OverdueRound, ProposedRound, Round, RoundCosts, RoundDone, RoundDoneRequest, RoundFigures,
    RoundItem, RoundProposal, RoundRequest, RoundState, RoundTask, SkippedTask, UnplacedTask,
};
pub use skill::{AnsweredForecast, DutySkill, ExpectedFullness};
pub use status::{NextDuty, RunoffSince, SystemStatus};
pub use subscription::{
    Delivery, DeliveryAttempt, DeliveryContent, DeliveryLog, DeliveryState, DigestFormat, DigestPosted,
    ReminderPosted, Sends, Subscription, SubscriptionRequest, SubscriptionSecret, TestData, TestPosted,
};
pub use system::{
    Canopy, CoefficientSource, Roof, RoofRequest, Surface, System, SystemCreateRequest, SystemUpdateRequest,
};
pub use task::{Task, TaskState};
pub use visit::{Visit, VisitItem, VisitItemAnswer, VisitRequest, VisitRevision, WithdrawRequest};
pub use word::OtherWord;
