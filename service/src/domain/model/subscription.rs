//! Subscriptions: reminders sent to an address as they come, or a digest at set times.

use crate::domain::base::addresses::is_inside;
use crate::domain::base::check::{Check, zone};
use crate::domain::base::ids::{AccountId, PropertyId, SubscriptionId, SystemId};
use crate::domain::base::schedule::Schedule;
use crate::domain::base::words::words;
use crate::domain::model::reminder::{ReminderFilter, ReminderKind};
use crate::domain::model::signing::Secrets;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use url::Url;

/// The longest address, bytes.
pub const LONGEST_URL: usize = 2_000;

/// Upcoming times of a schedule that are shown.
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
        /// CSV, for spreadsheets.
        Csv "csv",
    }
}

/// When a digest is made, and in which form.
#[derive(Clone, Debug, PartialEq)]
pub struct Timing {
    /// The times of day.
    pub schedule: Schedule,
    /// The time zone of these times.
    pub zone: Tz,
    /// Whether the caller gave the zone. Otherwise it is that of the property.
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

/// What a subscription sends.
#[derive(Clone, Debug, PartialEq)]
pub enum Carries {
    /// Entries of the feed as they come. If kinds are given, only entries of these kinds.
    Reminders {
        /// The kinds of entries; all if empty.
        kinds: Vec<ReminderKind>,
    },
    /// A digest at set times.
    Digest(Timing),
}

/// The settings of a subscription.
#[derive(Clone, Debug, PartialEq)]
pub struct SubscriptionFacts {
    /// Its name.
    pub name: String,
    /// The address that it sends to.
    pub url: String,
    /// What it sends.
    pub carries: Carries,
    /// Only what is about this property.
    pub property_id: Option<PropertyId>,
    /// Only what is about this system.
    pub system_id: Option<SystemId>,
    /// For a digest: how many days it looks ahead. For reminders: an entry that only announces a date is held back
    /// until this many days before that date. If absent, it is sent at once.
    pub lead_days: Option<u32>,
}

/// Why a subscription sends nothing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Paused {
    /// Since when.
    pub at: DateTime<Utc>,
    /// The reason, if no person paused it.
    pub because: Option<String>,
}

/// A subscription.
#[derive(Clone, Debug, PartialEq)]
pub struct Subscription {
    /// Id.
    pub id: SubscriptionId,
    /// The account that owns it.
    pub account_id: AccountId,
    /// Its settings.
    pub facts: SubscriptionFacts,
    /// The secrets that sign what it sends.
    pub secrets: Secrets,
    /// Why it sends nothing, if it is paused.
    pub paused: Option<Paused>,
    /// When the next digest is made.
    pub next_at: Option<DateTime<Utc>>,
    /// When that was computed.
    pub next_set_at: DateTime<Utc>,
    /// The number of deliveries that wait to be sent.
    pub waiting: i64,
    /// The number of deliveries that were given up.
    pub parked: i64,
    /// Counts up with every change.
    pub version: i64,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it was last changed.
    pub updated_at: DateTime<Utc>,
}

impl Subscription {
    /// Which entries it sends.
    pub fn filter(&self) -> ReminderFilter {
        let kinds = match &self.facts.carries {
            Carries::Reminders { kinds } => kinds.clone(),
            Carries::Digest(_) => Vec::new(),
        };
        ReminderFilter { property_id: self.facts.property_id, system_id: self.facts.system_id, kinds }
    }

    /// Whether its secret cannot be read, so that it can sign nothing.
    pub fn lost_its_secret(&self) -> bool {
        self.secrets.current.bytes().is_none()
    }

    /// Whether it is paused because its secret could not be read.
    pub fn is_paused_for_its_secret(&self) -> bool {
        self.paused.as_ref().is_some_and(|paused| paused.because.as_deref() == Some(UNREADABLE_SECRET))
    }

    /// The next times after an instant at which a digest is made.
    pub fn upcoming(&self, now: DateTime<Utc>) -> Vec<DateTime<Utc>> {
        match &self.facts.carries {
            Carries::Digest(timing) if self.paused.is_none() => {
                timing.schedule.upcoming(now, timing.zone, SHOWN)
            }
            _ => Vec::new(),
        }
    }
}

/// The settings that a caller sends: as [`SubscriptionFacts`], not yet checked.
#[derive(Clone, Debug)]
pub struct SubscriptionDraft {
    /// Its name.
    pub name: String,
    /// The address that it sends to.
    pub url: String,
    /// Whether it sends a digest instead of reminders.
    pub digest: bool,
    /// For reminders: the kinds of entries.
    pub kinds: Vec<ReminderKind>,
    /// Only what is about this property.
    pub property_id: Option<PropertyId>,
    /// Only what is about this system.
    pub system_id: Option<SystemId>,
    /// For a digest: how many days it looks ahead.
    pub horizon_days: Option<u32>,
    /// For reminders: see [`SubscriptionFacts::lead_days`].
    pub lead_days: Option<u32>,
    /// For a digest: its crontab expression.
    pub schedule: Option<String>,
    /// For a digest: its time zone; that of the property if absent.
    pub time_zone: Option<String>,
    /// For a digest: its form.
    pub form: Option<DigestForm>,
}

pub(crate) fn timing(check: &mut Check, draft: &SubscriptionDraft, home: Option<Tz>) -> Option<Timing> {
    let schedule = match draft.schedule.as_deref().map(Schedule::parse) {
        None => {
            check.refuse("schedule", "a digest needs a schedule, such as `0 7 * * 1` for Mondays at seven");
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
            let why =
                "a digest of all properties needs a time zone; give its IANA name, such as Europe/Lisbon";
            check.refuse("time_zone", why);
        }
        home
    };
    let (schedule, zone) = (schedule?, zone?);
    let zone_given = draft.time_zone.is_some();
    Some(Timing { schedule, zone, zone_given, form: draft.form.unwrap_or(DigestForm::Json) })
}

/// The same check for an address that a caller enters: it also refuses a host that is known to be inside.
///
/// # Errors
/// A sentence that says what is wrong and what would be right.
pub fn entered_address(text: &str, local: bool) -> std::result::Result<Url, String> {
    let url = address(text, local)?;
    if !local && url.host().is_some_and(|host| is_inside(&host)) {
        return Err("its host is not on the open internet; give a public address, or ask the operator of the service to \
             set local_webhooks"
            .to_owned());
    }
    Ok(url)
}

/// Checks whether the text of an address is acceptable. The host that it names is checked when something is sent.
///
/// # Errors
/// A sentence that says what is wrong and what would be right.
pub fn address(text: &str, local: bool) -> std::result::Result<Url, String> {
    if text.len() > LONGEST_URL {
        return Err(format!("it is longer than {LONGEST_URL} characters"));
    }
    let url = Url::parse(text)
        .map_err(|why| format!("it is not an absolute URL such as https://hooks.example/eaves: {why}"))?;
    match url.scheme() {
        "https" => {}
        "http" if local => {}
        "http" => return Err("http is not encrypted; give an https URL".to_owned()),
        other => return Err(format!("{other}: addresses are not supported; give an https URL")),
    }
    if !url.username().is_empty() || url.password().is_some() {
        return Err("it contains a user name or password, which would be stored in clear; \
             leave them out, as requests are signed"
            .to_owned());
    }
    if url.fragment().is_some() {
        return Err("it has a fragment (#…), which is never sent; leave it out".to_owned());
    }
    Ok(url)
}

/// Why a subscription is paused whose secret cannot be read.
pub const UNREADABLE_SECRET: &str = "The key that encrypts its secret is not here, as after a backup was restored without its \
                                     key file. Make a new secret.";

/// The pause of a subscription whose receiver answered 410.
pub fn gone(at: DateTime<Utc>) -> Paused {
    Paused { at, because: Some("The receiver answered 410 Gone.".to_owned()) }
}
