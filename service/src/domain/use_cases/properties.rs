//! Properties: make, list, change, remove.

use crate::domain::base::error::{Error, Result};
use crate::domain::base::ids::{AccountId, PropertyId};
use crate::domain::base::paging::{ListPage, PageRequest};
use crate::domain::base::plural::counted;
use crate::domain::context::Context;
use crate::domain::model::property::{Property, PropertyDraft};
use crate::domain::ports::store::outcomes::{Deleted, Updated};
use crate::domain::use_cases::subscriptions;

fn missing(id: PropertyId) -> Error {
    Error::NotFound { what: "property", id: id.to_string() }
}

/// Makes a property. The caller gives the `id`, so that a repeated request makes it once.
pub async fn create(
    cx: &Context,
    account: AccountId,
    id: PropertyId,
    draft: PropertyDraft,
) -> Result<Property> {
    let facts = draft.check()?;
    let now = cx.clock.now();
    let property = Property { id, account_id: account, facts, version: 1, created_at: now, updated_at: now };
    cx.store.insert_property(&property).await?;
    get(cx, account, id).await
}

/// One property.
pub async fn get(cx: &Context, account: AccountId, id: PropertyId) -> Result<Property> {
    cx.store.property(account, id).await?.ok_or_else(|| missing(id))
}

/// The account's properties by name.
pub async fn list(
    cx: &Context,
    account: AccountId,
    cursor: Option<&str>,
    limit: Option<u32>,
) -> Result<ListPage<Property>> {
    let asked = PageRequest::read("properties", cursor, limit)?;
    let rows = cx.store.properties(account, &asked).await?;
    Ok(asked.page("properties", rows, |row| (row.facts.name.clone(), row.id.0)))
}

/// Replaces what is known of a property. Its systems are forecast again.
pub async fn update(
    cx: &Context,
    account: AccountId,
    id: PropertyId,
    version: i64,
    draft: PropertyDraft,
) -> Result<Property> {
    let facts = draft.check()?;
    match cx.store.update_property(account, id, version, &facts, cx.clock.now()).await? {
        Updated::Missing => Err(missing(id)),
        Updated::Stale { current } => Err(Error::VersionMismatch { current }),
        Updated::Done => {
            cx.wake_jobs();
            subscriptions::follow_zones(cx, account).await?;
            get(cx, account, id).await
        }
    }
}

/// Removes a property that has no system.
pub async fn delete(cx: &Context, account: AccountId, id: PropertyId, version: i64) -> Result<()> {
    match cx.store.delete_property(account, id, version).await? {
        Deleted::Done => Ok(()),
        Deleted::Missing => Err(missing(id)),
        Deleted::Stale { current } => Err(Error::VersionMismatch { current }),
        Deleted::InUse { systems } => Err(Error::InUse {
            what: "the property",
            by: format!(
                "{}, retired ones included; move every system to another property first (PUT /v1/systems/{{id}})",
                counted(systems.unsigned_abs(), "system", "systems")
            ),
        }),
    }
}
