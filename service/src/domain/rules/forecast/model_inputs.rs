//! What the model of a system is made from.

use crate::domain::model::duty_settings::DutySettings;
use crate::domain::model::inputs::Inputs;
use crate::domain::model::property::Months;
use crate::domain::model::roof::Roof;
use crate::domain::rules::forecast::gauge_model::GaugeModel;
use chrono::NaiveDate;

/// Where a system stands and what is known of the air there.
#[derive(Clone, Copy, Debug)]
pub struct Location {
    /// Degrees north.
    pub latitude_deg: f64,
    /// Metres above sea level.
    pub elevation_m: f64,
    /// What the months are like but for the rain.
    pub months: Months,
}

/// What a system model is made of.
pub struct ModelInputs<'a> {
    /// The place.
    pub place: Location,
    /// The roof.
    pub roof: &'a Roof,
    /// The rain.
    pub gauge_model: &'a GaugeModel,
    /// Litres a day.
    pub demand_l_per_day: f64,
    /// The day on which the system went into service; that of its oldest part when nobody said.
    pub commissioned_on: Option<NaiveDate>,
    /// The day asked for.
    pub as_of: NaiveDate,
    /// The account's own ceilings and tolerances.
    pub settings: &'a DutySettings,
    /// Whether to explain everything.
    pub in_full: bool,
}

impl<'a> ModelInputs<'a> {
    /// A stored system on a day. `in_full` asks for curves and lessons, which rows of a task list leave out.
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
