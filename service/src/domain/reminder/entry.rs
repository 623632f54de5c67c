//! Entries of the feed, and what a refresh has to know to write them.

use super::told::{Basis, Doing, Moved, News, Raised, Sighting};
use crate::domain::cautions::Hazard;
use crate::domain::component::Kind;
use crate::domain::duty::{DecidedBy, Duty};
use crate::domain::duty_settings::DutySettings;
use crate::domain::forecast::Window;
use crate::domain::ids::{AccountId, ComponentId, EntryId, PropertyId, SystemId, TaskId, VisitId};
use crate::domain::store::Inputs;
use crate::domain::task::{State, Task};
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use std::collections::{HashMap, HashSet};
use std::sync::Arc;

/// One entry of an account's feed. It stays as it was written, whatever becomes of the task.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// Its place in the feed: 1 for the first entry, and no gap. 0 until it is appended.
    #[serde(skip)]
    pub number: i64,
    /// When it was raised.
    pub raised_at: DateTime<Utc>,
    /// The local day it was raised on.
    pub as_of: NaiveDate,
    /// The most pressing of what it tells of.
    pub kind: News,
    /// Everything that it tells of.
    pub covers: Vec<News>,
    /// The task.
    pub task_id: TaskId,
    /// The property.
    pub property_id: PropertyId,
    /// Its name then.
    pub property_name: String,
    /// The system.
    pub system_id: SystemId,
    /// Its name then.
    pub system_name: String,
    /// The component.
    pub component_id: ComponentId,
    /// Its name then.
    pub component_name: String,
    /// What the component is.
    pub component_kind: Kind,
    /// The duty.
    pub duty: Duty,
    /// The day it falls due; when it was done, the next time.
    pub due_on: Option<NaiveDate>,
    /// The window.
    pub window: Option<Window>,
    /// What decided the date.
    pub decided_by: Option<DecidedBy>,
    /// How the date moved.
    pub moved: Option<Moved>,
    /// The day it was done.
    pub done_on: Option<NaiveDate>,
    /// Why this date, a sentence each.
    pub reasons: Vec<String>,
    /// What to be careful of.
    pub hazards: Vec<Hazard>,
}

impl Entry {
    /// Its id: computed, so that it is the same wherever it is read or sent.
    pub fn id(&self, account: AccountId) -> EntryId {
        EntryId::of(account, self.number)
    }

    /// What it tells of, as one number.
    pub fn bits(&self) -> i64 {
        bits(&self.covers)
    }
}

/// An entry of a task as a refresh found it.
pub fn of_task(task: &Task, raised: Raised, at: DateTime<Utc>) -> Entry {
    let forecast = &task.forecast;
    let (property_name, system_name) = task.names.clone();
    Entry {
        number: 0,
        raised_at: at,
        as_of: task.as_of,
        kind: raised.kind,
        covers: raised.covers,
        task_id: task.id,
        property_id: task.property_id,
        property_name,
        system_id: task.system_id,
        system_name,
        component_id: task.component_id,
        component_name: forecast.component_name.clone(),
        component_kind: task.kind,
        duty: task.duty,
        due_on: task.due_on,
        window: window(task),
        decided_by: Some(forecast.decided_by),
        moved: raised.moved,
        done_on: (raised.kind == News::Done).then_some(forecast.since),
        reasons: forecast.reasons.clone(),
        hazards: forecast.hazards.clone(),
    }
}

/// An entry of a task that is no longer among those of its system.
pub fn of_removed(gone: Gone, telling: &Telling, at: DateTime<Utc>) -> Entry {
    let replaced_on = telling.replaced.get(&gone.component_id).copied();
    // A part that wants replacing at times and was replaced has had what it wanted, unless a visit said so already.
    let done_on =
        replaced_on.filter(|on| gone.duty.is_replacement() && gone.done.is_none_or(|done| done.on < *on));
    let kind = if done_on.is_some() { News::Done } else { News::Withdrawn };
    let why = telling.why_gone(gone.component_id);
    Entry {
        number: 0,
        raised_at: at,
        as_of: telling.as_of,
        kind,
        covers: vec![kind],
        task_id: gone.task_id,
        property_id: telling.property_id,
        property_name: telling.property_name.clone(),
        system_id: telling.system_id,
        system_name: telling.system_name.clone(),
        component_id: gone.component_id,
        component_name: gone.component_name,
        component_kind: gone.kind,
        duty: gone.duty,
        due_on: None,
        window: None,
        decided_by: None,
        moved: None,
        done_on,
        reasons: vec![why],
        hazards: Vec::new(),
    }
}

/// Several kinds as one number.
pub fn bits(kinds: &[News]) -> i64 {
    kinds.iter().fold(0, |bits, news| bits | news.bit())
}

/// A task whose row is removed.
#[derive(Clone, Debug)]
pub struct Gone {
    /// The task.
    pub task_id: TaskId,
    /// The component.
    pub component_id: ComponentId,
    /// Its name.
    pub component_name: String,
    /// What it is.
    pub kind: Kind,
    /// The duty.
    pub duty: Duty,
    /// The visit of which it was told last that it did the task.
    pub done: Option<Doing>,
}

/// What a refresh has to know of a system to tell its readers of its tasks.
#[derive(Clone, Debug)]
pub struct Telling {
    /// The local day.
    pub as_of: NaiveDate,
    /// The property.
    pub property_id: PropertyId,
    /// Its name.
    pub property_name: String,
    /// The system.
    pub system_id: SystemId,
    /// Its name.
    pub system_name: String,
    /// The account's own lead times.
    pub settings: Arc<DutySettings>,
    /// What the forecast is made from.
    pub basis: Basis,
    /// Tasks that count from the day of a visit, with the visit.
    pub by_visit: HashMap<TaskId, VisitId>,
    /// Tasks that a visit of a later day does, and components that go on one: known only where the clock was ahead, or a
    /// component's end is set.
    pub ahead: (HashSet<TaskId>, HashSet<ComponentId>),
    /// The days on which the system went, or goes, into service and out of it.
    pub service: (NaiveDate, Option<NaiveDate>),
    /// Components that another one has replaced, with the day.
    pub replaced: HashMap<ComponentId, NaiveDate>,
    /// Components in service.
    pub in_service: HashSet<ComponentId>,
}

impl Telling {
    /// Of a system's inputs.
    pub fn of(input: &Inputs, as_of: NaiveDate, by_visit: HashMap<TaskId, VisitId>) -> Self {
        let in_service = input.components.iter().filter(|component| component.in_service_on(as_of));
        Self {
            as_of,
            property_id: input.property.id,
            property_name: input.property.facts.name.clone(),
            system_id: input.system.id,
            system_name: input.system.facts.name.clone(),
            settings: Arc::clone(&input.duty_settings),
            basis: fingerprint(input),
            by_visit,
            ahead: ahead(input, as_of),
            service: (input.system.facts.commissioned_on, input.system.facts.retired_on),
            replaced: replaced(input, as_of),
            in_service: in_service.map(|component| component.id).collect(),
        }
    }

    /// What a refresh finds of a task.
    pub fn sighting(&self, task: &Task) -> Sighting {
        let lead = self.settings.lead(task.duty);
        Sighting {
            as_of: task.as_of,
            since: task.forecast.since,
            by_visit: self.by_visit.get(&task.id).copied(),
            ahead: self.ahead.0.contains(&task.id)
                || self.ahead.1.contains(&task.component_id)
                || self.service.1.is_some_and(|retired_on| retired_on > self.as_of),
            due_on: task.due_on,
            late: task.state == State::Late,
            window: window(task),
            predicted: task.forecast.decided_by == DecidedBy::Prediction,
            basis: self.basis,
            lead_days: lead.lead_days,
            move_days: lead.move_days,
        }
    }

    /// Why a component has no such task any more.
    fn why_gone(&self, component: ComponentId) -> String {
        let (commissioned_on, retired_on) = self.service;
        if self.replaced.contains_key(&component) {
            "The component was replaced.".to_owned()
        } else if let Some(retired_on) = retired_on.filter(|on| *on <= self.as_of) {
            format!("The system was taken out of service on {retired_on}.")
        } else if commissioned_on > self.as_of {
            format!("The system goes into service on {commissioned_on}, by what is known of it now.")
        } else if self.in_service.contains(&component) {
            "The component is another one by what is known of it now, and has no such duty.".to_owned()
        } else {
            "The component is not in service.".to_owned()
        }
    }
}

fn ahead(input: &Inputs, as_of: NaiveDate) -> (HashSet<TaskId>, HashSet<ComponentId>) {
    let visits = input.visits.iter().filter(|visit| visit.facts.visited_on > as_of);
    let items = visits.flat_map(|visit| &visit.facts.items).filter(|item| item.done);
    let going = input.components.iter().filter(|component| component.removed_on.is_some_and(|on| on > as_of));
    let tasks = items.map(|item| TaskId::of(item.component_id, item.duty));
    (tasks.collect(), going.map(|component| component.id).collect())
}

fn replaced(input: &Inputs, as_of: NaiveDate) -> HashMap<ComponentId, NaiveDate> {
    let old: HashSet<ComponentId> =
        input.components.iter().filter_map(|component| component.replaces).collect();
    let old = input.components.iter().filter(|component| old.contains(&component.id));
    old.map(|component| (component.id, component.removed_on.unwrap_or(as_of))).collect()
}

fn window(task: &Task) -> Option<Window> {
    task.forecast.prediction.as_ref().and_then(|prediction| prediction.window)
}

/// Tells whether visits or settings are still those of before. The same on every machine and in every version.
pub fn fingerprint(input: &Inputs) -> Basis {
    let mut visits = Fold::default();
    for visit in &input.visits {
        visits.take(visit.id.0.as_bytes());
        visits.take(&visit.version.to_le_bytes());
    }
    let mut settings = Fold::default();
    for version in [input.property.version, input.gauge.version, input.system.version] {
        settings.take(&version.to_le_bytes());
    }
    settings.take(input.gauge.id.0.as_bytes());
    settings.take(input.property.id.0.as_bytes());
    for component in &input.components {
        settings.take(component.id.0.as_bytes());
        settings.take(&component.version.to_le_bytes());
    }
    for (duty, own) in input.duty_settings.own() {
        settings.take(duty.code().as_bytes());
        settings.take(&own.ceiling_months.unwrap_or_default().to_le_bytes());
        settings.take(&own.tolerance.unwrap_or_default().to_le_bytes());
    }
    Basis { visits: visits.number(), settings: settings.number() }
}

/// The published hash FNV-1a of 64 bits (its constants from memory, held by published values in a test).
struct Fold(u64);

impl Default for Fold {
    fn default() -> Self {
        Self(0xcbf2_9ce4_8422_2325)
    }
}

impl Fold {
    fn take(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.0 = (self.0 ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
    }

    fn number(&self) -> i64 {
        self.0.cast_signed()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_fold_gives_published_values() {
        // From the hash's own list of test values, from memory.
        for (text, expected) in
            [("", 0xcbf2_9ce4_8422_2325_u64), ("a", 0xaf63_dc4c_8601_ec8c), ("foobar", 0x8594_4171_f739_67e8)]
        {
            let mut fold = Fold::default();
            fold.take(text.as_bytes());
            assert_eq!(fold.0, expected, "{text}");
        }
    }
}
