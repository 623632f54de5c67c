//! The forecast of one system: every duty of every component, with its date and what decided it.

use crate::domain::base::error::Result;
use crate::domain::model::duty::{DecidedBy, Duty};
use crate::domain::model::forecast::{DutyForecast, Prediction};
use crate::domain::model::reason::Reason;
use crate::domain::model::{duty, hazard};
use crate::domain::rules::forecast::due_dates::Since;
use crate::domain::rules::forecast::history::{CountsFrom, InService, since};
use crate::domain::rules::forecast::model_inputs::ModelInputs;
use crate::domain::rules::forecast::system_model::SystemModel;
use crate::domain::rules::forecast::{due_dates, predict};
use chrono::NaiveDate;

/// Forecasts all duties of the components below one roof.
pub fn forecast(inputs: &ModelInputs<'_>, components: &[InService<'_>]) -> Result<Vec<DutyForecast>> {
    let model = SystemModel::new(inputs, components)?;
    let mut duties = Vec::new();
    for component in components {
        for &duty in duty::of(&component.facts.part) {
            let start = component.start(duty, inputs.commissioned_on);
            let since = since(component, duty, start, inputs.as_of);
            duties.push(forecast_duty(&model, component, duty, start, since)?);
        }
    }
    duties.sort_by(|a, b| {
        let key = |d: &DutyForecast| (d.due_on.is_none(), d.due_on);
        key(a).cmp(&key(b)).then_with(|| a.component_name.cmp(&b.component_name)).then(a.duty.cmp(&b.duty))
    });
    Ok(duties)
}

pub(crate) fn forecast_duty(
    model: &SystemModel<'_>,
    component: &InService<'_>,
    duty: Duty,
    start: NaiveDate,
    since: Since,
) -> Result<DutyForecast> {
    let part = &component.facts.part;
    let figures = model.settings.figures(duty);
    let ceiling = due_dates::ceiling(figures, since);
    let own_ceiling = figures.ceiling.is_some_and(|ceiling| ceiling.own)
        && ceiling.as_ref().is_some_and(|dated| dated.by == DecidedBy::LongestInterval);
    let ceiling_on = ceiling.as_ref().map(|dated| dated.on);
    let mut dates = Vec::new();
    let mut reasons = Vec::new();
    let mut prediction: Option<Prediction> = None;
    let counts = CountsFrom { start, today: since.day };
    // Every duty with an accumulated figure has a tolerance.
    if let Some(tolerance) = figures.tolerance
        && let Some(predicted) = predict::predict(model, component, duty, tolerance, counts)?
    {
        dates.extend(predicted.on.map(|on| (on, DecidedBy::Prediction)));
        reasons = predicted.reasons;
        prediction = Some(predicted.prediction);
    }
    let season = due_dates::season(part, duty, since, model.minimum_c.as_ref(), model.as_of)?;
    let others = [due_dates::rating(part, duty, since), season.dated, ceiling];
    for dated in others.into_iter().flatten() {
        dates.push((dated.on, dated.by));
        reasons.push(dated.reason);
    }
    reasons.extend(season.wanting);
    // Of several equal dates the first one counts: a prediction says more than a longest interval.
    let decided = dates.into_iter().min_by_key(|(on, _)| *on);
    if decided.is_none() {
        reasons.push(Reason::NoDate);
    }
    Ok(DutyForecast {
        component_id: component.id,
        component_name: component.facts.name.clone(),
        kind: part.kind(),
        duty,
        since: since.day,
        due_on: decided.map(|(on, _)| on),
        decided_by: decided.map_or(DecidedBy::Nothing, |(_, by)| by),
        ceiling_on,
        own_ceiling,
        prediction,
        reasons,
        hazards: hazard::hazards(part, duty),
    })
}
