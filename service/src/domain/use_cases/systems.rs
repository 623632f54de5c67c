//! Systems: register, list, change.

use crate::domain::base::bounds::NAME_LENGTH;
use crate::domain::base::check::Check;
use crate::domain::base::error::{Error, Result, StoreError};
use crate::domain::base::ids::{AccountId, ComponentId, SystemId};
use crate::domain::base::paging::{ListPage, PageRequest};
use crate::domain::base::plural::counted;
use crate::domain::context;
use crate::domain::context::Context;
use crate::domain::model::component::{Component, ComponentFacts, check_components};
use crate::domain::model::system::{
    Assembled, DEMAND_L_PER_DAY, MOST_AT_ONCE, MOST_COMPONENTS, System, SystemFacts, SystemFilter,
};
use crate::domain::ports::store::outcomes::Updated;
use crate::domain::use_cases::subscriptions;

/// Whether a system has the most components that it may have.
pub async fn components_full(cx: &Context, account: AccountId, id: SystemId) -> Result<bool> {
    Ok(cx.store.components(account, id).await?.len() >= MOST_COMPONENTS)
}

fn missing(id: SystemId) -> Error {
    Error::NotFound { what: "system", id: id.to_string() }
}

async fn checked(
    cx: &Context,
    account: AccountId,
    facts: &SystemFacts,
    components: &[ComponentFacts],
) -> Result<()> {
    let mut check = Check::new();
    check.text("name", &facts.name, NAME_LENGTH);
    check.date("commissioned_on", facts.commissioned_on);
    check.between("demand_l_per_day", facts.demand_l_per_day, DEMAND_L_PER_DAY);
    if let Some(retired) = facts.retired_on {
        check.date("retired_on", retired);
        if retired < facts.commissioned_on {
            check.refuse("retired_on", format!("{retired} is before it went into service"));
        }
    }
    check.within("roof", |check| facts.roof.check(check));
    if components.len() > MOST_AT_ONCE {
        check.refuse(
            "components",
            format!(
                "it has {}; send at most {MOST_AT_ONCE} at a time",
                counted(components.len() as u64, "component", "components")
            ),
        );
    }
    check_components(&mut check, components, context::latest_today(cx));
    // A wrong reference is an error of this field. The message is the same for an unknown id and for another
    // account's.
    if cx.store.property(account, facts.property_id).await?.is_none() {
        check.refuse("property_id", format!("there is no property {} in this account", facts.property_id));
    }
    if cx.store.gauge(account, facts.gauge_id).await?.is_none() {
        check.refuse("gauge_id", format!("there is no gauge {} in this account", facts.gauge_id));
    }
    check.done()
}

/// Finds the error of a reference that was removed between the check and the write. A second check names it.
async fn dangling(cx: &Context, account: AccountId, facts: &SystemFacts, error: StoreError) -> Error {
    if matches!(error, StoreError::Dangling(_))
        && let Err(refusal) = checked(cx, account, facts, &[]).await
    {
        return refusal;
    }
    error.into()
}

/// Registers a system with its components, all or nothing.
pub async fn create(
    cx: &Context,
    account: AccountId,
    id: SystemId,
    facts: SystemFacts,
    components: Vec<ComponentFacts>,
) -> Result<Assembled> {
    checked(cx, account, &facts, &components).await?;
    let now = cx.clock.now();
    let system = System { id, account_id: account, facts, version: 1, created_at: now, updated_at: now };
    let components: Vec<Component> =
        components.into_iter().map(|facts| Component::new(ComponentId::new(), id, facts, now)).collect();
    if let Err(error) = cx.store.insert_system(&system, &components).await {
        return Err(dangling(cx, account, &system.facts, error).await);
    }
    cx.wake_jobs();
    get(cx, account, id).await
}

/// One system with its components in service.
pub async fn get(cx: &Context, account: AccountId, id: SystemId) -> Result<Assembled> {
    let system = cx.store.system(account, id).await?.ok_or_else(|| missing(id))?;
    let mut components = cx.store.components(account, id).await?;
    components.retain(|component| component.removed_on.is_none());
    Ok(Assembled { system, components })
}

/// The account's systems by name, each with its components in service.
pub async fn list(
    cx: &Context,
    account: AccountId,
    filter: &SystemFilter,
    cursor: Option<&str>,
    limit: Option<u32>,
) -> Result<ListPage<Assembled>> {
    let asked = PageRequest::read("systems", cursor, limit)?;
    let rows = cx.store.systems(account, filter, &asked).await?;
    let page = asked.page("systems", rows, |row| (row.facts.name.clone(), row.id.0));
    let ids: Vec<SystemId> = page.items.iter().map(|system| system.id).collect();
    let mut by_system = std::collections::HashMap::<SystemId, Vec<Component>>::new();
    for component in cx.store.components_of(account, &ids).await? {
        if component.removed_on.is_none() {
            by_system.entry(component.system_id).or_default().push(component);
        }
    }
    let items = page.items.into_iter().map(|system| {
        let components = by_system.remove(&system.id).unwrap_or_default();
        Assembled { system, components }
    });
    Ok(ListPage { items: items.collect(), next: page.next })
}

/// Replaces what is known of a system.
pub async fn update(
    cx: &Context,
    account: AccountId,
    id: SystemId,
    version: i64,
    facts: SystemFacts,
) -> Result<Assembled> {
    checked(cx, account, &facts, &[]).await?;
    match cx.store.update_system(account, id, version, &facts, cx.clock.now()).await {
        Err(error) => Err(dangling(cx, account, &facts, error).await),
        Ok(Updated::Missing) => Err(missing(id)),
        Ok(Updated::Stale { current }) => Err(Error::VersionMismatch { current }),
        Ok(Updated::Done) => {
            cx.wake_jobs();
            subscriptions::follow_zones(cx, account).await?;
            get(cx, account, id).await
        }
    }
}
