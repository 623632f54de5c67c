//! Filters of lists.

use crate::Request;
use bon::Builder;
use chrono::{DateTime, NaiveDate, SecondsFormat, Utc, Weekday};
use eavesward_contract::{
    ComponentKind, DeliveryState, Duty, RainLayout, ReminderKind, RoundState, TaskState,
};
use uuid::Uuid;

/// A list without filters.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct ListQuery {
    /// Rows per page, 1 to 500; 100 if absent.
    pub limit: Option<u32>,
    /// `next_cursor` of the page before; the beginning if absent.
    #[builder(into)]
    pub cursor: Option<String>,
}

/// Which tasks to list.
///
/// Give either `within_days` or `from` and `to`, not both.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct TaskQuery {
    /// Only this property.
    pub property_id: Option<Uuid>,
    /// Only this system.
    pub system_id: Option<Uuid>,
    /// Only components of this kind.
    pub component_kind: Option<ComponentKind>,
    /// Only these states; all if empty.
    #[builder(default, into)]
    pub state: Vec<TaskState>,
    /// Only tasks that fall due within this many days, including those that are due already.
    pub within_days: Option<u32>,
    /// Only tasks that fall due on this day or later.
    pub from: Option<NaiveDate>,
    /// Only tasks that fall due on this day or earlier.
    pub to: Option<NaiveDate>,
    /// Rows per page, 1 to 500; 100 if absent.
    pub limit: Option<u32>,
    /// `next_cursor` of the page before; the beginning if absent.
    #[builder(into)]
    pub cursor: Option<String>,
}

/// What a digest covers: 7 days, unless you give other days.
///
/// Give either `within_days` or `from` and `to`, not both.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct DigestQuery {
    /// Only this property.
    pub property_id: Option<Uuid>,
    /// Only this system.
    pub system_id: Option<Uuid>,
    /// Only tasks that fall due within this many days, including those that are due already.
    pub within_days: Option<u32>,
    /// Only tasks that fall due on this day or later.
    pub from: Option<NaiveDate>,
    /// Only tasks that fall due on this day or earlier.
    pub to: Option<NaiveDate>,
}

/// The format of a digest as text.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum DigestFormat {
    /// A table for a spreadsheet (RFC 4180).
    Csv,
    /// Plain text of at most eighty columns.
    Text,
    /// CommonMark.
    Markdown,
}

impl DigestFormat {
    /// The extension of its path.
    pub(crate) const fn ending(self) -> &'static str {
        match self {
            Self::Csv => "csv",
            Self::Text => "txt",
            Self::Markdown => "md",
        }
    }
}

/// Which forecast of a system to make.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct ForecastQuery {
    /// The day to forecast for; the property's today if absent. Nothing later is used.
    pub as_of: Option<NaiveDate>,
}

/// Which duties to list.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct DutyQuery {
    /// `next_cursor` of the page before; the beginning if absent.
    #[builder(into)]
    pub cursor: Option<String>,
}

/// Which versions of a visit to list.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct RevisionQuery {
    /// `next_cursor` of the page before; the beginning if absent.
    #[builder(into)]
    pub cursor: Option<String>,
}

/// How to take readings of rain.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct RainOptions {
    /// Whether one refused reading prevents storing the others.
    #[builder(default)]
    pub all_or_nothing: bool,
}

/// Which systems to list.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct SystemQuery {
    /// Only systems at this property.
    pub property_id: Option<Uuid>,
    /// Only systems that use this rain gauge.
    pub gauge_id: Option<Uuid>,
    /// Rows per page, 1 to 500; 100 if absent.
    pub limit: Option<u32>,
    /// `next_cursor` of the page before; the beginning if absent.
    #[builder(into)]
    pub cursor: Option<String>,
}

/// Which components of a system to list.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct ComponentQuery {
    /// Whether to list removed components too.
    #[builder(default)]
    pub include_retired: bool,
    /// `next_cursor` of the page before; the beginning if absent.
    #[builder(into)]
    pub cursor: Option<String>,
}

/// Which visits to list.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct VisitQuery {
    /// Only visits to this system.
    pub system_id: Option<Uuid>,
    /// Only visits on this day or later.
    pub from: Option<NaiveDate>,
    /// Only visits on this day or earlier.
    pub to: Option<NaiveDate>,
    /// Whether to list withdrawn visits too.
    #[builder(default)]
    pub include_withdrawn: bool,
    /// Rows per page, 1 to 500; 100 if absent.
    pub limit: Option<u32>,
    /// `next_cursor` of the page before; the beginning if absent.
    #[builder(into)]
    pub cursor: Option<String>,
}

/// Which entries of the audit to list.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct AuditQuery {
    /// Only changes made with this key.
    pub key_id: Option<Uuid>,
    /// Only changes of the thing with this id. A duty has its word.
    #[builder(into)]
    pub thing_id: Option<String>,
    /// Only changes at this instant or later.
    pub from: Option<DateTime<Utc>>,
    /// Only changes before this instant.
    pub until: Option<DateTime<Utc>>,
    /// Rows per page, 1 to 500; 100 if absent.
    pub limit: Option<u32>,
    /// `next_cursor` of the page before; the newest entry if absent.
    #[builder(into)]
    pub cursor: Option<String>,
}

/// Which findings count for the skill of forecasts.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct SkillQuery {
    /// Only findings on this system.
    pub system_id: Option<Uuid>,
    /// Only findings of visits on this day or later.
    pub from: Option<NaiveDate>,
    /// Only findings of visits on this day or earlier.
    pub to: Option<NaiveDate>,
}

/// Which forecasts with an answering finding to list.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct AnswerQuery {
    /// Only forecasts of this system.
    pub system_id: Option<Uuid>,
    /// Only forecasts of this duty.
    pub duty: Option<Duty>,
    /// Only findings of visits on this day or later.
    pub from: Option<NaiveDate>,
    /// Only findings of visits on this day or earlier.
    pub to: Option<NaiveDate>,
    /// Rows per page, 1 to 500; 100 if absent.
    pub limit: Option<u32>,
    /// `next_cursor` of the page before; the beginning if absent.
    #[builder(into)]
    pub cursor: Option<String>,
}

/// Which part of the reminders' feed to read.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct ReminderQuery {
    /// Only this property.
    pub property_id: Option<Uuid>,
    /// Only this system.
    pub system_id: Option<Uuid>,
    /// Only entries of these kinds; all if empty.
    #[builder(default, into)]
    pub kind: Vec<ReminderKind>,
    /// The cursor to continue from, or `now` for the end of the feed; the oldest stored entry if absent.
    #[builder(into)]
    pub after: Option<String>,
    /// Seconds that the service waits for an entry if there is none, 0 to 30; no wait if absent.
    pub wait_s: Option<u32>,
    /// The most entries, 1 to 500; 100 if absent.
    pub limit: Option<u32>,
}

/// Which deliveries of a subscription to list.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct DeliveryQuery {
    /// Only deliveries in this state.
    pub state: Option<DeliveryState>,
    /// Rows per page, 1 to 500; 100 if absent.
    pub limit: Option<u32>,
    /// `next_cursor` of the page before; the beginning if absent.
    #[builder(into)]
    pub cursor: Option<String>,
}

/// Which tasks to group into rounds, and the costs. Costs may be in any unit, because only their ratios count.
#[derive(Clone, Debug, Default, PartialEq, Builder)]
#[non_exhaustive]
pub struct RoundQuery {
    /// The first day; the service's today (UTC) if absent.
    pub from: Option<NaiveDate>,
    /// The last day, at most half a year after the first; four weeks in all if absent.
    pub to: Option<NaiveDate>,
    /// Only tasks at this property.
    pub property_id: Option<Uuid>,
    /// Only tasks of this system.
    pub system_id: Option<Uuid>,
    /// Days of the week without work.
    #[builder(default, into)]
    pub off_weekdays: Vec<Weekday>,
    /// Dates without work.
    #[builder(default, into)]
    pub off_dates: Vec<NaiveDate>,
    /// Whether to include tasks that are already in planned rounds.
    #[builder(default)]
    pub include_planned: bool,
    /// The cost of a trip. For this and all following figures, the service's default applies if absent.
    pub trip_cost: Option<f64>,
    /// The cost of each property of a trip after the first.
    pub stop_cost: Option<f64>,
    /// The cost of doing a task one day early.
    pub cost_per_day_early: Option<f64>,
    /// The cost of doing a task one day late.
    pub cost_per_day_late: Option<f64>,
    /// The most minutes of work on one trip.
    pub most_minutes: Option<u32>,
    /// How near properties must be to share a trip, in km; 0 gives each property its own trip.
    pub nearby_km: Option<f64>,
}

/// Which kept rounds to list.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct KeptRoundQuery {
    /// Only rounds in this state.
    pub state: Option<RoundState>,
    /// Only rounds planned for this day or later.
    pub from: Option<NaiveDate>,
    /// Only rounds planned for this day or earlier.
    pub to: Option<NaiveDate>,
    /// Rows per page, 1 to 50; 50 if absent.
    pub limit: Option<u32>,
    /// `next_cursor` of the page before; the beginning if absent.
    #[builder(into)]
    pub cursor: Option<String>,
}

/// Which days of a rain gauge's readings to list.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct RainQuery {
    /// First day.
    pub from: Option<NaiveDate>,
    /// Last day, included.
    pub to: Option<NaiveDate>,
    /// Rows per page, 1 to 500; 100 if absent.
    pub limit: Option<u32>,
    /// `next_cursor` of the page before; the beginning if absent.
    #[builder(into)]
    pub cursor: Option<String>,
}

/// What to do with a reading that covers several days.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum SeveralDays {
    /// Spread it evenly over the days that it covers.
    Spread,
    /// Refuse it.
    Refuse,
}

/// How to read a rain file.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct RainFileOptions {
    /// The layout of the file.
    #[builder(default)]
    pub layout: RainLayout,
    /// What to do with readings that cover several days; the service's default if absent.
    pub several_days: Option<SeveralDays>,
    /// Whether one refused line prevents storing the whole file.
    #[builder(default)]
    pub all_or_nothing: bool,
    /// The most lines in one piece of a long file. Smaller pieces give finer progress. At least 1 and at most
    /// [`MAX_LINES`](crate::rain_file::MAX_LINES), which also applies if absent.
    pub max_lines: Option<usize>,
}

impl TaskQuery {
    pub(crate) fn put_on(&self, request: Request) -> Request {
        let states: Vec<String> = self.state.iter().map(word).collect();
        request
            .query_some("property_id", self.property_id)
            .query_some("system_id", self.system_id)
            .query_some("component_kind", self.component_kind.as_ref().map(word))
            .query_some("state", (!states.is_empty()).then(|| states.join(",")))
            .query_some("within", self.within_days.map(|days| format!("P{days}D")))
            .query_some("from", self.from)
            .query_some("to", self.to)
            .query_some("limit", self.limit)
            .query_some("cursor", self.cursor.as_deref())
    }
}

impl ReminderQuery {
    pub(crate) fn put_on(&self, request: Request) -> Request {
        let kinds: Vec<String> = self.kind.iter().map(word).collect();
        request
            .query_some("after", self.after.as_deref())
            .query_some("wait", self.wait_s)
            .query_some("property_id", self.property_id)
            .query_some("system_id", self.system_id)
            .query_some("kind", (!kinds.is_empty()).then(|| kinds.join(",")))
            .query_some("limit", self.limit)
    }
}

impl DigestQuery {
    pub(crate) fn put_on(&self, request: Request) -> Request {
        request
            .query_some("property_id", self.property_id)
            .query_some("system_id", self.system_id)
            .query_some("within", self.within_days.map(|days| format!("P{days}D")))
            .query_some("from", self.from)
            .query_some("to", self.to)
    }
}

impl AuditQuery {
    pub(crate) fn put_on(&self, request: Request) -> Request {
        // With Z and not +00:00: many servers and proxies read a plus as a blank.
        let instant = |at: DateTime<Utc>| at.to_rfc3339_opts(SecondsFormat::AutoSi, true);
        request
            .query_some("key_id", self.key_id)
            .query_some("thing_id", self.thing_id.as_deref())
            .query_some("from", self.from.map(instant))
            .query_some("until", self.until.map(instant))
            .query_some("limit", self.limit)
            .query_some("cursor", self.cursor.as_deref())
    }
}

impl DeliveryQuery {
    pub(crate) fn put_on(&self, request: Request) -> Request {
        request
            .query_some("state", self.state.as_ref().map(word))
            .query_some("limit", self.limit)
            .query_some("cursor", self.cursor.as_deref())
    }
}

impl RoundQuery {
    pub(crate) fn put_on(&self, request: Request) -> Request {
        let weekdays: Vec<String> =
            self.off_weekdays.iter().map(|day| day.to_string().to_ascii_lowercase()).collect();
        let dates: Vec<String> = self.off_dates.iter().map(NaiveDate::to_string).collect();
        let listed = |words: Vec<String>| (!words.is_empty()).then(|| words.join(","));
        request
            .query_some("from", self.from)
            .query_some("to", self.to)
            .query_some("property_id", self.property_id)
            .query_some("system_id", self.system_id)
            .query_some("off_weekdays", listed(weekdays))
            .query_some("off_dates", listed(dates))
            .query_some("include_planned", self.include_planned.then_some(true))
            .query_some("trip_cost", self.trip_cost)
            .query_some("stop_cost", self.stop_cost)
            .query_some("cost_per_day_early", self.cost_per_day_early)
            .query_some("cost_per_day_late", self.cost_per_day_late)
            .query_some("most_minutes", self.most_minutes)
            .query_some("nearby_km", self.nearby_km)
    }
}

impl RainFileOptions {
    pub(crate) fn put_on(&self, request: Request) -> Request {
        let several_days = self.several_days.map(|what| match what {
            SeveralDays::Spread => "spread",
            SeveralDays::Refuse => "refuse",
        });
        request
            .query("layout", word(&self.layout))
            .query_some("several_days", several_days)
            .query_some("all_or_nothing", self.all_or_nothing.then_some(true))
    }
}

/// The word for a unit variant in JSON.
///
/// The type itself gives the word, so the words are defined only in the contract.
pub(crate) fn word<T: serde::Serialize>(value: &T) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(word)) => word,
        // Unit variants never get here. The service would refuse an empty word and say why.
        _ => String::new(),
    }
}
