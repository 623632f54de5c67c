//! The inputs of a system's model.

use crate::domain::model::duty_settings::DutySettings;
use crate::domain::model::inputs::Inputs;
use crate::domain::model::property::Months;
use crate::domain::model::roof::Roof;
use crate::domain::rules::forecast::gauge_model::GaugeModel;
use chrono::NaiveDate;

/// Where a system is, and what is known of the air there.
#[derive(Clone, Copy, Debug)]
pub struct Location {
    /// Degrees north of the equator.
    pub latitude_deg: f64,
    /// Metres above sea level.
    pub elevation_m: f64,
    /// What is known of the months apart from the rain.
    pub months: Months,
}

/// The inputs of a system's model.
pub struct ModelInputs<'a> {
    /// The place.
    pub place: Location,
    /// The roof.
    pub roof: &'a Roof,
    /// The rain.
    pub gauge_model: &'a GaugeModel,
    /// Water drawn, in litres a day.
    pub demand_l_per_day: f64,
    /// The day on which the system went into service; if absent, the day its oldest part was installed.
    pub commissioned_on: Option<NaiveDate>,
    /// The day of the forecast.
    pub as_of: NaiveDate,
    /// The account's own longest intervals and tolerances.
    pub settings: &'a DutySettings,
    /// Whether to compute curves and lessons as well.
    pub in_full: bool,
}

impl<'a> ModelInputs<'a> {
    /// The inputs for a stored system on a day. `in_full` asks for curves and lessons, which a list of tasks does
    /// not need.
    pub fn of_system(
        inputs: &'a Inputs,
        gauge_model: &'a GaugeModel,
        as_of: NaiveDate,
        in_full: bool,
    ) -> Self {
        let place = &inputs.property.facts;
        let facts = &inputs.system.facts;
        Self {
            place: Location {
                latitude_deg: place.latitude_deg,
                elevation_m: place.elevation_m,
                months: place.months,
            },
            roof: &facts.roof,
            gauge_model,
            demand_l_per_day: facts.demand_l_per_day,
            commissioned_on: Some(facts.commissioned_on),
            as_of,
            settings: &inputs.duty_settings,
            in_full,
        }
    }
}
