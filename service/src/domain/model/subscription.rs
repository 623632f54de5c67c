//! Subscriptions: reminders posted to an address as they come, or a digest at set times.

use crate::domain::base::check::{Check, zone};
use crate::domain::base::ids::{AccountId, PropertyId, SubscriptionId, SystemId};
use crate::domain::base::schedule::Schedule;
use crate::domain::base::words::words;
use crate::domain::model::reminder::{ReminderFilter, ReminderKind};
use crate::domain::model::signing::Secrets;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use url::Url;

/// The longest address, in bytes.
pub const LONGEST_URL: usize = 2_000;

/// Times that are shown of a schedule.
const SHOWN: usize = 5;

words! {
    /// How a digest is written.
    DigestForm {
        /// JSON.
        Json "json",
        /// Plain text.
        Text "text",
        /// Markdown.
        Markdown "markdown",
        /// A spreadsheet's table.
        Csv "csv",
    }
}

/// When a digest is made, and as what.
#[derive(Clone, Debug, PartialEq)]
pub struct Timing {
    /// At which times of day.
    pub schedule: Schedule,
    /// In which zone.
    pub zone: Tz,
    /// Whether the zone was given, and is not that of the property.
    pub zone_given: bool,
    /// How it is written.
    pub form: DigestForm,
}

impl Timing {
    /// Whether a digest is made at the same instants.
    pub fn same_times(&self, other: &Self) -> bool {
        self.schedule == other.schedule && self.zone == other.zone
    }
}

/// What is carried.
#[derive(Clone, Debug, PartialEq)]
pub enum Carries {
    /// Entries of the feed as they come, those that tell of one of these; all when empty.
    Reminders {
        /// What they tell of.
        kinds: Vec<ReminderKind>,
    },
    /// A digest at set times.
    Digest(Timing),
}

/// What a subscription is.
#[derive(Clone, Debug, PartialEq)]
pub struct SubscriptionFacts {
    /// What it is called.
    pub name: String,
    /// Where it is posted to.
    pub url: String,
    /// What is carried.
    pub carries: Carries,
    /// What concerns this property alone.
    pub property_id: Option<PropertyId>,
    /// What concerns this system alone.
    pub system_id: Option<SystemId>,
    /// Of a digest: how many days ahead it looks. Of reminders: what only announces a date is held back until so many days
    /// before it; absent, it is sent when it is raised.
    pub lead_days: Option<u32>,
}

/// Why nothing is sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Paused {
    /// Since when.
    pub at: DateTime<Utc>,
    /// Why, when it was not somebody's wish.
    pub because: Option<String>,
}

/// A subscription.
#[derive(Clone, Debug, PartialEq)]
pub struct Subscription {
    /// Id.
    pub id: SubscriptionId,
    /// Whose it is.
    pub account_id: AccountId,
    /// What it is.
    pub facts: SubscriptionFacts,
    /// The secrets that sign.
    pub secrets: Secrets,
    /// Why nothing is sent, if so.
    pub paused: Option<Paused>,
    /// When the next digest is made.
    pub next_at: Option<DateTime<Utc>>,
    /// What waits to be sent.
    pub waiting: i64,
    /// What was given up.
    pub parked: i64,
    /// Counts up with every change.
    pub version: i64,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it was last changed.
    pub updated_at: DateTime<Utc>,
}

impl Subscription {
    /// Which entries it carries.
    pub fn filter(&self) -> ReminderFilter {
        let kinds = match &self.facts.carries {
            Carries::Reminders { kinds } => kinds.clone(),
            Carries::Digest(_) => Vec::new(),
        };
        ReminderFilter { property_id: self.facts.property_id, system_id: self.facts.system_id, kinds }
    }

    /// The next times that a digest is made after an instant.
    pub fn upcoming(&self, now: DateTime<Utc>) -> Vec<DateTime<Utc>> {
        match &self.facts.carries {
            Carries::Digest(timing) if self.paused.is_none() => {
                timing.schedule.upcoming(now, timing.zone, SHOWN)
            }
            _ => Vec::new(),
        }
    }
}

/// What a caller wants a subscription to be: as [`SubscriptionFacts`], before it is checked.
#[derive(Clone, Debug)]
pub struct SubscriptionDraft {
    /// What it is called.
    pub name: String,
    /// Where it is posted to.
    pub url: String,
    /// Whether it carries a digest, and not reminders.
    pub digest: bool,
    /// Of reminders: what they tell of.
    pub kinds: Vec<ReminderKind>,
    /// What concerns this property alone.
    pub property_id: Option<PropertyId>,
    /// What concerns this system alone.
    pub system_id: Option<SystemId>,
    /// See [`SubscriptionFacts::lead_days`].
    pub lead_days: Option<u32>,
    /// Of a digest: when.
    pub schedule: Option<String>,
    /// Of a digest: in which zone; that of the property when absent.
    pub time_zone: Option<String>,
    /// Of a digest: how it is written.
    pub form: Option<DigestForm>,
}

pub(crate) fn timing(check: &mut Check, draft: &SubscriptionDraft, home: Option<Tz>) -> Option<Timing> {
    let schedule = match draft.schedule.as_deref().map(Schedule::parse) {
        None => {
            check.refuse("schedule", "a digest wants to know when, such as `0 7 * * 1` for Mondays at seven");
            None
        }
        Some(Err(why)) => {
            check.refuse("schedule", why);
            None
        }
        Some(Ok(schedule)) => Some(schedule),
    };
    let zone = if let Some(name) = draft.time_zone.as_deref() {
        zone(check, "time_zone", name)
    } else {
        if home.is_none() {
            let why = "for a digest of all properties, give the IANA time zone that its times are in, such as Europe/Lisbon";
            check.refuse("time_zone", why);
        }
        home
    };
    let (schedule, zone) = (schedule?, zone?);
    let zone_given = draft.time_zone.is_some();
    Some(Timing { schedule, zone, zone_given, form: draft.form.unwrap_or(DigestForm::Json) })
}

/// Whether something may be posted to an address, as far as its text tells. Where its name leads is looked at when it is
/// posted to.
///
/// # Errors
/// A sentence that says what is wrong and what would be right.
pub fn address(text: &str, local: bool) -> std::result::Result<Url, String> {
    if text.len() > LONGEST_URL {
        return Err(format!("it is longer than {LONGEST_URL} characters"));
    }
    let url = Url::parse(text)
        .map_err(|why| format!("it is no absolute URL such as https://hooks.example/eaves: {why}"))?;
    match url.scheme() {
        "https" => {}
        "http" if local => {}
        "http" => return Err("http is not encrypted; give an https URL".to_owned()),
        other => return Err(format!("{other} cannot be posted to; give an https URL")),
    }
    if !url.username().is_empty() || url.password().is_some() {
        return Err(
            "it holds a user name or password, which would be stored readably; what is posted is signed"
                .to_owned(),
        );
    }
    if url.fragment().is_some() {
        return Err("it has a fragment (#…), which is never sent".to_owned());
    }
    Ok(url)
}

/// What is said of a subscription whose receiver answered 410.
pub fn gone(at: DateTime<Utc>) -> Paused {
    Paused { at, because: Some("The receiver answered 410 Gone.".to_owned()) }
}
