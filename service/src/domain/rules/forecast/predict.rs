//! The duties that have an accumulated figure: what the engine predicts for them, and why.

use crate::domain::base::error::Result;
use crate::domain::model::duty::Duty;
use crate::domain::model::forecast::{Accumulated, Limit, Prediction, Window};
use crate::domain::model::part::Part;
use crate::domain::model::reason::Reason;
use crate::domain::rules::forecast::chamber::DiverterChamber;
use crate::domain::rules::forecast::convert::{to_chances, to_curve, to_date, to_day, to_window};
use crate::domain::rules::forecast::history::{CountsFrom, InService};
use crate::domain::rules::forecast::predicted::{HORIZON_DAYS, Predicted};
use crate::domain::rules::forecast::reasons::{
    accumulated_reason, clock_reason, diverter_reason, measured_reason, note, outcome_reasons, outlet_reason,
    taught_reason,
};
use crate::domain::rules::forecast::rule::Rule;
use crate::domain::rules::forecast::system_model::SystemModel;
use crate::domain::rules::forecast::{duty_rules, learned, simulated};
use chrono::NaiveDate;
use eavesward_engine as engine;
use engine::{Outcome, Question};

/// Predicts a duty that falls due when its chance of being past the limit reaches `tolerance`; absent for duties
/// without an accumulated figure.
pub fn predict(
    model: &SystemModel<'_>,
    component: &InService<'_>,
    duty: Duty,
    tolerance: f64,
    counts: CountsFrom,
) -> Result<Option<Predicted>> {
    if let (Part::OverflowTrap { seal_depth_mm }, Duty::CheckTrap) = (&component.facts.part, duty) {
        return simulated::trap(model, *seal_depth_mm, counts.today, tolerance).map(Some);
    }
    let mut earliest: Option<Predicted> = None;
    let mut others = Vec::new();
    for rule in duty_rules::of(component, duty, model)? {
        let predicted = by_rule(model, component, duty, &rule, tolerance, counts)?;
        let Some(other) = earliest.take() else {
            earliest = Some(predicted);
            continue;
        };
        // Light and heat age a coupling in parallel, and the earlier date counts.
        let sooner = |on: Option<NaiveDate>| on.unwrap_or(NaiveDate::MAX);
        let (first, second) =
            if sooner(predicted.on) < sooner(other.on) { (predicted, other) } else { (other, predicted) };
        others.extend((!second.past_limit).then(|| clock_reason(&second)).flatten());
        earliest = Some(first);
    }
    let Some(mut predicted) = earliest else { return Ok(None) };
    predicted.reasons.extend(others);
    if duty == Duty::RemoveSediment {
        if !predicted.past_limit {
            predicted.reasons.extend(measured_reason(&predicted.prediction));
        }
        predicted.reasons.extend(outlet_reason(&component.facts.part));
        predicted.reasons.extend(diverter_reason(model));
        predicted.prediction.best_day = simulated::best_day(model, &predicted)?;
        predicted.reasons.extend(predicted.prediction.best_day.as_ref().map(simulated::best_day_reason));
    }
    if duty == Duty::DrainDiverter {
        let full = predicted.on.filter(|on| *on <= model.as_of);
        predicted.reasons.extend(full.map(|full| simulated::mosquitoes(model, full)).transpose()?.flatten());
    }
    if duty == Duty::ClearWeepHole {
        let standing = model.chamber.as_ref().and_then(DiverterChamber::blocked_since).and_then(to_date);
        let note = standing.map(|since| simulated::mosquitoes(model, since)).transpose()?.flatten();
        predicted.reasons.extend(note);
    }
    Ok(Some(predicted))
}

fn by_rule(
    model: &SystemModel<'_>,
    component: &InService<'_>,
    duty: Duty,
    rule: &Rule<'_>,
    tolerance: f64,
    counts: CountsFrom,
) -> Result<Predicted> {
    let meter = model.meter(rule.exposure)?;
    let taught = learned::learn(rule, &meter, component, duty, counts, model.as_of)?;
    let engine_limit = taught.rate.limit();
    let answer = meter.forecast(&Question {
        limit: engine_limit,
        left_share: taught.left_share,
        since: to_day(taught.since),
        as_of: to_day(model.as_of),
        horizon_days: HORIZON_DAYS,
    })?;
    let needs_rain = matches!(answer.outcome, Outcome::NeedsRain);
    let on = if needs_rain { None } else { answer.day_of_chance(tolerance).and_then(to_date) };
    let accumulated = Accumulated {
        value: answer.accumulated.value,
        unit: rule.unit,
        from_readings: answer.accumulated.known,
        from_climate: answer.accumulated.expected_unread,
        days_read: answer.accumulated.days_read,
        days_unread: answer.accumulated.days_unread,
    };
    let limit = Limit {
        value: engine_limit.median,
        unit: rule.unit,
        log_sd: engine_limit.log_sd,
        prior_value: rule.prior.limit.median,
        prior_log_sd: rule.prior.limit.log_sd,
        findings: taught.findings as u32,
        source: rule.prior.source.to_owned(),
        judgement: rule.prior.judgement,
    };
    let mut reasons: Vec<Reason> = if let Some(found_on) = taught.past_limit_on {
        std::iter::once(Reason::FoundPastLimit { on: found_on })
            .chain((!needs_rain).then(|| accumulated_reason(&accumulated, &limit, taught.since)))
            .collect()
    } else if needs_rain {
        model.gauge_model.wanting.iter().cloned().collect()
    } else {
        outcome_reasons(&answer, on, tolerance, &accumulated, &limit, taught.since, model.as_of)
    };
    reasons.extend(taught_reason(&taught, &limit));
    let on = taught.past_limit_on.map_or(on, |found_on| Some(on.map_or(found_on, |on| on.min(found_on))));
    reasons.extend(answer.notes.iter().map(note));
    let window = match answer.outcome {
        Outcome::Window(window) => Some(to_window(window)),
        Outcome::NeverReached { .. } | Outcome::NeedsRain => None,
    };
    let (window, chance) = match taught.past_limit_on {
        Some(found_on) => (Some(reached_by(window, found_on)), Some(CERTAIN)),
        None => (window, (!needs_rain).then_some(answer.chance)),
    };
    // What was found needs no curve.
    let curve = if window.is_some() && model.in_full && taught.past_limit_on.is_none() {
        answer.curve()?
    } else {
        Vec::new()
    };
    let next_finding =
        if model.in_full { learned::next_finding(taught.rate, accumulated.value, duty)? } else { None };
    let prediction = Prediction {
        window,
        tolerance,
        accumulated: (!needs_rain).then_some(accumulated),
        limit,
        chances: chance.map(to_chances),
        clock: rule.clock,
        best_day: None,
        curve: to_curve(&curve),
        lessons: taught.lessons,
        next_finding,
    };
    Ok(Predicted { prediction, on, reasons, past_limit: taught.past_limit_on.is_some() })
}

/// The chances of a limit that was found to be passed.
const CERTAIN: engine::Chance =
    engine::Chance { today: 1.0, in_7_days: 1.0, in_30_days: 1.0, in_90_days: 1.0 };

/// The window of a limit that was found to be passed on a day.
fn reached_by(window: Option<Window>, found_on: NaiveDate) -> Window {
    let end = |on: Option<NaiveDate>| Some(on.map_or(found_on, |on| on.min(found_on)));
    Window {
        early_on: end(window.and_then(|window| window.early_on)),
        likely_on: end(window.and_then(|window| window.likely_on)),
        late_on: end(window.and_then(|window| window.late_on)),
    }
}
