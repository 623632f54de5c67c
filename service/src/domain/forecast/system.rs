//! One system's forecast: every component's duties, each with its date and what decided it.

use super::calendar::{self, Since};
use super::predict::{self, to_date, to_day};
use super::{Basis, ClimateSummary, DutyForecast, Prediction, SystemForecast};
use crate::domain::Context;
use crate::domain::cautions;
use crate::domain::check::Check;
use crate::domain::clock::local_date;
use crate::domain::component::{ComponentFacts, Part};
use crate::domain::defaults::Canopy;
use crate::domain::duty::{self, DecidedBy, Duty};
use crate::domain::duty_settings::{DutySettings, Figures, Own};
use crate::domain::error::{Error, Result};
use crate::domain::gauge::Normals;
use crate::domain::ids::{AccountId, ComponentId, SystemId};
use crate::domain::property::MonthsDraft;
use crate::domain::rain::{MOST_MM, RainDay};
use crate::domain::store::Inputs;
use crate::domain::system::Roof;
use chrono::NaiveDate;
use eavesward_engine as engine;
use engine::{Catchment, Gauge, RainRecord};
use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Runoff in mm beyond which a larger chamber takes no more: it holds any day's rain already. The engine's bound.
const MOST_FLUSH_MM: f64 = 1000.0;

/// The rain of a gauge through a day, read once for all the systems under it.
pub struct Ground {
    /// The gauge.
    pub gauge: Gauge,
    /// Why there is no climate, and what to send.
    pub wanting: Option<String>,
    /// Runoff by kind of roof, worked out when first asked for.
    catchments: Mutex<Vec<Asked>>,
}

/// The runoff off a kind of roof, and whether anybody has asked for it since it was last worked out.
struct Asked {
    catchment: Arc<Catchment>,
    lately: bool,
}

impl Ground {
    /// Reads the days up to `through`; later ones are left aside.
    pub fn new(days: &[RainDay], normals: Option<&Normals>, through: NaiveDate) -> Self {
        let days = days.iter().filter(|day| day.date <= through);
        let record = RainRecord::from_readings(days.map(|day| (to_day(day.date), day.rain_mm)));
        Self::of(Gauge::new(record, normals.map(Normals::to_engine)))
    }

    fn of(gauge: Gauge) -> Self {
        // Having too little to fit is an answer, not a fault: it says what to send.
        let wanting =
            gauge.climate().err().map(|wanting| format!("Nothing is predicted from rain: {wanting}."));
        Self { gauge, wanting, catchments: Mutex::default() }
    }

    /// The same with readings after the last one; `None` when they do not all come after it. What is known of roofs goes
    /// along, but for kinds that nobody asked for since the last time.
    pub fn grown(&self, days: &[RainDay]) -> Result<Option<Self>> {
        let mut gauge = self.gauge.clone();
        if gauge.push(days.iter().map(|day| (to_day(day.date), day.rain_mm))) != days.len() {
            return Ok(None);
        }
        let grown = Self::of(gauge);
        let mut catchments = Vec::new();
        for asked in self.catchments().iter().filter(|asked| asked.lately) {
            let mut catchment = Catchment::clone(&asked.catchment);
            catchment.extend(&grown.gauge)?;
            catchments.push(Asked { catchment: Arc::new(catchment), lately: false });
        }
        *grown.catchments() = catchments;
        Ok(Some(grown))
    }

    /// The same without the readings after a day.
    pub fn until(&self, day: NaiveDate) -> Self {
        Self::of(self.gauge.until(to_day(day)))
    }

    /// Forgets what is known of roofs; it is worked out anew when asked for.
    pub fn forget_roofs(&self) {
        self.catchments().clear();
    }

    /// About how much memory it holds, in bytes.
    pub fn bytes(&self) -> usize {
        // A day takes 8 bytes; climate, months and blocks come to some thousand.
        let record = self.gauge.record();
        let days = record.first().zip(record.last()).map_or(0, |(first, last)| last.since(first) + 1);
        let roofs: usize = self.catchments().iter().map(|asked| asked.catchment.bytes()).sum();
        8 * days as usize + 4096 + roofs
    }

    fn catchments(&self) -> MutexGuard<'_, Vec<Asked>> {
        self.catchments.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// First day with a reading.
    pub fn from(&self) -> Option<NaiveDate> {
        self.gauge.record().first().and_then(to_date)
    }

    /// Last day with a reading.
    pub fn through(&self) -> Option<NaiveDate> {
        self.gauge.record().last().and_then(to_date)
    }

    /// The runoff off a kind of roof.
    pub fn catchment(&self, roof: &engine::Roof) -> Result<Arc<Catchment>> {
        let mut known = self.catchments();
        if let Some(asked) = known.iter_mut().find(|asked| asked.catchment.suits(roof)) {
            asked.lately = true;
            return Ok(Arc::clone(&asked.catchment));
        }
        let catchment = Arc::new(Catchment::new(&self.gauge, roof)?);
        known.push(Asked { catchment: Arc::clone(&catchment), lately: true });
        Ok(catchment)
    }

    fn summary(&self, coefficient: f64) -> ClimateSummary {
        let mut advice = Vec::new();
        let (basis, years, runoff) = match self.gauge.climate() {
            Err(_) => {
                advice.extend(self.wanting.clone());
                (Basis::None, 0.0, Vec::new())
            }
            Ok(climate) => {
                let basis = match climate.basis {
                    engine::Basis::Record => Basis::Record,
                    engine::Basis::Normals => Basis::Normals,
                    engine::Basis::Both => Basis::Both,
                };
                let runoff = climate.mean_runoff_by_month().iter().map(|mm| mm * coefficient).collect();
                (basis, climate.years, runoff)
            }
        };
        match basis {
            Basis::Record if years < 5.0 => {
                advice.push(format!(
                    "{years:.1} years of daily rain are few; twelve monthly normals beside them would narrow the windows."
                ));
            }
            Basis::Normals => advice.push("A daily record would make the tallies exact.".to_owned()),
            _ => {}
        }
        ClimateSummary {
            basis,
            years,
            mean_runoff_mm_per_day: runoff,
            rain_from: self.from(),
            rain_through: self.through(),
            advice,
        }
    }
}

/// A roof as the engine takes it, with what stands between it and the tank.
pub struct Roofed {
    /// The place.
    pub site: engine::Site,
    /// The roof.
    pub roof: engine::Roof,
    /// Runoff that the diverters in service take from each rain, mm.
    pub flush_mm: f64,
}

impl Roofed {
    /// Puts a roof at a place, behind the diverters among the parts.
    pub fn new<'a>(
        latitude_deg: f64,
        elevation_m: f64,
        roof: &Roof,
        parts: impl Iterator<Item = &'a Part>,
    ) -> Self {
        let litres: f64 = parts
            .map(|part| match part {
                Part::FirstFlushDiverter { chamber_volume_l, .. } => *chamber_volume_l,
                _ => 0.0,
            })
            .sum();
        Self {
            site: engine::Site { latitude_deg, elevation_m },
            roof: engine::Roof {
                plan_area_m2: roof.plan_area_m2,
                coefficient: roof.coefficient().0,
                wetting_loss_mm: roof.loss().0,
                canopy: match roof.canopy {
                    Canopy::None => engine::Canopy::None,
                    Canopy::Deciduous => engine::Canopy::Deciduous,
                    Canopy::Conifer => engine::Canopy::Conifer,
                    Canopy::EvergreenBroadleaf => engine::Canopy::EvergreenBroadleaf,
                },
                canopy_share: roof.canopy_share,
            },
            flush_mm: (litres / roof.plan_area_m2).min(MOST_FLUSH_MM),
        }
    }
}

/// A component in service, with the days on which its duties were done.
pub struct InService<'a> {
    /// Its id, if it is registered.
    pub id: Option<ComponentId>,
    /// What is known of it.
    pub facts: &'a ComponentFacts,
    /// The last day on which each duty was done, up to the day asked for.
    pub done: HashMap<Duty, NaiveDate>,
}

/// Forecasts components behind one roof.
pub fn forecast(
    roofed: &Roofed,
    demand_l_per_day: f64,
    commissioned_on: Option<NaiveDate>,
    components: &[InService<'_>],
    settings: &DutySettings,
    ground: &Ground,
    as_of: NaiveDate,
) -> Result<Vec<DutyForecast>> {
    let mut duties = Vec::new();
    for component in components {
        for &duty in duty::of(&component.facts.part) {
            let since = since(component, duty, commissioned_on, as_of);
            let figures = settings.figures(duty);
            duties.push(one(roofed, demand_l_per_day, component, figures, since, ground, as_of)?);
        }
    }
    duties.sort_by(|a, b| {
        let key = |d: &DutyForecast| (d.due_on.is_none(), d.due_on);
        key(a).cmp(&key(b)).then_with(|| a.component_name.cmp(&b.component_name)).then(a.duty.cmp(&b.duty))
    });
    Ok(duties)
}

/// The day from which a duty counts: the last service, or the installation. Water reaches a part from the commissioning
/// on; sunlight from the installation.
fn since(
    component: &InService<'_>,
    duty: Duty,
    commissioned_on: Option<NaiveDate>,
    as_of: NaiveDate,
) -> Since {
    // "Served" stands for the routine care of a part. It says nothing of work that is done once in years or by season:
    // counting it there would forget a coupling's years in the sun, or skip a winter's draining.
    let served = component.facts.last_served_on.filter(|day| *day <= as_of && duty.is_routine());
    let done = component.done.get(&duty).copied().max(served);
    let start = match commissioned_on {
        Some(day) if duty != Duty::ReplaceCoupling => day.max(component.facts.installed_on),
        _ => component.facts.installed_on,
    };
    // New rubber has new bands: they settle again, and are looked at a month after.
    if duty == Duty::CheckBands
        && let Some(&replaced) = component.done.get(&Duty::ReplaceCoupling)
        && done.is_none_or(|done| done <= replaced)
    {
        return Since { day: replaced.max(start), done_before: false };
    }
    // A service logged before the start (a part kept in a shed, say) does not set the clock back.
    Since { day: done.map_or(start, |day| day.max(start)), done_before: done.is_some() }
}

fn one(
    roofed: &Roofed,
    demand_l_per_day: f64,
    component: &InService<'_>,
    figures: Figures,
    since: Since,
    ground: &Ground,
    as_of: NaiveDate,
) -> Result<DutyForecast> {
    let (part, duty) = (&component.facts.part, figures.duty);
    let ceiling = calendar::ceiling(figures, since);
    let own_ceiling = figures.ceiling.is_some_and(|ceiling| ceiling.own)
        && ceiling.as_ref().is_some_and(|dated| dated.by == DecidedBy::Ceiling);
    let ceiling_on = ceiling.as_ref().map(|dated| dated.on);
    let mut dates = Vec::new();
    let mut reasons = Vec::new();
    let mut prediction: Option<Prediction> = None;
    if let Some(predicted) = predict::predict(part, figures, roofed, ground, since.day, as_of)? {
        dates.extend(predicted.on.map(|on| (on, DecidedBy::Prediction)));
        reasons = predicted.reasons;
        prediction = Some(predicted.prediction);
    }
    let others = [
        calendar::rating(part, duty, since, demand_l_per_day),
        calendar::season(part, duty, since, as_of),
        ceiling,
    ];
    for dated in others.into_iter().flatten() {
        dates.push((dated.on, dated.by));
        reasons.push(dated.reason);
    }
    reasons.extend(calendar::wanting(part));
    // On a tie the first one stands: a prediction says more than a ceiling.
    let decided = dates.into_iter().min_by_key(|(on, _)| *on);
    if decided.is_none() {
        reasons.push("No date can be given.".to_owned());
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
        hazards: cautions::hazards(part, duty),
    })
}

/// The components of a stored system that were in service on a day, with what was done to them by then.
pub fn in_service(inputs: &Inputs, as_of: NaiveDate) -> Vec<InService<'_>> {
    let facts = &inputs.system.facts;
    if facts.commissioned_on > as_of || facts.retired_on.is_some_and(|retired| retired <= as_of) {
        return Vec::new();
    }
    let mut done: HashMap<(ComponentId, Duty), NaiveDate> = HashMap::new();
    for visit in inputs.visits.iter().filter(|visit| visit.facts.visited_on <= as_of) {
        for item in visit.facts.items.iter().filter(|item| item.done) {
            let last = done.entry((item.component_id, item.duty)).or_insert(visit.facts.visited_on);
            *last = (*last).max(visit.facts.visited_on);
        }
    }
    let components = inputs.components.iter().filter(|component| component.in_service_on(as_of));
    components
        .map(|component| InService {
            id: Some(component.id),
            facts: &component.facts,
            done: duty::of(&component.facts.part)
                .iter()
                .filter_map(|duty| Some((*duty, *done.get(&(component.id, *duty))?)))
                .collect(),
        })
        .collect()
}

/// The roof of a stored system, behind the diverters in service on a day.
pub fn roofed(inputs: &Inputs, components: &[InService<'_>]) -> Roofed {
    let place = &inputs.property.facts;
    let parts = components.iter().map(|component| &component.facts.part);
    Roofed::new(place.latitude_deg, place.elevation_m, &inputs.system.facts.roof, parts)
}

/// The forecast of a stored system, as of today at its property when no day is given.
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
        let ground = Ground::new(&days, inputs.gauge.facts.normals.as_ref(), as_of);
        let components = in_service(&inputs, as_of);
        let roofed = roofed(&inputs, &components);
        let facts = &inputs.system.facts;
        let commissioned = Some(facts.commissioned_on);
        let (demand, settings) = (facts.demand_l_per_day, &inputs.duty_settings);
        let duties = forecast(&roofed, demand, commissioned, &components, settings, &ground, as_of)?;
        let mut climate = ground.summary(roofed.roof.coefficient);
        if facts.commissioned_on > as_of {
            climate.advice.push(format!(
                "The system goes into service on {}; nothing is due before.",
                facts.commissioned_on
            ));
        } else if let Some(retired) = facts.retired_on.filter(|retired| *retired <= as_of) {
            climate
                .advice
                .push(format!("The system was taken out of service on {retired}; nothing is due since."));
        } else if components.is_empty() {
            climate.advice.push("The system has no component in service on that day; add one.".to_owned());
        }
        Ok(SystemForecast { system_id: Some(id), as_of, roof: facts.roof.clone(), climate, duties })
    })
    .await
}

/// A system that nobody has registered.
#[derive(Clone, Debug)]
pub struct Sketch {
    /// Degrees north.
    pub latitude_deg: f64,
    /// Metres above sea level.
    pub elevation_m: f64,
    /// The roof.
    pub roof: Roof,
    /// Litres a day.
    pub demand_l_per_day: f64,
    /// The components.
    pub components: Vec<ComponentFacts>,
    /// Daily rain.
    pub rain: Vec<RainDay>,
    /// Normals.
    pub normals: Option<Normals>,
    /// What the months are like but for the rain.
    pub months: MonthsDraft,
    /// Own figures for duties.
    pub duty_settings: Vec<(Duty, Own)>,
    /// The day to forecast for.
    pub as_of: NaiveDate,
}

impl Sketch {
    fn check(&self) -> Result<()> {
        let mut check = Check::new();
        check.between("latitude_deg", self.latitude_deg, -90.0, 90.0);
        check.between("elevation_m", self.elevation_m, -450.0, 6000.0);
        check.within("roof", |check| self.roof.check(check));
        check.between("demand_l_per_day", self.demand_l_per_day, 0.0, 1_000_000.0);
        check.date("as_of", self.as_of);
        if self.components.is_empty() || self.components.len() > 200 {
            check.refuse("components", format!("it has {} entries; give 1 to 200", self.components.len()));
        }
        crate::domain::system::check_components(&mut check, &self.components, NaiveDate::MAX);
        for (index, component) in self.components.iter().enumerate() {
            let days = [
                ("installed_on", Some(component.installed_on)),
                ("last_served_on", component.last_served_on),
            ];
            for (field, day) in days {
                if let Some(day) = day.filter(|day| *day > self.as_of) {
                    let message = format!("{day} is after the day asked for");
                    check.refuse(&format!("components[{index}].{field}"), message);
                }
            }
        }
        if self.rain.len() > crate::domain::rain::MOST_READINGS {
            check.refuse("rain", format!("{} days; send at most 50,000", self.rain.len()));
        }
        let mut seen = std::collections::HashSet::new();
        for (index, day) in self.rain.iter().enumerate() {
            check.between(&format!("rain[{index}].rain_mm"), day.rain_mm, 0.0, MOST_MM);
            check.date(&format!("rain[{index}].date"), day.date);
            if !seen.insert(day.date) {
                check.refuse(&format!("rain[{index}].date"), format!("{} stands there twice", day.date));
            }
        }
        if let Some(normals) = &self.normals {
            check.within("normals", |check| normals.check(check));
        }
        self.months.clone().check(&mut check);
        for (index, (duty, own)) in self.duty_settings.iter().enumerate() {
            let repeated = self.duty_settings[..index].iter().any(|(other, _)| other == duty);
            check.within(format!("duty_settings[{index}]"), |check| {
                own.check(check, *duty);
                if repeated {
                    check.refuse("duty", format!("{} stands there twice", duty.code()));
                }
            });
        }
        check.done()
    }
}

/// The forecast of a system that nobody has registered. Nothing is stored.
pub async fn stateless(sketch: Sketch) -> Result<SystemForecast> {
    sketch.check()?;
    blocking(move || {
        let as_of = sketch.as_of;
        let ground = Ground::new(&sketch.rain, sketch.normals.as_ref(), as_of);
        let parts = sketch.components.iter().map(|component| &component.part);
        let roofed = Roofed::new(sketch.latitude_deg, sketch.elevation_m, &sketch.roof, parts);
        let components: Vec<InService<'_>> = sketch
            .components
            .iter()
            .map(|facts| InService { id: None, facts, done: HashMap::new() })
            .collect();
        let settings = sketch.duty_settings.iter().copied().collect();
        let duties =
            forecast(&roofed, sketch.demand_l_per_day, None, &components, &settings, &ground, as_of)?;
        let climate = ground.summary(roofed.roof.coefficient);
        Ok(SystemForecast { system_id: None, as_of, roof: sketch.roof.clone(), climate, duties })
    })
    .await
}

/// Runs a computation off the threads that serve requests.
pub(crate) async fn blocking<T: Send + 'static>(f: impl FnOnce() -> Result<T> + Send + 'static) -> Result<T> {
    tokio::task::spawn_blocking(f)
        .await
        .unwrap_or_else(|failed| std::panic::resume_unwind(failed.into_panic()))
}
