//! Visits: log, correct, withdraw, list.

use crate::domain::base::bounds::{NAME_LENGTH, NOTE_LENGTH};
use crate::domain::base::check::Check;
use crate::domain::base::clock::local_date;
use crate::domain::base::error::{Error, Result};
use crate::domain::base::ids::{AccountId, VisitId};
use crate::domain::base::paging::{ListPage, PageRequest};
use crate::domain::context::Context;
use crate::domain::model::visit::{ITEMS, Revision, Visit, VisitFacts, VisitFilter, Withdrawn, check_item};
use crate::domain::ports::store::outcomes::Updated;
use chrono::NaiveDate;
use std::collections::HashSet;

fn missing(id: VisitId) -> Error {
    Error::NotFound { what: "visit", id: id.to_string() }
}

/// Checks a visit before it is logged.
pub(crate) async fn checked(cx: &Context, account: AccountId, facts: &VisitFacts) -> Result<()> {
    let mut check = Check::new();
    check.date("visited_on", facts.visited_on);
    if let Some(by) = &facts.visited_by {
        check.note("visited_by", by, NAME_LENGTH);
    }
    if let Some(note) = &facts.note {
        check.note("note", note, NOTE_LENGTH);
    }
    check.entries("items", facts.items.len(), ITEMS);
    let Some(system) = cx.store.system(account, facts.system_id).await? else {
        check.refuse("system_id", format!("there is no system {} in this account", facts.system_id));
        return check.done();
    };
    let zone =
        cx.store.property(account, system.facts.property_id).await?.map(|property| property.facts.time_zone);
    let today = local_date(cx.clock.now(), zone.unwrap_or(chrono_tz::Tz::UTC));
    if facts.visited_on > today {
        check.refuse("visited_on", format!("{} has not come yet at the property", facts.visited_on));
    }
    let components = cx.store.components(account, facts.system_id).await?;
    let mut seen = HashSet::new();
    for (index, item) in facts.items.iter().enumerate() {
        let repeated = !seen.insert((item.component_id, item.duty));
        check.within(format!("items[{index}]"), |check| {
            check_item(check, item, &components, facts.visited_on);
            if repeated {
                check.refuse("duty", "the visit already has this component and duty");
            }
        });
    }
    check.done()
}

/// Logs a visit.
pub async fn log(cx: &Context, account: AccountId, id: VisitId, facts: VisitFacts) -> Result<Visit> {
    checked(cx, account, &facts).await?;
    let now = cx.clock.now();
    let visit = Visit {
        id,
        account_id: account,
        facts,
        withdrawn: None,
        version: 1,
        created_at: now,
        updated_at: now,
    };
    cx.store.insert_visit(&visit).await?;
    cx.wake_jobs();
    get(cx, account, id).await
}

/// One visit.
pub async fn get(cx: &Context, account: AccountId, id: VisitId) -> Result<Visit> {
    cx.store.visit(account, id).await?.ok_or_else(|| missing(id))
}

/// The account's visits, latest day first.
pub async fn list(
    cx: &Context,
    account: AccountId,
    filter: &VisitFilter,
    cursor: Option<&str>,
    limit: Option<u32>,
) -> Result<ListPage<Visit>> {
    let mut check = Check::new();
    check.range(filter.from, filter.to);
    check.done()?;
    let asked = PageRequest::<NaiveDate>::read("visits", cursor, limit)?;
    let rows = cx.store.visits(account, filter, &asked).await?;
    Ok(asked.page("visits", rows, |row| (row.facts.visited_on, row.id.0)))
}

async fn change(cx: &Context, account: AccountId, id: VisitId, version: i64, new: Visit) -> Result<Visit> {
    match cx.store.update_visit(account, version, &new).await? {
        Updated::Missing => Err(missing(id)),
        Updated::Stale { current } => Err(Error::VersionMismatch { current }),
        Updated::Done => {
            cx.wake_jobs();
            get(cx, account, id).await
        }
    }
}

/// Corrects a visit. The earlier version is kept as a revision.
pub async fn correct(
    cx: &Context,
    account: AccountId,
    id: VisitId,
    version: i64,
    facts: VisitFacts,
) -> Result<Visit> {
    let old = get(cx, account, id).await?;
    if old.withdrawn.is_some() {
        return Err(Error::Conflict("the visit was withdrawn; log a new one".to_owned()));
    }
    if facts.system_id != old.facts.system_id {
        let message = format!("the visit was to system {}; withdraw it and log another", old.facts.system_id);
        return Err(Error::field("system_id", message));
    }
    checked(cx, account, &facts).await?;
    let new = Visit { facts, version: version + 1, updated_at: cx.clock.now(), ..old };
    change(cx, account, id, version, new).await
}

/// Withdraws a visit. It is kept, but no longer counts. Doing it twice changes nothing.
pub async fn withdraw(cx: &Context, account: AccountId, id: VisitId, because: String) -> Result<Visit> {
    let mut check = Check::new();
    check.text("because", &because, NOTE_LENGTH);
    check.done()?;
    let old = get(cx, account, id).await?;
    if old.withdrawn.is_some() {
        return Ok(old);
    }
    let (version, at) = (old.version, cx.clock.now());
    let withdrawn = Some(Withdrawn { at, because });
    change(cx, account, id, version, Visit { withdrawn, version: version + 1, updated_at: at, ..old }).await
}

/// The versions of a visit before each change, oldest first.
pub async fn revisions(cx: &Context, account: AccountId, id: VisitId) -> Result<Vec<Revision>> {
    get(cx, account, id).await?;
    Ok(cx.store.revisions(id).await?)
}
