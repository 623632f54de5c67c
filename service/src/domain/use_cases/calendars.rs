//! Calendar feeds: make, list, revoke, read.

use crate::domain::base::bounds::NAME_LENGTH;
use crate::domain::base::check::Check;
use crate::domain::base::clock::{self, MOST_AHEAD};
use crate::domain::base::error::{Error, Result, StoreError};
use crate::domain::base::ids::{AccountId, CalendarId, PropertyId};
use crate::domain::base::paging::{ListPage, PageRequest};
use crate::domain::base::secret::{Secret, hash};
use crate::domain::context::Context;
use crate::domain::model::calendar::{
    Calendar, CalendarDraft, HORIZON_DAYS, MOST_TASKS, SECRET_PREFIX, USUAL_DAYS,
};
use crate::domain::model::duty_settings::DutySettings;
use crate::domain::model::task::TaskFilter;
use crate::domain::rules::ical;
use crate::domain::rules::ical::{Event, LeftOut};
use crate::domain::use_cases::tasks;
use chrono::TimeDelta;
use std::collections::HashMap;

/// How exactly the time of the last reading is stored. A write for every reading would make polling expensive.
const READ_TO: TimeDelta = TimeDelta::hours(1);

/// Makes a feed. The secret is returned only this once. The caller gives the `id`, so that a repeated request makes the
/// feed once. A repetition gives it another secret, because that of the first attempt was never shown.
pub async fn create(
    cx: &Context,
    account: AccountId,
    id: CalendarId,
    draft: CalendarDraft,
) -> Result<(Calendar, Secret)> {
    let horizon_days = draft.horizon_days.unwrap_or(USUAL_DAYS);
    let mut check = Check::new();
    check.text("name", &draft.name, NAME_LENGTH);
    check.between("horizon_days", f64::from(horizon_days), HORIZON_DAYS);
    if let Some(id) = draft.property_id
        && cx.store.property(account, id).await?.is_none()
    {
        check.refuse("property_id", no_property(id));
    }
    check.done()?;
    let secret = Secret::random(SECRET_PREFIX)?;
    let calendar = Calendar {
        id,
        account_id: account,
        property_id: draft.property_id,
        name: draft.name,
        horizon_days,
        hash: hash(secret.reveal()),
        hint: secret.hint(SECRET_PREFIX),
        created_at: cx.clock.now(),
        last_read_at: None,
        revoked_at: None,
    };
    match (cx.store.insert_calendar(&calendar).await, draft.property_id) {
        // The property was removed after the check.
        (Err(StoreError::Dangling(_)), Some(id)) => Err(Error::field("property_id", no_property(id))),
        (stored, _) => {
            let revoked = || {
                Error::Conflict(format!(
                    "the first attempt of this request made calendar {id}, which was revoked since; send the request again"
                ))
            };
            Ok((stored?.ok_or_else(revoked)?, secret))
        }
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
) -> Result<ListPage<Calendar>> {
    let asked = PageRequest::read("calendars", cursor, limit)?;
    let rows = cx.store.calendars(account, &asked).await?;
    Ok(asked.page("calendars", rows, |row| (row.created_at, row.id.0)))
}

/// Revokes a feed: its address no longer works. Doing it twice changes nothing.
pub async fn revoke(cx: &Context, account: AccountId, id: CalendarId) -> Result<()> {
    if cx.store.revoke_calendar(account, id, cx.clock.now()).await? {
        Ok(())
    } else {
        Err(Error::NotFound { what: "calendar", id: id.to_string() })
    }
}

/// The feed with this secret; none if there is no such feed or it is revoked.
pub async fn by_secret(cx: &Context, secret: &str) -> Result<Option<Calendar>> {
    let found = cx.store.calendar_by_hash(&hash(secret)).await?;
    Ok(found.filter(|calendar| calendar.revoked_at.is_none()))
}

/// A feed as iCalendar text.
///
/// Every task with a due date up to the horizon is an event, and an overdue one stays on its due date. A task ends
/// when its component is removed, and is then no longer in the feed.
pub async fn read(cx: &Context, calendar: &Calendar) -> Result<String> {
    let now = cx.clock.now();
    // A clock that was ahead may have noted a later instant.
    if calendar.last_read_at.is_none_or(|at| now - at >= READ_TO || at > now + MOST_AHEAD) {
        // A failure here must not fail the request. The next reading writes the time.
        if let Err(error) = cx.store.calendar_was_read(calendar.id, now).await {
            tracing::warn!(calendar = %calendar.id, ?error, "the reading time could not be stored");
        }
    }
    let account = calendar.account_id;
    let filter = TaskFilter {
        property_id: calendar.property_id,
        to: clock::last_day(now, u64::from(calendar.horizon_days)),
        ..TaskFilter::default()
    };
    let own = cx.store.duty_settings(account).await?;
    let settings: DutySettings = own.into_iter().map(|setting| (setting.duty, setting.own)).collect();
    let mut events = Vec::new();
    let next = tasks::for_each(cx, account, &filter, MOST_TASKS, |task, moves| {
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
    Ok(ical::write(calendar, &events, left_out))
}

/// Sets the position of each event's property.
async fn place(cx: &Context, account: AccountId, events: &mut [Event]) -> Result<()> {
    let mut ids: Vec<PropertyId> = events.iter().map(|event| event.property_id).collect();
    ids.sort_unstable();
    ids.dedup();
    let mut places = HashMap::new();
    for some in ids.chunks(PLACES_AT_ONCE) {
        let found = cx.store.properties_of(account, some).await?;
        places.extend(found.into_iter().map(|property| (property.id, property.facts.position())));
    }
    for event in events {
        event.position = places.get(&event.property_id).copied();
    }
    Ok(())
}

/// Properties that one query looks up.
const PLACES_AT_ONCE: usize = 512;
