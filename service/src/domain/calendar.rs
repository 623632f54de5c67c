//! Calendar feeds: the dates of an account's tasks, or of those at one property, for whatever calendar a person uses.
//!
//! A calendar cannot send a key, so that the address of a feed is one: it ends in 256 random bits, is shown once, kept only
//! as a hash, and can be revoked. What a feed says is made by [`ical`], a pure function.

pub mod ical;

use crate::domain::account::{Secret, hash};
use crate::domain::check::Check;
use crate::domain::duty_settings::DutySettings;
use crate::domain::error::{Error, Result};
use crate::domain::ids::{AccountId, CalendarId, PropertyId};
use crate::domain::paging::{PageAsked, PageFound};
use crate::domain::store::{StoreError, TaskFilter};
use crate::domain::{Context, task};
use chrono::{DateTime, TimeDelta, Utc};
use ical::{Event, LeftOut};
use std::collections::HashMap;

/// Begins the secret in an address. The log knows it, to leave secrets out.
pub const WORD: &str = "ewc";
/// Days ahead of a feed that does not say: a year and a month, so that what comes round yearly is always in it.
pub const USUAL_DAYS: u32 = 400;
/// The furthest days ahead: ten years. Judgement: no date further off is worth an alarm.
pub const MOST_DAYS: u32 = 3_653;
/// The most tasks of a feed. Judgement: some four megabytes; people's calendars become slow before that.
pub const MOST_TASKS: usize = 2_000;
/// How exactly it is kept when a feed was last read: a write for every read would make polling dear.
const READ_TO: TimeDelta = TimeDelta::hours(1);

/// A feed as it is stored: the hash of its secret, never the secret.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Calendar {
    /// Id.
    pub id: CalendarId,
    /// Whose it is.
    pub account_id: AccountId,
    /// The one property it is of; all of the account's when absent. It goes with its property.
    pub property_id: Option<PropertyId>,
    /// What it is called, here and in the calendar.
    pub name: String,
    /// How many days ahead it looks.
    pub horizon_days: u32,
    /// SHA-256 of the secret, which has 256 random bits.
    pub hash: [u8; 32],
    /// The first characters of the secret.
    pub hint: String,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it was last read, to the hour.
    pub last_read_at: Option<DateTime<Utc>>,
    /// When it was revoked.
    pub revoked_at: Option<DateTime<Utc>>,
}

/// What a new feed is to be.
#[derive(Clone, Debug)]
pub struct CalendarDraft {
    /// What it is called.
    pub name: String,
    /// The one property it is of.
    pub property_id: Option<PropertyId>,
    /// How many days ahead it looks.
    pub horizon_days: Option<u32>,
}

/// Makes a feed; the secret is given this once.
pub async fn create(cx: &Context, account: AccountId, draft: CalendarDraft) -> Result<(Calendar, Secret)> {
    let horizon_days = draft.horizon_days.unwrap_or(USUAL_DAYS);
    let mut check = Check::new();
    check.text("name", &draft.name, 200);
    check.between("horizon_days", f64::from(horizon_days), 1.0, f64::from(MOST_DAYS));
    if let Some(id) = draft.property_id
        && cx.store.property(account, id).await?.is_none()
    {
        check.refuse("property_id", no_property(id));
    }
    check.done()?;
    let secret = Secret::random(WORD)?;
    let calendar = Calendar {
        id: CalendarId::new(),
        account_id: account,
        property_id: draft.property_id,
        name: draft.name,
        horizon_days,
        hash: hash(secret.reveal()),
        hint: secret.hint(WORD),
        created_at: cx.clock.now(),
        last_read_at: None,
        revoked_at: None,
    };
    match (cx.store.insert_calendar(&calendar).await, draft.property_id) {
        // Removed since it was looked for.
        (Err(StoreError::Dangling(_)), Some(id)) => Err(Error::field("property_id", no_property(id))),
        (done, _) => done.map(|()| (calendar, secret)).map_err(Into::into),
    }
}

fn no_property(id: PropertyId) -> String {
    format!("there is no property {id} in this account")
}

/// The account's feeds, oldest first, revoked ones included.
pub async fn list(
    cx: &Context,
    account: AccountId,
    cursor: Option<&str>,
    limit: Option<u32>,
) -> Result<PageFound<Calendar>> {
    let asked = PageAsked::read("calendars", cursor, limit)?;
    let rows = cx.store.calendars(account, &asked).await?;
    Ok(asked.page("calendars", rows, |row| (row.created_at, row.id.0)))
}

/// Revokes a feed: its address leads nowhere from now on. Doing it twice changes nothing.
pub async fn revoke(cx: &Context, account: AccountId, id: CalendarId) -> Result<()> {
    if cx.store.revoke_calendar(account, id, cx.clock.now()).await? {
        Ok(())
    } else {
        Err(Error::NotFound { what: "calendar", id: id.to_string() })
    }
}

/// What the feed with this secret says, as iCalendar text; nothing when there is none, or when it is revoked.
///
/// Every task with a due date up to the horizon is an event, those that are overdue on their due date; one whose component
/// was taken out is no longer a task, and drops out.
pub async fn read(cx: &Context, secret: &str) -> Result<Option<String>> {
    let now = cx.clock.now();
    let found = cx.store.calendar_by_hash(&hash(secret)).await?;
    let Some(calendar) = found.filter(|calendar| calendar.revoked_at.is_none()) else { return Ok(None) };
    if calendar.last_read_at.is_none_or(|at| now - at >= READ_TO) {
        // Nobody who reads a feed waits in vain because this cannot be written; the next reading writes it.
        if let Err(error) = cx.store.calendar_was_read(calendar.id, now).await {
            tracing::warn!(calendar = %calendar.id, ?error, "when a calendar was read could not be noted");
        }
    }
    let account = calendar.account_id;
    let filter = TaskFilter {
        property_id: calendar.property_id,
        to: task::last_day(now, u64::from(calendar.horizon_days)),
        ..TaskFilter::default()
    };
    let own = cx.store.duty_settings(account).await?;
    let settings: DutySettings = own.into_iter().map(|setting| (setting.duty, setting.own)).collect();
    let mut events = Vec::new();
    let next = task::each(cx, account, &filter, MOST_TASKS, |task, moves| {
        let lead_days = settings.lead(task.duty).lead_days;
        events.extend(Event::of(task, moves, lead_days));
    })
    .await?;
    place(cx, account, &mut events).await?;
    let left_out = match next.and_then(|task| task.due_on) {
        None => None,
        Some(from) => {
            let all = cx.store.count_tasks(account, &filter).await?.total();
            Some(LeftOut { tasks: all.saturating_sub(events.len() as u64).max(1), from })
        }
    };
    Ok(Some(ical::write(&calendar, &events, left_out)))
}

/// Says where the property of each event lies.
async fn place(cx: &Context, account: AccountId, events: &mut [Event]) -> Result<()> {
    let mut ids: Vec<PropertyId> = events.iter().map(|event| event.property_id).collect();
    ids.sort_unstable();
    ids.dedup();
    let mut places = HashMap::new();
    for some in ids.chunks(PLACES_AT_ONCE) {
        let found = cx.store.properties_of(account, some).await?;
        places.extend(found.into_iter().map(|p| (p.id, (p.facts.latitude_deg, p.facts.longitude_deg))));
    }
    for event in events {
        event.position_deg = places.get(&event.property_id).copied();
    }
    Ok(())
}

/// Properties that are looked up with one query.
const PLACES_AT_ONCE: usize = 512;
