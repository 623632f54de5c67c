//! Forecasts.

use super::duty::{UNKNOWN_DUTY, bring, reasons};
use super::mirror_open;
use super::property::months;
use super::system::roofs;
use crate::domain::base::error;
use crate::domain::base::error::{Error, FieldError};
use crate::domain::base::rounding::rounded;
use crate::domain::model::duty_settings::{Overrides, ceiling_source};
use crate::domain::model::forecast;
use crate::domain::model::task::State;
use crate::domain::use_cases::sketch;
use chrono::NaiveDate;
use eavesward_contract as wire;

mirror_open!(ClimateBasis: forecast::ClimateBasis { Record, Normals, Both, None });

/// Reads a sketch; a duty that this version does not know is refused by its place.
pub fn sketch(request: wire::ForecastRequest) -> error::Result<sketch::Sketch> {
    let (mut duty_settings, mut errors) = (Vec::new(), Vec::new());
    for (index, input) in request.duty_settings.into_iter().enumerate() {
        let own = Overrides {
            ceiling_months: input.longest_interval_months,
            tolerance: input.tolerance,
            ..Overrides::default()
        };
        match input.duty.try_into() {
            Ok(duty) => duty_settings.push((duty, own)),
            Err(()) => errors.push(FieldError {
                field: format!("duty_settings[{index}].duty"),
                message: UNKNOWN_DUTY.to_owned(),
            }),
        }
    }
    if !errors.is_empty() {
        return Err(Error::Invalid(errors.into()));
    }
    Ok(sketch::Sketch {
        latitude_deg: request.latitude_deg,
        elevation_m: request.elevation_m,
        roof: request.roof.try_into()?,
        demand_l_per_day: request.demand_l_per_day,
        components: request.components.into_iter().map(TryInto::try_into).collect::<error::Result<_>>()?,
        rain: request.rain.into_iter().map(Into::into).collect(),
        normals: request.normals.map(Into::into),
        months: months(request.temperatures, request.evaporation_mm_per_day),
        duty_settings,
        as_of: request.as_of,
    })
}

impl From<forecast::ClimateSummary> for wire::ClimateSummary {
    fn from(climate: forecast::ClimateSummary) -> Self {
        Self {
            basis: climate.basis.into(),
            years: rounded(climate.years),
            mean_runoff_mm_per_day: climate.mean_runoff_mm_per_day.into_iter().map(rounded).collect(),
            rain_from: climate.rain_from,
            rain_through: climate.rain_through,
            advice: climate.advice.into_iter().map(Into::into).collect(),
        }
    }
}

/// A duty as it stands on a day.
fn duty_on(duty: forecast::DutyForecast, as_of: NaiveDate) -> wire::DutyForecast {
    let mut prediction = duty.prediction;
    let late_on = prediction.as_ref().and_then(|prediction| prediction.window?.late_on);
    let lessons = prediction.as_mut().map(|prediction| std::mem::take(&mut prediction.lessons));
    let curve = prediction.iter().flat_map(|prediction| {
        prediction
            .curve
            .iter()
            .map(|point| wire::CurvePoint { date: point.on, chance: rounded(point.chance) })
    });
    wire::DutyForecast {
        component_id: duty.component_id.map(|id| id.0),
        component_name: duty.component_name,
        component_kind: duty.kind.into(),
        duty: duty.duty.into(),
        title: duty.duty.title().to_owned(),
        since: duty.since,
        state: State::on(as_of, duty.due_on, late_on).into(),
        due_on: duty.due_on,
        decided_by: duty.decided_by.into(),
        longest_interval_on: duty.ceiling_on,
        longest_interval_source: ceiling_source(duty.duty, duty.own_ceiling).map(str::to_owned),
        curve: curve.collect(),
        clock: prediction.as_ref().and_then(|prediction| prediction.clock.map(Into::into)),
        best_day: prediction.as_ref().and_then(|prediction| prediction.best_day.map(Into::into)),
        lessons: lessons.unwrap_or_default().into_iter().map(Into::into).collect(),
        next_finding: prediction.as_ref().and_then(|prediction| prediction.next_finding.map(Into::into)),
        window: prediction.as_ref().and_then(|prediction| prediction.window.map(Into::into)),
        tolerance: prediction.as_ref().map(|prediction| prediction.tolerance),
        accumulated: prediction
            .as_ref()
            .and_then(|prediction| prediction.accumulated.clone().map(Into::into)),
        chance_past_limit: prediction.as_ref().and_then(|prediction| {
            prediction.chances.map(|chances| wire::Chances {
                today: rounded(chances.today),
                in_7_days: rounded(chances.in_7_days),
                in_30_days: rounded(chances.in_30_days),
                in_90_days: rounded(chances.in_90_days),
            })
        }),
        limit: prediction.map(|prediction| prediction.limit.into()),
        reasons: reasons(&duty.reasons),
        cautions: duty.hazards.into_iter().map(Into::into).collect(),
        bring: bring(duty.duty),
    }
}
impl From<forecast::SystemForecast> for wire::SystemForecast {
    fn from(forecast: forecast::SystemForecast) -> Self {
        Self {
            system_id: forecast.system_id.map(|id| id.0),
            as_of: forecast.as_of,
            roofs: roofs(&forecast.roof, forecast.system_id),
            climate: forecast.climate.into(),
            duties: forecast.duties.into_iter().map(|duty| duty_on(duty, forecast.as_of)).collect(),
        }
    }
}
