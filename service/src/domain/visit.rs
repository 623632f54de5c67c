//! Visits: what was done and what was found. A visit can be corrected or withdrawn; what stood before is kept.

use crate::domain::Context;
use crate::domain::check::Check;
use crate::domain::clock::local_date;
use crate::domain::component::{Component, words};
use crate::domain::duty::{self, Duty};
use crate::domain::error::{Error, Result};
use crate::domain::ids::{AccountId, ComponentId, SystemId, VisitId};
use crate::domain::paging::{PageAsked, PageFound};
use crate::domain::store::{Updated, VisitFilter};
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};

words! {
    /// How full a part was found, in words.
    FoundClass {
        /// 5 to 25 % of the way to wanting care.
        Light "light",
        /// 25 to 75 %.
        Half "half",
        /// 75 to 100 %.
        Heavy "heavy",
    }
}

impl FoundClass {
    /// Where the class begins and ends, as shares of the mark.
    pub const fn range(self) -> (f64, f64) {
        match self {
            Self::Light => (0.05, 0.25),
            Self::Half => (0.25, 0.75),
            Self::Heavy => (0.75, 1.0),
        }
    }

    /// The upper end of the class.
    pub const fn most(self) -> f64 {
        self.range().1
    }
}

/// What was found before anything was done.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum Finding {
    /// Under 5 % of the way.
    Nothing,
    /// A share of the way to wanting care.
    Fraction(f64),
    /// A class.
    Class(FoundClass),
    /// A measured depth in mm.
    DepthMm(f64),
    /// Blocked or past use.
    Blocked,
}

/// One duty seen to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct VisitItem {
    /// The component.
    pub component_id: ComponentId,
    /// The duty.
    pub duty: Duty,
    /// Whether it was done.
    pub done: bool,
    /// What was found before.
    pub finding: Option<Finding>,
    /// How full a partial cleaning left it, as a share of the way to wanting care: 0 to under 1.
    pub left_fraction: Option<f64>,
    /// Whether it is believed to have been cleaned since the last logged service, on a day nobody noted.
    pub cleaned_meanwhile: bool,
    /// Anything worth keeping.
    pub note: Option<String>,
}

/// What is known of a visit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct VisitFacts {
    /// The system visited.
    pub system_id: SystemId,
    /// The day.
    pub visited_on: NaiveDate,
    /// Who went.
    pub visited_by: Option<String>,
    /// What was seen to.
    pub items: Vec<VisitItem>,
    /// Anything worth keeping.
    pub note: Option<String>,
}

/// A withdrawal.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Withdrawn {
    /// When.
    pub at: DateTime<Utc>,
    /// Why.
    pub because: String,
}

/// A visit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Visit {
    /// Id.
    pub id: VisitId,
    /// Whose it is.
    pub account_id: AccountId,
    /// What is known of it.
    pub facts: VisitFacts,
    /// Its withdrawal, if it was withdrawn.
    pub withdrawn: Option<Withdrawn>,
    /// 1 as it was logged; counts up with every correction.
    pub version: i64,
    /// When it was logged.
    pub created_at: DateTime<Utc>,
    /// When it was last changed.
    pub updated_at: DateTime<Utc>,
}

/// A visit as it stood before a change.
#[derive(Clone, Debug, PartialEq)]
pub struct Revision {
    /// When it was replaced.
    pub replaced_at: DateTime<Utc>,
    /// The visit as it stood.
    pub visit: Visit,
}

/// The most duties of one visit.
pub(in crate::domain) const MOST_ITEMS: usize = 500;

fn missing(id: VisitId) -> Error {
    Error::NotFound { what: "visit", id: id.to_string() }
}

/// Checks a visit before it is logged.
pub(in crate::domain) async fn checked(cx: &Context, account: AccountId, facts: &VisitFacts) -> Result<()> {
    let mut check = Check::new();
    check.date("visited_on", facts.visited_on);
    if let Some(by) = &facts.visited_by {
        check.note("visited_by", by, 200);
    }
    if let Some(note) = &facts.note {
        check.note("note", note, 4000);
    }
    if facts.items.is_empty() || facts.items.len() > MOST_ITEMS {
        check.refuse("items", format!("it has {} entries; give 1 to {MOST_ITEMS}", facts.items.len()));
    }
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
    for (index, item) in facts.items.iter().enumerate() {
        let repeated = facts.items[..index]
            .iter()
            .any(|other| (other.component_id, other.duty) == (item.component_id, item.duty));
        check.within(format!("items[{index}]"), |check| {
            check_item(check, item, &components, facts.visited_on);
            if repeated {
                check.refuse("duty", "this component and duty stand in the visit already");
            }
        });
    }
    check.done()
}

fn check_item(check: &mut Check, item: &VisitItem, components: &[Component], on: NaiveDate) {
    match item.finding {
        Some(Finding::Fraction(share)) => check.between("finding.fraction", share, 0.0, 10.0),
        Some(Finding::DepthMm(depth)) => {
            check.between("finding.depth_mm", depth, 0.0, 20_000.0);
            if !matches!(item.duty, Duty::RemoveSediment | Duty::MeasureSediment) {
                check.refuse(
                    "finding.found",
                    "a depth can only be found of sediment; give a fraction or a class",
                );
            }
        }
        _ => {}
    }
    if let Some(left) = item.left_fraction {
        check_left(check, item, left);
    }
    if !item.done && item.finding.is_none() {
        check.refuse("finding", "it was neither done nor anything found; say what was found or leave it out");
    }
    if let Some(note) = &item.note {
        check.note("note", note, 4000);
    }
    let Some(component) = components.iter().find(|component| component.id == item.component_id) else {
        return check.refuse("component_id", format!("the system has no component {}", item.component_id));
    };
    let duties = duty::of(&component.facts.part);
    if !duties.contains(&item.duty) {
        let known: Vec<&str> = duties.iter().map(|duty| duty.code()).collect();
        let kind = component.facts.part.kind().code();
        check.refuse(
            "duty",
            format!("{} is no duty of a {kind}; it has {}", item.duty.code(), known.join(", ")),
        );
    }
    if on < component.facts.installed_on {
        let message = format!("it was installed on {}, after the visit", component.facts.installed_on);
        check.refuse("component_id", message);
    }
    if let Some(removed) = component.removed_on.filter(|removed| on > *removed) {
        check.refuse("component_id", format!("it was taken out on {removed}, before the visit"));
    }
}

/// Checks what a partial cleaning left.
fn check_left(check: &mut Check, item: &VisitItem, left: f64) {
    const FIELD: &str = "left_fraction";
    if !item.duty.builds_up() {
        let all = Duty::ALL.iter().filter(|duty| duty.builds_up());
        let all: Vec<&str> = all.map(|duty| duty.code()).collect();
        let message = format!(
            "{} leaves no part of it; leave it out, or say it of {}",
            item.duty.code(),
            all.join(", ")
        );
        return check.refuse(FIELD, message);
    }
    if !item.done {
        return check.refuse(FIELD, "it was not done; say with done how full it was left, or what was found");
    }
    if !(0.0..1.0).contains(&left) {
        let message = format!("{left} is not from 0 to under 1; left at 1 it was not done, only looked at");
        return check.refuse(FIELD, message);
    }
    let most = match item.finding {
        Some(Finding::Nothing) => 0.05,
        Some(Finding::Fraction(share)) => share,
        Some(Finding::Class(class)) => class.most(),
        Some(Finding::DepthMm(_) | Finding::Blocked) | None => 1.0,
    };
    if left > most {
        check.refuse(FIELD, format!("{left} is more than the {most} at most that were found"));
    }
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
    cx.ring();
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
) -> Result<PageFound<Visit>> {
    let mut check = Check::new();
    check.range(filter.from, filter.to);
    check.done()?;
    let asked = PageAsked::<NaiveDate>::read("visits", cursor, limit)?;
    let rows = cx.store.visits(account, filter, &asked).await?;
    Ok(asked.page("visits", rows, |row| (row.facts.visited_on, row.id.0)))
}

async fn change(cx: &Context, account: AccountId, id: VisitId, version: i64, new: Visit) -> Result<Visit> {
    match cx.store.update_visit(account, version, &new).await? {
        Updated::Missing => Err(missing(id)),
        Updated::Stale { current } => Err(Error::VersionMismatch { current }),
        Updated::Done => {
            cx.ring();
            get(cx, account, id).await
        }
    }
}

/// Corrects a visit; what stood before is kept as a revision.
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

/// Withdraws a visit: it is kept, and counts for nothing. Doing it twice changes nothing.
pub async fn withdraw(cx: &Context, account: AccountId, id: VisitId, because: String) -> Result<Visit> {
    let mut check = Check::new();
    check.text("because", &because, 4000);
    check.done()?;
    let old = get(cx, account, id).await?;
    if old.withdrawn.is_some() {
        return Ok(old);
    }
    let (version, at) = (old.version, cx.clock.now());
    let withdrawn = Some(Withdrawn { at, because });
    change(cx, account, id, version, Visit { withdrawn, version: version + 1, updated_at: at, ..old }).await
}

/// What a visit was before each change, oldest first.
pub async fn revisions(cx: &Context, account: AccountId, id: VisitId) -> Result<Vec<Revision>> {
    get(cx, account, id).await?;
    Ok(cx.store.revisions(id).await?)
}
