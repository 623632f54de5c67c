//! The forecast of a registered system.

use crate::domain::base::blocking::blocking;
use crate::domain::base::check::Check;
use crate::domain::base::clock::local_date;
use crate::domain::base::error::{Error, Result};
use crate::domain::base::ids::{AccountId, SystemId};
use crate::domain::context::Context;
use crate::domain::model::forecast::SystemForecast;
use crate::domain::model::sentence::Sentence;
use crate::domain::rules::forecast::gauge_model::GaugeModel;
use crate::domain::rules::forecast::history::in_service;
use crate::domain::rules::forecast::model_inputs::ModelInputs;
use crate::domain::rules::forecast::system::forecast;
use chrono::NaiveDate;

/// The forecast of a stored system, for today at its property if no day is given.
pub async fn stored(
    cx: &Context,
    account: AccountId,
    id: SystemId,
    as_of: Option<NaiveDate>,
) -> Result<SystemForecast> {
    let inputs = cx.store.inputs(&[(account, id)]).await?.pop();
    let inputs = inputs.ok_or_else(|| Error::NotFound { what: "system", id: id.to_string() })?;
    let as_of = as_of.unwrap_or_else(|| local_date(cx.clock.now(), inputs.property.facts.time_zone));
    let mut check = Check::new();
    check.date("as_of", as_of);
    check.done()?;
    let days = cx.store.rain_record(inputs.gauge.id, as_of).await?;
    blocking(move || {
        let gauge_model = GaugeModel::new(&days, inputs.gauge.facts.normals.as_ref(), as_of);
        let components = in_service(&inputs, as_of);
        let facts = &inputs.system.facts;
        let duties = forecast(&ModelInputs::of_system(&inputs, &gauge_model, as_of, true), &components)?;
        let mut climate = gauge_model.summary(facts.roof.coefficient().value);
        if facts.commissioned_on > as_of {
            climate.advice.push(
                Sentence::of("system_not_yet_in_service")
                    .say("The system goes into service on ")
                    .day("on", facts.commissioned_on)
                    .say("; nothing is due before that day."),
            );
        } else if let Some(retired) = facts.retired_on.filter(|retired| *retired <= as_of) {
            climate.advice.push(
                Sentence::of("system_retired")
                    .say("The system was taken out of service on ")
                    .day("on", retired)
                    .say("; nothing is due from that day on."),
            );
        } else if components.is_empty() {
            climate.advice.push(
                Sentence::of("no_component")
                    .say("The system has no component in service on this day; add one."),
            );
        }
        Ok(SystemForecast { system_id: Some(id), as_of, roof: facts.roof.clone(), climate, duties })
    })
    .await
}
