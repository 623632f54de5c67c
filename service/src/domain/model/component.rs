//! Components: installed parts, with their days of service.

use crate::domain::base::bounds::NAME_LENGTH;
use crate::domain::base::check::Check;
use crate::domain::base::ids::{ComponentId, SystemId};
use crate::domain::model::part::Part;
use chrono::{DateTime, NaiveDate, Utc};

/// What is known of a component.
#[derive(Clone, Debug, PartialEq)]
pub struct ComponentFacts {
    /// The name that people use.
    pub name: String,
    /// What it is.
    pub part: Part,
    /// The day it was installed.
    pub installed_on: NaiveDate,
    /// The day of its last service before it was registered.
    pub last_served_on: Option<NaiveDate>,
}

impl ComponentFacts {
    /// A component without known earlier care.
    pub fn new(name: impl Into<String>, part: Part, installed_on: NaiveDate) -> Self {
        Self { name: name.into(), part, installed_on, last_served_on: None }
    }

    /// Checks everything. The last service cannot be later than `today`.
    pub(crate) fn check(&self, check: &mut Check, today: NaiveDate) {
        check.text("name", &self.name, NAME_LENGTH);
        check.date("installed_on", self.installed_on);
        if let Some(served) = self.last_served_on {
            check.date("last_served_on", served);
            if served > today {
                check.refuse("last_served_on", format!("{served} has not come yet"));
            }
            if served < self.installed_on {
                let message = format!("{served} is before it was installed on {}", self.installed_on);
                check.refuse("last_served_on", message);
            }
        }
        check.within("part", |check| self.part.check(check));
    }
}

/// A component.
#[derive(Clone, Debug, PartialEq)]
pub struct Component {
    /// Id.
    pub id: ComponentId,
    /// Its system.
    pub system_id: SystemId,
    /// What is known of it.
    pub facts: ComponentFacts,
    /// The day it was removed.
    pub removed_on: Option<NaiveDate>,
    /// The component that it replaced.
    pub replaces: Option<ComponentId>,
    /// Counts up with every change.
    pub version: i64,
    /// When it was registered.
    pub created_at: DateTime<Utc>,
    /// When it was last changed.
    pub updated_at: DateTime<Utc>,
}

impl Component {
    /// A component as first registered.
    pub fn new(id: ComponentId, system_id: SystemId, facts: ComponentFacts, now: DateTime<Utc>) -> Self {
        let (removed_on, replaces) = (None, None);
        Self { id, system_id, facts, removed_on, replaces, version: 1, created_at: now, updated_at: now }
    }

    /// Whether it was in service on a day.
    pub fn in_service_on(&self, day: NaiveDate) -> bool {
        self.facts.installed_on <= day && self.removed_on.is_none_or(|removed| removed > day)
    }
}

/// How a new component differs from the one that it replaces.
#[derive(Clone, Debug)]
pub struct Replacement {
    /// The day of the replacement.
    pub on: NaiveDate,
    /// The part of the new component; the same as the old one's if absent.
    pub part: Option<Part>,
    /// Its name; the same as the old one's if absent.
    pub name: Option<String>,
}

/// Checks components under the path `components[i]`.
pub(crate) fn check_components(check: &mut Check, components: &[ComponentFacts], today: NaiveDate) {
    for (index, component) in components.iter().enumerate() {
        check.within(format!("components[{index}]"), |check| component.check(check, today));
    }
}
