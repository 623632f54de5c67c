//! What a list is narrowed down to.

use crate::Request;
use bon::Builder;
use chrono::{NaiveDate, Weekday};
use eavesward_contract::{
    ComponentKind, DeliveryState, Duty, RainLayout, ReminderKind, RoundState, TaskState,
};
use uuid::Uuid;

/// A list without filters.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct ListQuery {
    /// Rows a page, 1 to 500; 100 when absent.
    pub limit: Option<u32>,
    /// `next_cursor` of the page before; the beginning when absent.
    #[builder(into)]
    pub cursor: Option<String>,
}

/// Which tasks.
///
/// `within_days` and `from`/`to` are two ways to say the same; give one of them.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct TaskQuery {
    /// Only this property.
    pub property_id: Option<Uuid>,
    /// Only this system.
    pub system_id: Option<Uuid>,
    /// Only components of this kind.
    pub component_kind: Option<ComponentKind>,
    /// Only these states; all when empty.
    #[builder(default, into)]
    pub state: Vec<TaskState>,
    /// Only what falls due within so many days, along with what is due already.
    pub within_days: Option<u32>,
    /// Only what falls due on this day or later.
    pub from: Option<NaiveDate>,
    /// Only what falls due on this day or earlier.
    pub to: Option<NaiveDate>,
    /// Rows a page, 1 to 500; 100 when absent.
    pub limit: Option<u32>,
    /// `next_cursor` of the page before; the beginning when absent.
    #[builder(into)]
    pub cursor: Option<String>,
}

/// What a digest is of. A week, when no days are given.
///
/// `within_days` and `from`/`to` are two ways to say the same; give one of them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct DigestQuery {
    /// Only this property.
    pub property_id: Option<Uuid>,
    /// Only this system.
    pub system_id: Option<Uuid>,
    /// Only what falls due within so many days, along with what is due already.
    pub within_days: Option<u32>,
    /// Only what falls due on this day or later.
    pub from: Option<NaiveDate>,
    /// Only what falls due on this day or earlier.
    pub to: Option<NaiveDate>,
}

/// A digest as text.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DigestFormat {
    /// A table for a spreadsheet (RFC 4180).
    Csv,
    /// Plain text of at most eighty columns.
    Text,
    /// CommonMark.
    Markdown,
}

impl DigestFormat {
    /// The ending of its path.
    pub(crate) const fn ending(self) -> &'static str {
        match self {
            Self::Csv => "csv",
            Self::Text => "txt",
            Self::Markdown => "md",
        }
    }
}

/// Which systems.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct SystemQuery {
    /// Only those at this property.
    pub property_id: Option<Uuid>,
    /// Only those under this gauge.
    pub gauge_id: Option<Uuid>,
    /// Rows a page, 1 to 500; 100 when absent.
    pub limit: Option<u32>,
    /// `next_cursor` of the page before; the beginning when absent.
    #[builder(into)]
    pub cursor: Option<String>,
}

/// Which components of a system.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct ComponentQuery {
    /// Whether those taken out are listed too.
    #[builder(default)]
    pub include_removed: bool,
    /// `next_cursor` of the page before; the beginning when absent.
    #[builder(into)]
    pub cursor: Option<String>,
}

/// Which visits.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct VisitQuery {
    /// Only visits to this system.
    pub system_id: Option<Uuid>,
    /// Only visits on this day or later.
    pub from: Option<NaiveDate>,
    /// Only visits on this day or earlier.
    pub to: Option<NaiveDate>,
    /// Whether withdrawn visits are listed too.
    #[builder(default)]
    pub include_withdrawn: bool,
    /// Rows a page, 1 to 500; 100 when absent.
    pub limit: Option<u32>,
    /// `next_cursor` of the page before; the beginning when absent.
    #[builder(into)]
    pub cursor: Option<String>,
}

/// Which findings count for the skill of forecasts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct SkillQuery {
    /// Only findings on this system.
    pub system_id: Option<Uuid>,
    /// Only those of visits on this day or later.
    pub from: Option<NaiveDate>,
    /// Only those of visits on this day or earlier.
    pub to: Option<NaiveDate>,
}

/// Which answered forecasts.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct AnswerQuery {
    /// Only those of this system.
    pub system_id: Option<Uuid>,
    /// Only those of this duty.
    pub duty: Option<Duty>,
    /// Only those of visits on this day or later.
    pub from: Option<NaiveDate>,
    /// Only those of visits on this day or earlier.
    pub to: Option<NaiveDate>,
    /// Rows a page, 1 to 500; 100 when absent.
    pub limit: Option<u32>,
    /// `next_cursor` of the page before; the beginning when absent.
    #[builder(into)]
    pub cursor: Option<String>,
}

/// What of the reminders' feed.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct ReminderQuery {
    /// Only this property.
    pub property_id: Option<Uuid>,
    /// Only this system.
    pub system_id: Option<Uuid>,
    /// Only what tells of one of these; everything when empty.
    #[builder(default, into)]
    pub kind: Vec<ReminderKind>,
    /// A cursor to go on from; `now` for the end of the feed; the oldest entry that is kept when absent.
    #[builder(into)]
    pub after: Option<String>,
    /// Seconds the service waits for an entry when there is none, 0 to 30; not at all when absent.
    pub wait_s: Option<u32>,
    /// The most entries, 1 to 500; 100 when absent.
    pub limit: Option<u32>,
}

/// Which deliveries of a subscription.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct DeliveryQuery {
    /// Only those that stand here.
    pub state: Option<DeliveryState>,
    /// Rows a page, 1 to 500; 100 when absent.
    pub limit: Option<u32>,
    /// `next_cursor` of the page before; the beginning when absent.
    #[builder(into)]
    pub cursor: Option<String>,
}

/// Which tasks to put into rounds, and what things cost, in any unit: only the ratios count.
#[derive(Clone, Debug, Default, PartialEq, Builder)]
#[non_exhaustive]
pub struct RoundQuery {
    /// The first day; the service's today (UTC) when absent.
    pub from: Option<NaiveDate>,
    /// The last day, at most half a year on; four weeks in all when absent.
    pub to: Option<NaiveDate>,
    /// Only tasks at this property.
    pub property_id: Option<Uuid>,
    /// Only tasks of this system.
    pub system_id: Option<Uuid>,
    /// Days of the week on which nobody works.
    #[builder(default, into)]
    pub off_weekdays: Vec<Weekday>,
    /// Dates on which nobody works.
    #[builder(default, into)]
    pub off_dates: Vec<NaiveDate>,
    /// Whether tasks of rounds that are planned already are put into rounds as well.
    #[builder(default)]
    pub include_planned: bool,
    /// What a trip costs; the service's figure when absent, as with all that follow.
    pub trip_cost: Option<f64>,
    /// What each property of a trip beyond the first costs.
    pub stop_cost: Option<f64>,
    /// What a day early costs.
    pub cost_per_day_early: Option<f64>,
    /// What a day late costs.
    pub cost_per_day_late: Option<f64>,
    /// The most minutes of work of a trip.
    pub most_minutes: Option<u32>,
    /// How near properties are that may share a trip, km; 0 for every property by itself.
    pub nearby_km: Option<f64>,
}

/// Which kept rounds.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct KeptRoundQuery {
    /// Only those in this state.
    pub state: Option<RoundState>,
    /// Only those planned for this day or later.
    pub from: Option<NaiveDate>,
    /// Only those planned for this day or earlier.
    pub to: Option<NaiveDate>,
    /// Rows a page, 1 to 50; 50 when absent.
    pub limit: Option<u32>,
    /// `next_cursor` of the page before; the beginning when absent.
    #[builder(into)]
    pub cursor: Option<String>,
}

/// Which days of a gauge's rain.
#[derive(Clone, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct RainQuery {
    /// First day.
    pub from: Option<NaiveDate>,
    /// Last day, included.
    pub to: Option<NaiveDate>,
    /// Rows a page, 1 to 500; 100 when absent.
    pub limit: Option<u32>,
    /// `next_cursor` of the page before; the beginning when absent.
    #[builder(into)]
    pub cursor: Option<String>,
}

/// What becomes of a reading that covers several days.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Accumulated {
    /// It is spread evenly over the days it covers.
    Spread,
    /// It is refused.
    Refuse,
}

/// How a rain file is to be read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct RainFileOptions {
    /// How it is laid out.
    #[builder(default)]
    pub layout: RainLayout,
    /// What becomes of accumulated readings; the service's default when absent.
    pub accumulated: Option<Accumulated>,
    /// Whether one bad line keeps the whole file from being stored.
    #[builder(default)]
    pub all_or_nothing: bool,
    /// The most lines of a piece of a long file, for those who watch how far it is: from 1 to
    /// [`MAX_LINES`](crate::rain_file::MAX_LINES), which also stands for none.
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
    pub(crate) fn put_on(self, request: Request) -> Request {
        request
            .query_some("property_id", self.property_id)
            .query_some("system_id", self.system_id)
            .query_some("within", self.within_days.map(|days| format!("P{days}D")))
            .query_some("from", self.from)
            .query_some("to", self.to)
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
    pub(crate) fn put_on(self, request: Request) -> Request {
        let accumulated = self.accumulated.map(|what| match what {
            Accumulated::Spread => "spread",
            Accumulated::Refuse => "refuse",
        });
        request
            .query("layout", word(&self.layout))
            .query_some("accumulated", accumulated)
            .query_some("all_or_nothing", self.all_or_nothing.then_some(true))
    }
}

/// The word that stands for a unit variant on the wire.
///
/// Asking the type itself keeps the words in one place, the contract.
pub(crate) fn word<T: serde::Serialize>(value: &T) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(word)) => word,
        // Never for the unit variants this is used with; an empty word is refused by the service with its reason.
        _ => String::new(),
    }
}
