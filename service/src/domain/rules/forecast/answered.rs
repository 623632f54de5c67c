//! What had been predicted for the day of a visit, and what the visit found.
//!
//! The forecast that a finding answers is the one of the last look at the same duty, or of the part's first day: made
//! from the readings up to that day and from the findings up to that day, nothing later. Nothing is answered by what was
//! found on a part that had been cleaned on a day nobody noted, or that the last cleaning left partly full: what was left is
//! a reading itself, and two of them say little of what came between.

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

/// A finding on a component, and what had been seen of it.
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

/// Holds every finding on a system against what had been predicted; `known` are the answers that are kept of it.
pub fn answers(
    inputs: &Inputs,
    whole: &GaugeModel,
    known: &BTreeMap<AnswerId, LooksHash>,
) -> Result<AnswerChanges> {
    let seen = seen_by_component(inputs, NaiveDate::MAX);
    let mut asked: Vec<FindingCase<'_>> =
        inputs.components.iter().flat_map(|component| questions(inputs, component, &seen)).collect();
    // What rests on the same looks as before is kept.
    let mut kept = HashSet::new();
    asked.retain(|asked| {
        let same = known.get(&asked.id()) == Some(&asked.history);
        kept.extend(same.then(|| asked.id()));
        !same
    });
    let gone = known.keys().filter(|id| !kept.contains(id)).copied().collect();
    let mut answers = AnswerChanges { gone, new: Vec::new() };
    // The rain as it stood on a day is worked out once for all the forecasts of that day, and let go of after.
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

/// The findings on a component, each for the duty whose limit it speaks of.
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
            // What is done to a diverter after that day is no part of the forecast.
            while let Some(other) = upstream.next_if(|other| other.look.on <= made_on) {
                before.update(format!("{} {}", other.diverter, stands_for(&other.look)));
            }
            before.update(stands_for(&look));
            // What is seen of a part that was cleaned the same day says nothing of the days before.
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

/// What a forecast takes of a look; words of people are no part of it.
fn stands_for(look: &Look) -> String {
    let Look { visit, on, finding, cleaned, cleaned_meanwhile } = look;
    format!("{visit} {on} {finding:?} {cleaned:?} {cleaned_meanwhile}\n")
}

/// What a visit says of a diverter ahead of the part.
struct UpstreamLook {
    diverter: ComponentId,
    look: Look,
}

/// What visits say of the diverters, by day, where it decides what reaches the part: the tank's sediment.
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

/// What a forecast of that day had said; absent where it could say nothing.
fn answer(
    inputs: &Inputs,
    model: &SystemModel<'_>,
    components: &[InService<'_>],
    asked: &FindingCase<'_>,
) -> Result<Option<Answered>> {
    let part = components.iter().find(|part| part.id == Some(asked.component.id));
    // A part that was in service on the day of the visit was not on that of the forecast, if it was installed before the
    // system was commissioned.
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
            // Not within the horizon, which a finding may well belie.
            Outcome::NeverReached { .. } | Outcome::NeedsRain => {
                Window { early_on: None, likely_on: None, late_on: None }
            }
        };
        // Of a coupling's two clocks the earlier one gave the date.
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
