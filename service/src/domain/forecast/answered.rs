//! What had been predicted for the day of a visit, and what the visit found.
//!
//! The forecast that a finding answers is the one of the last look at the same duty, or of the part's first day: made
//! from the readings up to that day and from the findings up to that day, nothing later. What a visit found on a part that
//! somebody had cleaned meanwhile answers nothing.

use super::learned::{found, learn, speaks_of};
use super::predict::{HORIZON_DAYS, to_day, to_window};
use super::rules;
use super::scene::Scene;
use super::system::{Ground, InService, Seen, in_service, seen_by_component, sight, since};
use crate::domain::component::Component;
use crate::domain::duty::{self, Duty};
use crate::domain::error::{Error, Result};
use crate::domain::ids::AnswerId;
use crate::domain::skill::{Answered, Fullness, History};
use crate::domain::store::Inputs;
use crate::domain::visit::{Finding, VisitItem};
use chrono::NaiveDate;
use eavesward_engine as engine;
use engine::{Outcome, Question};
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, HashMap};

/// What the findings of a system answered.
#[derive(Debug, Default)]
pub struct Answers {
    /// Those known already whose history is the same.
    pub kept: Vec<AnswerId>,
    /// Those to be written.
    pub new: Vec<Answered>,
}

/// A finding, and what the service knew of the duty before it.
struct Asked<'a> {
    component: &'a Component,
    duty: Duty,
    seen: Seen<'a>,
    finding: Finding,
    /// What visits saw to up to and with it.
    before: &'a [Seen<'a>],
}

impl Asked<'_> {
    fn id(&self) -> AnswerId {
        AnswerId::of(self.seen.visit, self.component.id, self.duty)
    }

    /// What it rests on: every look at the duty up to and with this one.
    fn history(&self) -> Result<History> {
        let looks: Vec<(NaiveDate, &VisitItem)> =
            self.before.iter().filter(|seen| self.concerns(seen)).map(|seen| (seen.on, seen.item)).collect();
        let text = serde_json::to_vec(&looks)
            .map_err(|failed| Error::Conflict(format!("the history could not be written: {failed}")))?;
        Ok(History(Sha256::digest(&text).into()))
    }

    fn concerns(&self, seen: &Seen<'_>) -> bool {
        speaks_of(seen.item.duty, self.duty)
    }

    /// The last day before the finding on which anybody looked; the part's first day if nobody did.
    fn made_on(&self, inputs: &Inputs) -> Option<NaiveDate> {
        let part = InService::bare(self.component);
        let start = part.start(self.duty, Some(inputs.system.facts.commissioned_on));
        let looks = self.before.iter().filter(|seen| self.concerns(seen)).map(|seen| seen.on);
        let days = looks.chain(part.served(self.duty)).filter(|day| *day < self.seen.on && *day > start);
        Some(days.max().unwrap_or(start)).filter(|day| *day < self.seen.on)
    }
}

/// Holds every finding on a system against what had been predicted; `known` are the answers that are kept of it.
pub fn answers(inputs: &Inputs, whole: &Ground, known: &BTreeMap<AnswerId, History>) -> Result<Answers> {
    let seen = seen_by_component(inputs, NaiveDate::MAX);
    let mut grounds: HashMap<NaiveDate, Ground> = HashMap::new();
    let mut answers = Answers::default();
    for component in &inputs.components {
        let looks = seen.get(&component.id).map_or(&[][..], Vec::as_slice);
        for asked in questions(component, looks) {
            let (id, history) = (asked.id(), asked.history()?);
            if answers.kept.contains(&id) || answers.new.iter().any(|answered| answered.id == id) {
                continue;
            }
            if known.get(&id) == Some(&history) {
                answers.kept.push(id);
                continue;
            }
            let Some(made_on) = asked.made_on(inputs) else { continue };
            let ground = grounds.entry(made_on).or_insert_with(|| whole.until(made_on));
            answers.new.extend(answer(inputs, ground, &asked, made_on, history)?);
        }
    }
    Ok(answers)
}

/// The findings on a component, each for the duty whose mark it speaks of.
fn questions<'a>(component: &'a Component, looks: &'a [Seen<'a>]) -> impl Iterator<Item = Asked<'a>> {
    let duties = duty::of(&component.facts.part);
    looks.iter().enumerate().flat_map(move |(place, seen)| {
        let finding = seen.item.finding.filter(|_| !seen.item.cleaned_meanwhile);
        let spoken_of = duties.iter().filter(|duty| speaks_of(seen.item.duty, **duty));
        finding.into_iter().flat_map(move |finding| {
            let before = &looks[..=place];
            spoken_of.clone().map(move |&duty| Asked { component, duty, seen: *seen, finding, before })
        })
    })
}

/// What a forecast of that day had said; absent where it could say nothing.
fn answer(
    inputs: &Inputs,
    ground: &Ground,
    asked: &Asked<'_>,
    made_on: NaiveDate,
    history: History,
) -> Result<Option<Answered>> {
    let components = in_service(inputs, made_on);
    let Some(component) = components.iter().find(|part| part.id == Some(asked.component.id)) else {
        return Ok(None);
    };
    let sight = sight(inputs, ground, made_on, false);
    let scene = Scene::new(&sight, &components)?;
    let start = component.start(asked.duty, sight.commissioned_on);
    let since = since(component, asked.duty, start, made_on).day;
    let found_on = to_day(asked.seen.on);
    let mut earliest: Option<Answered> = None;
    for rule in rules::of(&component.facts.part, asked.duty, &scene)? {
        let meter = scene.meter(rule.exposure)?;
        let taught = learn(&rule, &meter, component, asked.duty, (start, since), made_on)?;
        let question = Question {
            mark: taught.rate.mark(),
            left_share: taught.left_share,
            since: to_day(taught.since),
            as_of: to_day(made_on),
            horizon_days: HORIZON_DAYS,
        };
        let Outcome::Window(window) = meter.forecast(&question)?.outcome else { continue };
        let finding = found(asked.finding, rule.prior.mark.median);
        let (Some(expected), Some(placed)) =
            (meter.fullness(&question, found_on)?, meter.placed(&question, found_on, finding)?)
        else {
            continue;
        };
        let window = to_window(window);
        // Of a coupling's two clocks the earlier one gave the date.
        let sooner =
            |other: &Answered| window.likely_on.is_some() && window.likely_on < other.window.likely_on;
        if earliest.as_ref().is_none_or(sooner) {
            earliest = Some(Answered {
                id: asked.id(),
                visit_id: asked.seen.visit,
                system_id: inputs.system.id,
                component_id: asked.component.id,
                component_name: component.facts.name.clone(),
                duty: asked.duty,
                made_on,
                visited_on: asked.seen.on,
                window,
                expected: Fullness { low: expected.low, likely: expected.likely, high: expected.high },
                finding: asked.finding,
                found: finding.middle(),
                position: (placed.from, placed.to),
                shares: (placed.below(), placed.inside(), placed.above()),
                history,
            });
        }
    }
    Ok(earliest)
}
