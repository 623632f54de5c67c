//! What a refresh needs of a system to decide which reminders to raise.

use crate::domain::base::ids::{ComponentId, PropertyId, SystemId, TaskId, VisitId};
use crate::domain::model::duty::DecidedBy;
use crate::domain::model::duty_settings::DutySettings;
use crate::domain::model::inputs::Inputs;
use crate::domain::model::reason::Reason;
use crate::domain::model::reminder::Fingerprints;
use crate::domain::model::task::{State, Task};
use crate::domain::rules::reminders::decide::TaskSnapshot;
use chrono::NaiveDate;
use std::collections::{HashMap, HashSet};
use std::sync::Arc;

/// What is known of days after the refreshed one. There is something only if the clock was ahead or a component's
/// end is set.
#[derive(Clone, Debug, Default)]
pub struct KnownAhead {
    /// Tasks that a visit does on such a day.
    pub done: HashSet<TaskId>,
    /// Components that are removed on such a day.
    pub removed: HashSet<ComponentId>,
}

/// What a refresh needs of a system to decide which reminders to raise.
#[derive(Clone, Debug)]
pub struct ReminderInputs {
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
    pub basis: Fingerprints,
    /// Tasks that count from the day of a visit, with the visit.
    pub by_visit: HashMap<TaskId, VisitId>,
    /// What is known of later days.
    pub ahead: KnownAhead,
    /// The day on which the system goes, or went, into service.
    pub commissioned_on: NaiveDate,
    /// The day on which it goes, or went, out of service.
    pub retired_on: Option<NaiveDate>,
    /// Components that were replaced, with the day.
    pub replaced: HashMap<ComponentId, NaiveDate>,
    /// Components in service.
    pub in_service: HashSet<ComponentId>,
}

impl ReminderInputs {
    /// Collects it from a system's inputs.
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
            commissioned_on: input.system.facts.commissioned_on,
            retired_on: input.system.facts.retired_on,
            replaced: replaced(input, as_of),
            in_service: in_service.map(|component| component.id).collect(),
        }
    }

    /// What a refresh finds of a task.
    pub fn snapshot(&self, task: &Task) -> TaskSnapshot {
        let lead = self.settings.lead(task.duty);
        TaskSnapshot {
            as_of: task.as_of,
            since: task.forecast.since,
            by_visit: self.by_visit.get(&task.id).copied(),
            ahead: self.ahead.done.contains(&task.id)
                || self.ahead.removed.contains(&task.component_id)
                || self.retired_on.is_some_and(|retired_on| retired_on > self.as_of),
            due_on: task.due_on,
            late: task.state == State::Late,
            window: task.window(),
            predicted: task.forecast.decided_by == DecidedBy::Prediction,
            basis: self.basis,
            lead_days: lead.lead_days,
            move_days: lead.move_days,
        }
    }

    /// Why a component no longer has a task.
    pub fn why_removed(&self, component: ComponentId) -> Reason {
        if self.replaced.contains_key(&component) {
            Reason::Replaced
        } else if let Some(on) = self.retired_on.filter(|on| *on <= self.as_of) {
            Reason::SystemRetired { on }
        } else if self.commissioned_on > self.as_of {
            Reason::SystemNotYetInService { on: self.commissioned_on }
        } else if self.in_service.contains(&component) {
            Reason::DutyGone
        } else {
            Reason::NotInService
        }
    }
}

fn ahead(input: &Inputs, as_of: NaiveDate) -> KnownAhead {
    let visits = input.visits.iter().filter(|visit| visit.facts.visited_on > as_of);
    let items = visits.flat_map(|visit| &visit.facts.items).filter(|item| item.done);
    let going = input.components.iter().filter(|component| component.removed_on.is_some_and(|on| on > as_of));
    let tasks = items.map(|item| TaskId::of(item.component_id, item.duty));
    KnownAhead { done: tasks.collect(), removed: going.map(|component| component.id).collect() }
}

fn replaced(input: &Inputs, as_of: NaiveDate) -> HashMap<ComponentId, NaiveDate> {
    let old: HashSet<ComponentId> =
        input.components.iter().filter_map(|component| component.replaces).collect();
    let old = input.components.iter().filter(|component| old.contains(&component.id));
    old.map(|component| (component.id, component.removed_on.unwrap_or(as_of))).collect()
}

/// Shows whether visits or settings have changed. It is the same on every machine and in every version.
pub fn fingerprint(input: &Inputs) -> Fingerprints {
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
    Fingerprints { visits: visits.number(), settings: settings.number() }
}

/// The published hash FNV-1a with 64 bits. Its constants are from memory; a test checks them against published
/// values.
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
