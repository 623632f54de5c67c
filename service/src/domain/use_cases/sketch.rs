//! The forecast of a system that is not registered.

use crate::domain::base::blocking::blocking;
use crate::domain::base::bounds::{Entries, LATITUDE_DEG};
use crate::domain::base::check::Check;
use crate::domain::base::error::Result;
use crate::domain::base::plural::{counted, with_commas};
use crate::domain::model::component::ComponentFacts;
use crate::domain::model::duty::Duty;
use crate::domain::model::duty_settings::{DutySettings, Overrides};
use crate::domain::model::forecast::SystemForecast;
use crate::domain::model::gauge::Normals;
use crate::domain::model::property::{ELEVATION_M, Months, MonthsDraft};
use crate::domain::model::rain::{MOST_READINGS, RAIN_MM, RainDay};
use crate::domain::model::roof::Roof;
use crate::domain::model::system::{DEMAND_L_PER_DAY, MOST_AT_ONCE};
use crate::domain::rules::forecast::gauge_model::GaugeModel;
use crate::domain::rules::forecast::history::InService;
use crate::domain::rules::forecast::model_inputs::{Location, ModelInputs};
use crate::domain::rules::forecast::system::forecast;
use chrono::NaiveDate;
use std::collections::{HashMap, HashSet};

/// Components of an unregistered system. Without any there is nothing to forecast.
pub const COMPONENTS: Entries = Entries::of(1, MOST_AT_ONCE);

/// A system that is not registered.
#[derive(Clone, Debug)]
pub struct Sketch {
    /// Degrees north.
    pub latitude_deg: f64,
    /// Metres above sea level.
    pub elevation_m: f64,
    /// The roof.
    pub roof: Roof,
    /// Litres drawn a day.
    pub demand_l_per_day: f64,
    /// The components.
    pub components: Vec<ComponentFacts>,
    /// Daily rain.
    pub rain: Vec<RainDay>,
    /// Monthly normals of rain.
    pub normals: Option<Normals>,
    /// What is known of the months apart from the rain.
    pub months: MonthsDraft,
    /// Own figures for duties.
    pub duty_settings: Vec<(Duty, Overrides)>,
    /// The day to forecast for.
    pub as_of: NaiveDate,
}

impl Sketch {
    fn check(&self) -> Result<Months> {
        let mut check = Check::new();
        check.between("latitude_deg", self.latitude_deg, LATITUDE_DEG);
        check.between("elevation_m", self.elevation_m, ELEVATION_M);
        check.within("roof", |check| self.roof.check(check));
        check.between("demand_l_per_day", self.demand_l_per_day, DEMAND_L_PER_DAY);
        check.date("as_of", self.as_of);
        check.entries("components", self.components.len(), COMPONENTS);
        crate::domain::model::component::check_components(&mut check, &self.components, NaiveDate::MAX);
        for (index, component) in self.components.iter().enumerate() {
            let days = [
                ("installed_on", Some(component.installed_on)),
                ("last_served_on", component.last_served_on),
            ];
            for (field, day) in days {
                if let Some(day) = day.filter(|day| *day > self.as_of) {
                    let message = format!("{day} is after as_of");
                    check.refuse(&format!("components[{index}].{field}"), message);
                }
            }
        }
        if self.rain.len() > MOST_READINGS {
            let most = with_commas(MOST_READINGS);
            check.refuse(
                "rain",
                format!("it has {}; send at most {most}", counted(self.rain.len() as u64, "day", "days")),
            );
        }
        let mut seen = HashSet::new();
        for (index, day) in self.rain.iter().enumerate() {
            check.between(&format!("rain[{index}].rain_mm"), day.rain_mm, RAIN_MM);
            check.date(&format!("rain[{index}].date"), day.date);
            if !seen.insert(day.date) {
                check.refuse(&format!("rain[{index}].date"), format!("{} is given twice", day.date));
            }
        }
        if let Some(normals) = &self.normals {
            check.within("normals", |check| normals.check(check));
        }
        let months = self.months.clone().check(&mut check);
        let mut seen = HashSet::new();
        for (index, (duty, own)) in self.duty_settings.iter().enumerate() {
            let repeated = !seen.insert(*duty);
            check.within(format!("duty_settings[{index}]"), |check| {
                own.check(check, *duty);
                if repeated {
                    check.refuse("duty", format!("{} is given twice", duty.code()));
                }
            });
        }
        check.done()?;
        Ok(months)
    }
}

/// The forecast of a system that is not registered. Nothing is stored.
pub async fn stateless(sketch: Sketch) -> Result<SystemForecast> {
    blocking(move || {
        let months = sketch.check()?;
        let as_of = sketch.as_of;
        let gauge_model = GaugeModel::new(&sketch.rain, sketch.normals.as_ref(), as_of);
        let settings: DutySettings = sketch.duty_settings.iter().copied().collect();
        let inputs = ModelInputs {
            place: Location { latitude_deg: sketch.latitude_deg, elevation_m: sketch.elevation_m, months },
            roof: &sketch.roof,
            gauge_model: &gauge_model,
            demand_l_per_day: sketch.demand_l_per_day,
            commissioned_on: None,
            as_of,
            settings: &settings,
            in_full: true,
        };
        let components: Vec<InService<'_>> = sketch
            .components
            .iter()
            .map(|facts| InService {
                id: None,
                facts,
                done: HashMap::new(),
                seen: Vec::new(),
                before: Vec::new(),
            })
            .collect();
        let duties = forecast(&inputs, &components)?;
        let climate = gauge_model.summary(sketch.roof.coefficient().value);
        Ok(SystemForecast { system_id: None, as_of, roof: sketch.roof.clone(), climate, duties })
    })
    .await
}
