//! The components in service on a day, with what visits did and found by then.

use crate::domain::base::ids::{ComponentId, VisitId};
use crate::domain::model::component::{Component, ComponentFacts};
use crate::domain::model::duty::Duty;
use crate::domain::model::inputs::Inputs;
use crate::domain::model::part::{Emptying, Part};
use crate::domain::model::visit::VisitItem;
use crate::domain::rules::forecast::convert::to_day;
use crate::domain::rules::forecast::due_dates::Since;
use chrono::NaiveDate;
use eavesward_engine as engine;
use std::collections::HashMap;

/// A component in service, with its history up to the day of the forecast.
pub struct InService<'a> {
    /// Id of the component, if it is registered.
    pub id: Option<ComponentId>,
    /// What is known of it.
    pub facts: &'a ComponentFacts,
    /// The last day on which each duty was done.
    pub done: HashMap<Duty, NaiveDate>,
    /// What visits did and found, oldest first.
    pub seen: Vec<VisitedItem<'a>>,
    /// The components that it replaced, latest first. What they let through is still in the tank.
    pub before: Vec<Self>,
}

/// One duty that a visit did or inspected on a component.
#[derive(Clone, Copy)]
pub struct VisitedItem<'a> {
    /// The visit.
    pub visit: VisitId,
    /// The day of the visit.
    pub on: NaiveDate,
    /// What was found and done.
    pub item: &'a VisitItem,
}

impl<'a> InService<'a> {
    /// A component without its history.
    pub fn bare(component: &'a Component) -> Self {
        let facts = &component.facts;
        Self { id: Some(component.id), facts, done: HashMap::new(), seen: Vec::new(), before: Vec::new() }
    }

    /// The day from which a duty counts before it is first done. Water reaches a part from the day the system is
    /// commissioned; sunlight reaches it from the day it is installed.
    pub fn start(&self, duty: Duty, commissioned_on: Option<NaiveDate>) -> NaiveDate {
        match commissioned_on {
            Some(day) if duty != Duty::ReplaceCoupling => day.max(self.facts.installed_on),
            _ => self.facts.installed_on,
        }
    }

    /// The day of the last routine care before registration, for duties that belong to it.
    ///
    /// Work that is done once in years or by the season does not belong to it. Otherwise a coupling would lose its
    /// years in the sun, or a winter's draining would be skipped.
    pub fn served(&self, duty: Duty) -> Option<NaiveDate> {
        self.facts.last_served_on.filter(|_| duty.facts().is_routine)
    }

    /// The days on which a chamber that is emptied by hand is known to have been empty. This includes the chambers
    /// that it replaced.
    ///
    /// Judgement: if the last service of a part is given, it was drained in time until then. If not, it was drained
    /// only on the days that visits logged.
    pub fn drained(&self) -> Vec<engine::Day> {
        let mut days = Vec::new();
        // A chamber before it that emptied itself was always empty in time. The engine assumes the same before the
        // first of these days.
        let by_hand =
            |one: &&Self| matches!(one.facts.part, Part::FirstFlushDiverter { emptying: Emptying::Hand, .. });
        for one in std::iter::once(self).chain(&self.before).take_while(by_hand) {
            let visits =
                one.seen.iter().filter(|seen| seen.item.done && seen.item.duty == Duty::DrainDiverter);
            days.extend(visits.map(|seen| seen.on));
            days.push(one.facts.last_served_on.unwrap_or(one.facts.installed_on));
        }
        days.sort_unstable();
        days.into_iter().map(to_day).collect()
    }
}

/// The days from which a duty of a part counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CountsFrom {
    /// The first one, which counts until the duty is first done.
    pub start: NaiveDate,
    /// The one on the day of the forecast: that of the last service, or the first.
    pub today: NaiveDate,
}

/// The day from which a duty counts: the last service, or the start.
pub(crate) fn since(component: &InService<'_>, duty: Duty, start: NaiveDate, as_of: NaiveDate) -> Since {
    let served = component.served(duty).filter(|day| *day <= as_of);
    let done = component.done.get(&duty).copied().max(served);
    // New rubber has new bands. They settle again, and are inspected after a month.
    if duty == Duty::CheckBands
        && let Some(&replaced) = component.done.get(&Duty::ReplaceCoupling)
        && done.is_none_or(|done| done <= replaced)
    {
        return Since { day: replaced.max(start), done_before: false };
    }
    // A service before the start (of a part kept in a shed, for example) does not count.
    Since { day: done.map_or(start, |day| day.max(start)), done_before: done.is_some() }
}

/// What visits up to a day did and found, by component, oldest first. The visits come in that order.
pub(crate) fn seen_by_component(
    inputs: &Inputs,
    through: NaiveDate,
) -> HashMap<ComponentId, Vec<VisitedItem<'_>>> {
    let mut seen: HashMap<ComponentId, Vec<VisitedItem<'_>>> = HashMap::new();
    for visit in inputs.visits.iter().filter(|visit| visit.facts.visited_on <= through) {
        for item in &visit.facts.items {
            let one = VisitedItem { visit: visit.id, on: visit.facts.visited_on, item };
            seen.entry(item.component_id).or_default().push(one);
        }
    }
    seen
}

/// The components of a stored system that were in service on a day, with what was done to them by then.
pub fn in_service<'i>(inputs: &'i Inputs, as_of: NaiveDate) -> Vec<InService<'i>> {
    let facts = &inputs.system.facts;
    if facts.commissioned_on > as_of || facts.retired_on.is_some_and(|retired| retired <= as_of) {
        return Vec::new();
    }
    let mut seen = seen_by_component(inputs, as_of);
    let mut with_history = |component: &'i Component| {
        let seen = seen.remove(&component.id).unwrap_or_default();
        let done = seen.iter().filter(|seen| seen.item.done).map(|seen| (seen.item.duty, seen.on)).collect();
        InService { done, seen, ..InService::bare(component) }
    };
    let components = inputs.components.iter().filter(|component| component.in_service_on(as_of));
    components
        .map(|component| {
            let mut one = with_history(component);
            let mut replaced = component.replaces;
            while let Some(old) = replaced.and_then(|id| inputs.components.iter().find(|old| old.id == id)) {
                one.before.push(with_history(old));
                replaced = old.replaces;
            }
            one
        })
        .collect()
}
