//! Rain gauges: make, list, change, remove.

use crate::domain::base::error::{Error, Result};
use crate::domain::base::ids::{AccountId, GaugeId};
use crate::domain::base::paging::{ListPage, PageRequest};
use crate::domain::base::plural::counted;
use crate::domain::context::Context;
use crate::domain::model::gauge::{Gauge, GaugeFacts, RainSpan};
use crate::domain::ports::store::outcomes::{Deleted, Updated};

fn missing(id: GaugeId) -> Error {
    Error::NotFound { what: "gauge", id: id.to_string() }
}

/// Makes a rain gauge.
pub async fn create(cx: &Context, account: AccountId, id: GaugeId, facts: GaugeFacts) -> Result<Gauge> {
    let facts = facts.check()?;
    let now = cx.clock.now();
    let span = RainSpan::default();
    let gauge = Gauge { id, account_id: account, facts, span, version: 1, created_at: now, updated_at: now };
    cx.store.insert_gauge(&gauge).await?;
    get(cx, account, id).await
}

/// One rain gauge.
pub async fn get(cx: &Context, account: AccountId, id: GaugeId) -> Result<Gauge> {
    cx.store.gauge(account, id).await?.ok_or_else(|| missing(id))
}

/// The account's rain gauges by name.
pub async fn list(
    cx: &Context,
    account: AccountId,
    cursor: Option<&str>,
    limit: Option<u32>,
) -> Result<ListPage<Gauge>> {
    let asked = PageRequest::read("gauges", cursor, limit)?;
    let rows = cx.store.gauges(account, &asked).await?;
    Ok(asked.page("gauges", rows, |row| (row.facts.name.clone(), row.id.0)))
}

/// Replaces what is known of a rain gauge. Its systems are forecast again.
pub async fn update(
    cx: &Context,
    account: AccountId,
    id: GaugeId,
    version: i64,
    facts: GaugeFacts,
) -> Result<Gauge> {
    let facts = facts.check()?;
    match cx.store.update_gauge(account, id, version, &facts, cx.clock.now()).await? {
        Updated::Missing => Err(missing(id)),
        Updated::Stale { current } => Err(Error::VersionMismatch { current }),
        Updated::Done => {
            cx.wake_jobs();
            get(cx, account, id).await
        }
    }
}

/// Removes a rain gauge with its record, if no system uses it.
pub async fn delete(cx: &Context, account: AccountId, id: GaugeId, version: i64) -> Result<()> {
    match cx.store.delete_gauge(account, id, version).await? {
        Deleted::Done => Ok(()),
        Deleted::Missing => Err(missing(id)),
        Deleted::Stale { current } => Err(Error::VersionMismatch { current }),
        Deleted::InUse { systems } => Err(Error::InUse {
            what: "the rain gauge",
            by: format!(
                "{}, retired ones included; give every system another rain gauge first",
                counted(systems.unsigned_abs(), "system", "systems")
            ),
        }),
    }
}
