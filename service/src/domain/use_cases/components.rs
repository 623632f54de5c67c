//! Components: add, correct, replace, retire.

use crate::domain::base::check::Check;
use crate::domain::base::error::{Error, Result};
use crate::domain::base::ids::{AccountId, ComponentId, SystemId};
use crate::domain::base::plural::counted;
use crate::domain::context::{Context, latest_today};
use crate::domain::model::component::{Component, ComponentFacts, Replacement};
use crate::domain::model::part::Part;
use crate::domain::model::system;
use crate::domain::ports::store::outcomes::Updated;
use crate::domain::use_cases::systems;
use chrono::NaiveDate;

fn checked(cx: &Context, facts: ComponentFacts) -> Result<ComponentFacts> {
    let mut check = Check::new();
    facts.check(&mut check, latest_today(cx));
    check.done()?;
    Ok(facts)
}

fn missing(id: ComponentId) -> Error {
    Error::NotFound { what: "component", id: id.to_string() }
}

/// Adds a component to a system.
pub async fn add(
    cx: &Context,
    account: AccountId,
    system_id: SystemId,
    id: ComponentId,
    facts: ComponentFacts,
) -> Result<Component> {
    let facts = checked(cx, facts)?;
    systems::get(cx, account, system_id).await?;
    if systems::components_full(cx, account, system_id).await? {
        return Err(Error::Conflict(format!(
            "the system already has {}, the most that it can have",
            counted(system::MOST_COMPONENTS as u64, "component", "components")
        )));
    }
    let component = Component::new(id, system_id, facts, cx.clock.now());
    cx.store.insert_component(account, &component).await?;
    cx.wake_jobs();
    get(cx, account, id).await
}

/// One component.
pub async fn get(cx: &Context, account: AccountId, id: ComponentId) -> Result<Component> {
    cx.store.component(account, id).await?.ok_or_else(|| missing(id))
}

/// A system's components, oldest first.
pub async fn list(
    cx: &Context,
    account: AccountId,
    system_id: SystemId,
    include_removed: bool,
) -> Result<Vec<Component>> {
    systems::get(cx, account, system_id).await?;
    let mut all = cx.store.components(account, system_id).await?;
    all.retain(|component| include_removed || component.removed_on.is_none());
    Ok(all)
}

/// Corrects what is known of a component. Its kind cannot change, because that would be another component.
pub async fn update(
    cx: &Context,
    account: AccountId,
    id: ComponentId,
    version: i64,
    facts: ComponentFacts,
) -> Result<Component> {
    let facts = checked(cx, facts)?;
    let old = get(cx, account, id).await?;
    same_kind(&old, &facts.part)?;
    if let Some(removed) = old.removed_on.filter(|removed| *removed < facts.installed_on) {
        let message = format!("{} is after it was taken out on {removed}", facts.installed_on);
        return Err(Error::field("installed_on", message));
    }
    match cx.store.update_component(account, id, version, &facts, cx.clock.now()).await? {
        Updated::Missing => Err(missing(id)),
        Updated::Stale { current } => Err(Error::VersionMismatch { current }),
        Updated::Done => {
            cx.wake_jobs();
            get(cx, account, id).await
        }
    }
}

fn same_kind(old: &Component, part: &Part) -> Result<()> {
    let (was, is) = (old.facts.part.kind(), part.kind());
    if was == is {
        return Ok(());
    }
    let message = format!("a {} cannot become a {}; retire it and add another", was.code(), is.code());
    Err(Error::field("part.kind", message))
}

fn check_removal(cx: &Context, old: &Component, on: NaiveDate) -> Result<()> {
    let mut check = Check::new();
    check.date("on", on);
    if on > latest_today(cx) {
        check.refuse("on", format!("{on} has not come yet; report it once it is done"));
    }
    if on < old.facts.installed_on {
        check.refuse("on", format!("{on} is before it was installed on {}", old.facts.installed_on));
    }
    check.done()
}

/// Replaces a component by a new one. The old one stays, with its history.
pub async fn replace(
    cx: &Context,
    account: AccountId,
    id: ComponentId,
    new_id: ComponentId,
    replacement: Replacement,
) -> Result<Component> {
    if let Some(done) = cx.store.component(account, new_id).await? {
        // This is a repeated request, and the first one was carried out.
        return Ok(done);
    }
    let old = get(cx, account, id).await?;
    if let Some(removed) = old.removed_on {
        return Err(Error::Conflict(format!("the component was already taken out on {removed}")));
    }
    check_removal(cx, &old, replacement.on)?;
    let name = replacement.name.unwrap_or_else(|| old.facts.name.clone());
    let part = replacement.part.unwrap_or_else(|| old.facts.part.clone());
    let facts = checked(cx, ComponentFacts::new(name, part, replacement.on))?;
    same_kind(&old, &facts.part)?;
    let mut new = Component::new(new_id, old.system_id, facts, cx.clock.now());
    new.replaces = Some(id);
    if !cx.store.replace_component(account, &old, &new, replacement.on).await? {
        return Err(Error::Conflict("the component was changed meanwhile; read it again".to_owned()));
    }
    cx.wake_jobs();
    get(cx, account, new_id).await
}

/// Removes a component for good. A later call with another day corrects the day, unless another component has
/// replaced it on that day.
pub async fn retire(cx: &Context, account: AccountId, id: ComponentId, on: NaiveDate) -> Result<Component> {
    let old = get(cx, account, id).await?;
    if old.removed_on == Some(on) {
        return Ok(old);
    }
    if old.removed_on.is_some() {
        let all = cx.store.components(account, old.system_id).await?;
        if let Some(next) = all.iter().find(|component| component.replaces == Some(id)) {
            let name = &next.facts.name;
            return Err(Error::Conflict(format!(
                "{name} ({}) replaced it on that day; correct that component instead",
                next.id
            )));
        }
    }
    check_removal(cx, &old, on)?;
    if !cx.store.retire_component(account, &old, on, cx.clock.now()).await? {
        return Err(Error::Conflict("the component was changed meanwhile; read it again".to_owned()));
    }
    cx.wake_jobs();
    get(cx, account, id).await
}
