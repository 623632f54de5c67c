//! Systems: one roof, one gauge, and the components between them and the tap.

use crate::domain::Context;
use crate::domain::check::Check;
use crate::domain::component::{self, Component, ComponentFacts};
use crate::domain::defaults::{Canopy, Surface};
use crate::domain::error::{Error, Result};
use crate::domain::ids::{AccountId, ComponentId, GaugeId, PropertyId, SystemId};
use crate::domain::paging::{PageAsked, PageFound};
use crate::domain::store::{StoreError, SystemFilter, Updated};
use crate::domain::subscription;
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};

/// The most components a system may have, those taken out included.
pub const MOST_COMPONENTS: usize = 1000;
/// The most components of one request.
const MOST_AT_ONCE: usize = 200;

/// A roof. Coefficient and loss stay absent when the surface's default counts, so that a better default reaches it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Roof {
    /// Plan area in m2.
    pub plan_area_m2: f64,
    /// What it is covered with.
    pub surface: Surface,
    /// The account's own runoff coefficient.
    pub runoff_coefficient: Option<f64>,
    /// The account's own wetting loss in mm.
    pub wetting_loss_mm: Option<f64>,
    /// The trees that shed onto it.
    pub canopy: Canopy,
    /// Share of it under the canopy.
    pub canopy_share: f64,
}

impl Roof {
    pub(crate) fn check(&self, check: &mut Check) {
        check.positive("plan_area_m2", self.plan_area_m2, 100_000.0);
        check.positive_if_given("runoff_coefficient", self.runoff_coefficient, 1.0);
        if let Some(loss) = self.wetting_loss_mm {
            check.between("wetting_loss_mm", loss, 0.0, 20.0);
        }
        check.between("canopy_share", self.canopy_share, 0.0, 1.0);
        if self.canopy == Canopy::None && self.canopy_share > 0.0 {
            check.refuse(
                "canopy_share",
                format!("{} of the roof under no canopy; name the canopy", self.canopy_share),
            );
        }
    }

    /// The coefficient that is used, and its source.
    pub fn coefficient(&self) -> (f64, bool, &'static str) {
        own_or(self.runoff_coefficient, self.surface.runoff_coefficient())
    }

    /// The wetting loss that is used, and its source.
    pub fn loss(&self) -> (f64, bool, &'static str) {
        own_or(self.wetting_loss_mm, self.surface.wetting_loss_mm())
    }

    /// As the engine takes it.
    pub fn to_engine(&self) -> eavesward_engine::Roof {
        eavesward_engine::Roof {
            plan_area_m2: self.plan_area_m2,
            coefficient: self.coefficient().0,
            wetting_loss_mm: self.loss().0,
            canopy: match self.canopy {
                Canopy::None => eavesward_engine::Canopy::None,
                Canopy::Deciduous => eavesward_engine::Canopy::Deciduous,
                Canopy::Conifer => eavesward_engine::Canopy::Conifer,
                Canopy::EvergreenBroadleaf => eavesward_engine::Canopy::EvergreenBroadleaf,
            },
            canopy_share: self.canopy_share,
        }
    }
}

fn own_or(own: Option<f64>, default: crate::domain::defaults::Sourced) -> (f64, bool, &'static str) {
    own.map_or((default.value, false, default.source), |value| (value, true, "given by the account"))
}

/// What is known of a system.
#[derive(Clone, Debug, PartialEq)]
pub struct SystemFacts {
    /// Where it stands.
    pub property_id: PropertyId,
    /// The gauge whose rain falls on it.
    pub gauge_id: GaugeId,
    /// What it is called.
    pub name: String,
    /// Its roof.
    pub roof: Roof,
    /// The day it went into service.
    pub commissioned_on: NaiveDate,
    /// Litres a day.
    pub demand_l_per_day: f64,
    /// The day it was taken out of service.
    pub retired_on: Option<NaiveDate>,
}

/// A system.
#[derive(Clone, Debug, PartialEq)]
pub struct System {
    /// Id.
    pub id: SystemId,
    /// Whose it is.
    pub account_id: AccountId,
    /// What is known of it.
    pub facts: SystemFacts,
    /// Counts up with every change of the facts.
    pub version: i64,
    /// When it was registered.
    pub created_at: DateTime<Utc>,
    /// When its facts were last changed.
    pub updated_at: DateTime<Utc>,
}

/// A system with its components in service, oldest first.
#[derive(Clone, Debug, PartialEq)]
pub struct Assembled {
    /// The system.
    pub system: System,
    /// Its components.
    pub components: Vec<Component>,
}

/// Whether a system has as many components as it may have.
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
    check.text("name", &facts.name, 200);
    check.date("commissioned_on", facts.commissioned_on);
    check.between("demand_l_per_day", facts.demand_l_per_day, 0.0, 1_000_000.0);
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
            format!("{} components; send at most {MOST_AT_ONCE} at a time", components.len()),
        );
    }
    check_components(&mut check, components, component::latest_today(cx));
    // A wrong reference is a wrong field of this request, and looks the same whether the id is unknown or another
    // account's.
    if cx.store.property(account, facts.property_id).await?.is_none() {
        check.refuse("property_id", format!("there is no property {} in this account", facts.property_id));
    }
    if cx.store.gauge(account, facts.gauge_id).await?.is_none() {
        check.refuse("gauge_id", format!("there is no gauge {} in this account", facts.gauge_id));
    }
    check.done()
}

/// The refusal of a reference that was removed between the check and the write, which a second check names.
async fn dangling(cx: &Context, account: AccountId, facts: &SystemFacts, error: StoreError) -> Error {
    if matches!(error, StoreError::Dangling(_))
        && let Err(refusal) = checked(cx, account, facts, &[]).await
    {
        return refusal;
    }
    error.into()
}

/// Checks components under the path `components[i]`.
pub(crate) fn check_components(check: &mut Check, components: &[ComponentFacts], today: NaiveDate) {
    for (index, component) in components.iter().enumerate() {
        check.within(format!("components[{index}]"), |check| component.check(check, today));
    }
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
    cx.ring();
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
) -> Result<PageFound<Assembled>> {
    let asked = PageAsked::read("systems", cursor, limit)?;
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
    Ok(PageFound { items: items.collect(), next: page.next })
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
            cx.ring();
            subscription::follow_zones(cx, account).await?;
            get(cx, account, id).await
        }
    }
}
