//! Compares what a visit found with what had been predicted for that day.
//!
//! A finding answers the forecast of the last inspection for the same duty, or of the part's first day. That
//! forecast uses only readings and findings up to its day.
//!
//! Some findings answer nothing: those on a part that had been cleaned on an unknown day, and those on a part that
//! the last cleaning left partly full. In the second case the rest is a reading itself, and two readings say little
//! about the time between them.

use crate::domain::base::error::Result;
use crate::domain::base::ids::{AnswerId, ComponentId};
use crate::domain::model::component::Component;
use crate::domain::model::duty;
use crate::domain::model::duty::Duty;
use crate::domain::model::forecast::Window;
use crate::domain::model::inputs::Inputs;
use crate::domain::model::part::Kind;
use crate::domain::model::skill::{AnswerChanges, Answered, Fullness, LooksHash, PositionRange, Shares};
use crate::domain::model::visit::Finding;
use crate::domain::rules::forecast::convert::{to_date, to_day, to_window};
use crate::domain::rules::forecast::gauge_model::GaugeModel;
use crate::domain::rules::forecast::history::{
    CountsFrom, InService, VisitedItem, in_service, seen_by_component, since,
};
use crate::domain::rules::forecast::looks::{Look, found, looks};
use crate::domain::rules::forecast::model_inputs::ModelInputs;
use crate::domain::rules::forecast::predicted::HORIZON_DAYS;
use crate::domain::rules::forecast::system_model::SystemModel;
use crate::domain::rules::forecast::{duty_rules, learned};
use chrono::NaiveDate;
use eavesward_engine as engine;
use engine::{Outcome, Question};
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, HashMap, HashSet};

/// A finding on a component, with the inspections before it.
struct FindingCase<'a> {
    component: &'a Component,
    duty: Duty,
    look: Look,
    finding: Finding,
    /// The day of the forecast that it answers.
    made_on: NaiveDate,
    history: LooksHash,
}

impl FindingCase<'_> {
    fn id(&self) -> AnswerId {
        AnswerId::of(self.look.visit, self.component.id, self.duty)
    }
}

/// Compares every finding on a system with what had been predicted. `known` has the stored answers.
pub fn answers(
    inputs: &Inputs,
    whole: &GaugeModel,
    known: &BTreeMap<AnswerId, LooksHash>,
) -> Result<AnswerChanges> {
    let seen = seen_by_component(inputs, NaiveDate::MAX);
    let mut asked: Vec<FindingCase<'_>> =
        inputs.components.iter().flat_map(|component| questions(inputs, component, &seen)).collect();
    // An answer that is based on the same inspections as before stays.
    let mut kept = HashSet::new();
    asked.retain(|asked| {
        let same = known.get(&asked.id()) == Some(&asked.history);
        kept.extend(same.then(|| asked.id()));
        !same
    });
    let gone = known.keys().filter(|id| !kept.contains(id)).copied().collect();
    let mut answers = AnswerChanges { gone, new: Vec::new() };
    // The rain up to a day is computed once for all forecasts of that day, and dropped afterwards.
    asked.sort_by_key(|asked| asked.made_on);
    for day in asked.chunk_by(|a, b| a.made_on == b.made_on) {
        let Some(made_on) = day.first().map(|asked| asked.made_on) else { continue };
        let gauge_model = whole.until(made_on);
        let components = in_service(inputs, made_on);
        let model_inputs = ModelInputs::of_system(inputs, &gauge_model, made_on, false);
        let model = SystemModel::new(&model_inputs, &components)?;
        for asked in day {
            answers.new.extend(answer(inputs, &model, &components, asked)?);
        }
    }
    Ok(answers)
}

/// The findings on a component, each with the duty whose limit it is about.
fn questions<'a>(
    inputs: &Inputs,
    component: &'a Component,
    seen: &HashMap<ComponentId, Vec<VisitedItem<'_>>>,
) -> Vec<FindingCase<'a>> {
    let mut asked = Vec::new();
    let Some(own) = seen.get(&component.id) else { return asked };
    let part = InService::bare(component);
    for &duty in duty::of(&component.facts.part) {
        let start = part.start(duty, Some(inputs.system.facts.commissioned_on));
        let mut days: Vec<NaiveDate> = part.served(duty).into_iter().collect();
        let mut before = Sha256::new();
        let mut cleaned_on = None;
        let mut upstream = upstream(inputs, seen, duty).into_iter().peekable();
        for look in looks(own, duty) {
            let made_on =
                days.iter().copied().filter(|day| *day < look.on && *day > start).max().unwrap_or(start);
            // Work on a diverter after that day is not part of the forecast.
            while let Some(other) = upstream.next_if(|other| other.look.on <= made_on) {
                before.update(format!("{} {}", other.diverter, stands_for(&other.look)));
            }
            before.update(stands_for(&look));
            // A finding on a part that was cleaned on the same day says nothing about the days before.
            let asks = !look.cleaned_meanwhile && made_on < look.on && cleaned_on != Some(look.on);
            if let Some(finding) = look.finding.filter(|_| asks) {
                let history = LooksHash(before.clone().finalize().into());
                asked.push(FindingCase { component, duty, look, finding, made_on, history });
            }
            days.push(look.on);
            cleaned_on = look.cleaned.map(|_| look.on).or(cleaned_on);
        }
    }
    asked
}

/// What a forecast uses of an inspection. Notes of people are not part of it.
fn stands_for(look: &Look) -> String {
    let Look { visit, on, finding, cleaned, cleaned_meanwhile } = look;
    format!("{visit} {on} {finding:?} {cleaned:?} {cleaned_meanwhile}\n")
}

/// An inspection of a diverter ahead of the part.
struct UpstreamLook {
    diverter: ComponentId,
    look: Look,
}

/// Inspections of the diverters, by day. Only sediment in the tank depends on them, so other duties have none.
fn upstream(
    inputs: &Inputs,
    seen: &HashMap<ComponentId, Vec<VisitedItem<'_>>>,
    duty: Duty,
) -> Vec<UpstreamLook> {
    if duty != Duty::RemoveSediment {
        return Vec::new();
    }
    let diverters = inputs.components.iter().filter(|one| one.facts.part.kind() == Kind::FirstFlushDiverter);
    let mut all: Vec<UpstreamLook> = diverters
        .flat_map(|diverter| {
            let own = seen.get(&diverter.id).map_or(&[][..], Vec::as_slice);
            let both = [Duty::ClearWeepHole, Duty::DrainDiverter];
            both.into_iter()
                .flat_map(move |duty| looks(own, duty))
                .map(|look| UpstreamLook { diverter: diverter.id, look })
        })
        .collect();
    all.sort_by_key(|one| (one.look.on, one.diverter, one.look.visit));
    all
}

/// What a forecast of that day would have said; absent if it could not say anything.
fn answer(
    inputs: &Inputs,
    model: &SystemModel<'_>,
    components: &[InService<'_>],
    asked: &FindingCase<'_>,
) -> Result<Option<Answered>> {
    let part = components.iter().find(|part| part.id == Some(asked.component.id));
    // A part can be in service on the day of the visit but not on the day of the forecast: when it was installed
    // before the system was commissioned.
    let Some(component) = part else { return Ok(None) };
    let start = component.start(asked.duty, Some(inputs.system.facts.commissioned_on));
    let counts = CountsFrom { start, today: since(component, asked.duty, start, asked.made_on).day };
    let found_on = to_day(asked.look.on);
    let tolerance = model.settings.figures(asked.duty).tolerance.unwrap_or(0.5);
    let mut earliest: Option<(NaiveDate, Answered)> = None;
    for rule in duty_rules::of(component, asked.duty, model)? {
        let meter = model.meter(rule.exposure)?;
        let taught = learned::learn(&rule, &meter, component, asked.duty, counts, asked.made_on)?;
        if taught.cleaned_on_unknown_day || taught.left_share > 0.0 || taught.past_limit_on.is_some() {
            continue;
        }
        let question = Question {
            limit: taught.rate.limit(),
            left_share: 0.0,
            since: to_day(taught.since),
            as_of: to_day(asked.made_on),
            horizon_days: HORIZON_DAYS,
        };
        let forecast = meter.forecast(&question)?;
        let finding = found(asked.finding, rule.prior.limit.median);
        let (Some(expected), Some(placed)) =
            (meter.fullness(&question, found_on)?, meter.placed(&question, found_on, finding)?)
        else {
            continue;
        };
        let window = match forecast.outcome {
            Outcome::Window(window) => to_window(window),
            // The limit is not reached before the horizon. The finding may show otherwise.
            Outcome::NeverReached { .. } | Outcome::NeedsRain => {
                Window { early_on: None, likely_on: None, late_on: None }
            }
        };
        // For a coupling, the earlier of light and heat gave the date.
        let on = forecast.day_of_chance(tolerance).and_then(to_date).unwrap_or(NaiveDate::MAX);
        if earliest.as_ref().is_none_or(|(other, _)| on < *other) {
            let answered = Answered {
                id: asked.id(),
                visit_id: asked.look.visit,
                system_id: inputs.system.id,
                component_id: asked.component.id,
                component_name: component.facts.name.clone(),
                duty: asked.duty,
                made_on: asked.made_on,
                visited_on: asked.look.on,
                window,
                expected: Fullness { low: expected.low, likely: expected.likely, high: expected.high },
                finding: asked.finding,
                found: finding.middle(),
                position: PositionRange { from: placed.from, to: placed.to },
                shares: Shares { below: placed.below(), inside: placed.inside(), above: placed.above() },
                history: asked.history,
            };
            earliest = Some((on, answered));
        }
    }
    Ok(earliest.map(|(_, answered)| answered))
}
