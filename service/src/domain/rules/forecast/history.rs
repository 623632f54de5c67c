//! The components in service on a day, with what visits did and found until then.

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

/// A component in service, with its history up to the day asked for.
pub struct InService<'a> {
    /// Its id, if it is registered.
    pub id: Option<ComponentId>,
    /// What is known of it.
    pub facts: &'a ComponentFacts,
    /// The last day on which each duty was done.
    pub done: HashMap<Duty, NaiveDate>,
    /// What visits saw to, oldest first.
    pub seen: Vec<VisitedItem<'a>>,
    /// The components that were in its place before it, latest first: what they let through still lies in the tank.
    pub before: Vec<Self>,
}

/// One duty of a component that a visit saw to.
#[derive(Clone, Copy)]
pub struct VisitedItem<'a> {
    /// The visit.
    pub visit: VisitId,
    /// Its day.
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

    /// The day from which a duty counted at first. Water reaches a part from the commissioning on; sunlight from the
    /// installation.
    pub fn start(&self, duty: Duty, commissioned_on: Option<NaiveDate>) -> NaiveDate {
        match commissioned_on {
            Some(day) if duty != Duty::ReplaceCoupling => day.max(self.facts.installed_on),
            _ => self.facts.installed_on,
        }
    }

    /// The day of the last routine care before the service knew of the part, for duties that it stands for.
    ///
    /// "Served" stands for the routine care of a part. It says nothing of work that is done once in years or by season:
    /// counting it there would forget a coupling's years in the sun, or skip a winter's draining.
    pub fn served(&self, duty: Duty) -> Option<NaiveDate> {
        self.facts.last_served_on.filter(|_| duty.facts().is_routine)
    }

    /// The days on which a chamber that is emptied by hand was empty, as far as anybody said: this one and those before it.
    ///
    /// Judgement: a part whose last service is given was drained in time before, one without was not drained since its
    /// installation but on the days that were logged.
    pub fn drained(&self) -> Vec<engine::Day> {
        let mut days = Vec::new();
        // One that emptied itself before was emptied in time, which is what counts before the first of these days.
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
    /// The one at first.
    pub start: NaiveDate,
    /// The one today: that of the last service, or the first.
    pub today: NaiveDate,
}

/// The day from which a duty counts: the last service, or the start.
pub(crate) fn since(component: &InService<'_>, duty: Duty, start: NaiveDate, as_of: NaiveDate) -> Since {
    let served = component.served(duty).filter(|day| *day <= as_of);
    let done = component.done.get(&duty).copied().max(served);
    // New rubber has new bands: they settle again, and are looked at a month after.
    if duty == Duty::CheckBands
        && let Some(&replaced) = component.done.get(&Duty::ReplaceCoupling)
        && done.is_none_or(|done| done <= replaced)
    {
        return Since { day: replaced.max(start), done_before: false };
    }
    // A service logged before the start (a part kept in a shed, say) does not set the clock back.
    Since { day: done.map_or(start, |day| day.max(start)), done_before: done.is_some() }
}

/// What visits through a day saw to, by component, oldest first: that is how the visits come.
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
