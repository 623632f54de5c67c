//! One system's forecast: every component's duties, each with its date and what decided it.

use super::calendar::{self, Since};
use super::predict::{self, to_date, to_day};
use super::scene::{Place, Scene, Sight};
use super::{Basis, ClimateSummary, DutyForecast, Prediction, SystemForecast};
use crate::domain::Context;
use crate::domain::cautions;
use crate::domain::check::Check;
use crate::domain::clock::local_date;
use crate::domain::component::{Component, ComponentFacts, Emptying, Part};
use crate::domain::duty::{self, DecidedBy, Duty};
use crate::domain::error::{Error, Result};
use crate::domain::gauge::Normals;
use crate::domain::ids::{AccountId, ComponentId, SystemId, VisitId};
use crate::domain::rain::RainDay;
use crate::domain::store::Inputs;
use crate::domain::visit::VisitItem;
use chrono::NaiveDate;
use eavesward_engine as engine;
use engine::supply::Forthcoming;
use engine::{Catchment, Gauge, RainRecord};
use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// The rain of a gauge through a day, read once for all the systems under it.
pub struct Ground {
    /// The gauge.
    pub gauge: Gauge,
    /// Why there is no climate, and what to send.
    pub wanting: Option<String>,
    /// Runoff by kind of roof, worked out when first asked for.
    catchments: Mutex<Vec<Asked>>,
    /// Runoff that may come, by kind of roof and day.
    forthcoming: Mutex<Vec<Ahead>>,
}

/// The runoff off a kind of roof, and whether anybody has asked for it since it was last worked out.
struct Asked {
    catchment: Arc<Catchment>,
    lately: bool,
}

/// The runoff that may come off a kind of roof after a day.
struct Ahead {
    roof: engine::Roof,
    after: NaiveDate,
    paths: Option<Arc<Forthcoming>>,
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
        Self { gauge, wanting, catchments: Mutex::default(), forthcoming: Mutex::default() }
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
        self.forget_ahead();
    }

    /// Forgets the runoff that may come, which is another one tomorrow.
    pub fn forget_ahead(&self) {
        self.ahead().clear();
    }

    /// About how much memory it holds, in bytes.
    pub fn bytes(&self) -> usize {
        // A day takes 8 bytes; climate, months and blocks come to some thousand.
        let record = self.gauge.record();
        let days = record.first().zip(record.last()).map_or(0, |(first, last)| last.since(first) + 1);
        let roofs: usize = self.catchments().iter().map(|asked| asked.catchment.bytes()).sum();
        let ahead: usize =
            self.ahead().iter().flat_map(|ahead| &ahead.paths).map(|paths| paths.bytes()).sum();
        8 * days as usize + 4096 + roofs + ahead
    }

    fn catchments(&self) -> MutexGuard<'_, Vec<Asked>> {
        self.catchments.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn ahead(&self) -> MutexGuard<'_, Vec<Ahead>> {
        self.forthcoming.lock().unwrap_or_else(PoisonError::into_inner)
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

    /// The runoff that may come off a kind of roof after a day; absent without a climate. That of earlier days is
    /// forgotten.
    pub fn forthcoming(&self, roof: &engine::Roof, as_of: NaiveDate) -> Result<Option<Arc<Forthcoming>>> {
        let alike = |other: &engine::Roof| {
            other.wetting_loss_mm == roof.wetting_loss_mm && other.coefficient == roof.coefficient
        };
        let mut known = self.ahead();
        if let Some(ahead) = known.iter().find(|ahead| alike(&ahead.roof) && ahead.after == as_of) {
            return Ok(ahead.paths.clone());
        }
        known.retain(|ahead| ahead.after == as_of);
        let paths = Forthcoming::new(&self.gauge, roof, to_day(as_of))?.map(Arc::new);
        known.push(Ahead { roof: *roof, after: as_of, paths: paths.clone() });
        Ok(paths)
    }

    pub(super) fn summary(&self, coefficient: f64) -> ClimateSummary {
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

/// A component in service, with its history up to the day asked for.
pub struct InService<'a> {
    /// Its id, if it is registered.
    pub id: Option<ComponentId>,
    /// What is known of it.
    pub facts: &'a ComponentFacts,
    /// The last day on which each duty was done.
    pub done: HashMap<Duty, NaiveDate>,
    /// What visits saw to, oldest first.
    pub seen: Vec<Seen<'a>>,
    /// The components that were in its place before it, latest first: what they let through still lies in the tank.
    pub before: Vec<Self>,
}

/// One duty of a component that a visit saw to.
#[derive(Clone, Copy)]
pub struct Seen<'a> {
    /// The visit.
    pub visit: VisitId,
    /// Its day.
    pub on: NaiveDate,
    /// What was found and done.
    pub item: &'a VisitItem,
}

impl<'a> InService<'a> {
    /// A component without its history.
    pub fn bare(component: &'a Component) -> Self {
        let facts = &component.facts;
        Self { id: Some(component.id), facts, done: HashMap::new(), seen: Vec::new(), before: Vec::new() }
    }

    /// The day from which a duty counted at first. Water reaches a part from the commissioning on; sunlight from the
    /// installation.
    pub fn start(&self, duty: Duty, commissioned_on: Option<NaiveDate>) -> NaiveDate {
        match commissioned_on {
            Some(day) if duty != Duty::ReplaceCoupling => day.max(self.facts.installed_on),
            _ => self.facts.installed_on,
        }
    }

    /// The day of the last routine care before the service knew of the part, for duties that it stands for.
    ///
    /// "Served" stands for the routine care of a part. It says nothing of work that is done once in years or by season:
    /// counting it there would forget a coupling's years in the sun, or skip a winter's draining.
    pub fn served(&self, duty: Duty) -> Option<NaiveDate> {
        self.facts.last_served_on.filter(|_| duty.is_routine())
    }

    /// The days on which a chamber that is emptied by hand was empty, as far as anybody said: this one and those before it.
    ///
    /// Judgement: a part whose last service is given was drained in time before, one without was not drained since its
    /// installation but on the days that were logged.
    pub fn drained(&self) -> Vec<engine::Day> {
        let mut days = Vec::new();
        // One that emptied itself before was emptied in time, which is what counts before the first of these days.
        let by_hand =
            |one: &&Self| matches!(one.facts.part, Part::FirstFlushDiverter { emptying: Emptying::Hand, .. });
        for one in std::iter::once(self).chain(&self.before).take_while(by_hand) {
            let visits =
                one.seen.iter().filter(|seen| seen.item.done && seen.item.duty == Duty::DrainDiverter);
            days.extend(visits.map(|seen| seen.on));
            days.push(one.facts.last_served_on.unwrap_or(one.facts.installed_on));
        }
        days.sort_unstable();
        days.into_iter().map(to_day).collect()
    }
}

/// Forecasts components behind one roof.
pub fn forecast(sight: &Sight<'_>, components: &[InService<'_>]) -> Result<Vec<DutyForecast>> {
    let scene = Scene::new(sight, components)?;
    let mut duties = Vec::new();
    for component in components {
        for &duty in duty::of(&component.facts.part) {
            let start = component.start(duty, sight.commissioned_on);
            let since = since(component, duty, start, sight.as_of);
            duties.push(one(&scene, component, duty, start, since)?);
        }
    }
    duties.sort_by(|a, b| {
        let key = |d: &DutyForecast| (d.due_on.is_none(), d.due_on);
        key(a).cmp(&key(b)).then_with(|| a.component_name.cmp(&b.component_name)).then(a.duty.cmp(&b.duty))
    });
    Ok(duties)
}

/// The day from which a duty counts: the last service, or the start.
pub(super) fn since(component: &InService<'_>, duty: Duty, start: NaiveDate, as_of: NaiveDate) -> Since {
    let served = component.served(duty).filter(|day| *day <= as_of);
    let done = component.done.get(&duty).copied().max(served);
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
    scene: &Scene<'_>,
    component: &InService<'_>,
    duty: Duty,
    start: NaiveDate,
    since: Since,
) -> Result<DutyForecast> {
    let part = &component.facts.part;
    let figures = scene.settings.figures(duty);
    let ceiling = calendar::ceiling(figures, since);
    let own_ceiling = figures.ceiling.is_some_and(|ceiling| ceiling.own)
        && ceiling.as_ref().is_some_and(|dated| dated.by == DecidedBy::Ceiling);
    let ceiling_on = ceiling.as_ref().map(|dated| dated.on);
    let mut dates = Vec::new();
    let mut reasons = Vec::new();
    let mut prediction: Option<Prediction> = None;
    // Every duty with a tally has a tolerance.
    if let Some(tolerance) = figures.tolerance
        && let Some(predicted) = predict::predict(scene, component, duty, tolerance, (start, since.day))?
    {
        dates.extend(predicted.on.map(|on| (on, DecidedBy::Prediction)));
        reasons = predicted.reasons;
        prediction = Some(predicted.prediction);
    }
    let season = calendar::season(part, duty, since, scene.minimum_c.as_ref(), scene.as_of)?;
    let others = [calendar::rating(part, duty, since), season.dated, ceiling];
    for dated in others.into_iter().flatten() {
        dates.push((dated.on, dated.by));
        reasons.push(dated.reason);
    }
    reasons.extend(season.wanting);
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

/// What visits through a day saw to, by component, oldest first: that is how the visits come.
pub(super) fn seen_by_component(inputs: &Inputs, through: NaiveDate) -> HashMap<ComponentId, Vec<Seen<'_>>> {
    let mut seen: HashMap<ComponentId, Vec<Seen<'_>>> = HashMap::new();
    for visit in inputs.visits.iter().filter(|visit| visit.facts.visited_on <= through) {
        for item in &visit.facts.items {
            let one = Seen { visit: visit.id, on: visit.facts.visited_on, item };
            seen.entry(item.component_id).or_default().push(one);
        }
    }
    seen
}

/// The components of a stored system that were in service on a day, with what was done to them by then.
pub fn in_service<'i>(inputs: &'i Inputs, as_of: NaiveDate) -> Vec<InService<'i>> {
    let facts = &inputs.system.facts;
    if facts.commissioned_on > as_of || facts.retired_on.is_some_and(|retired| retired <= as_of) {
        return Vec::new();
    }
    let mut seen = seen_by_component(inputs, as_of);
    let mut with_history = |component: &'i Component| {
        let seen = seen.remove(&component.id).unwrap_or_default();
        let done = seen.iter().filter(|seen| seen.item.done).map(|seen| (seen.item.duty, seen.on)).collect();
        InService { done, seen, ..InService::bare(component) }
    };
    let components = inputs.components.iter().filter(|component| component.in_service_on(as_of));
    components
        .map(|component| {
            let mut one = with_history(component);
            let mut replaced = component.replaces;
            while let Some(old) = replaced.and_then(|id| inputs.components.iter().find(|old| old.id == id)) {
                one.before.push(with_history(old));
                replaced = old.replaces;
            }
            one
        })
        .collect()
}

/// A stored system before its rain on a day.
pub fn sight<'a>(inputs: &'a Inputs, ground: &'a Ground, as_of: NaiveDate, in_full: bool) -> Sight<'a> {
    let place = &inputs.property.facts;
    let facts = &inputs.system.facts;
    Sight {
        place: Place {
            latitude_deg: place.latitude_deg,
            elevation_m: place.elevation_m,
            months: place.months,
        },
        roof: &facts.roof,
        ground,
        demand_l_per_day: facts.demand_l_per_day,
        commissioned_on: Some(facts.commissioned_on),
        as_of,
        settings: &inputs.duty_settings,
        in_full,
    }
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
        let facts = &inputs.system.facts;
        let duties = forecast(&sight(&inputs, &ground, as_of, true), &components)?;
        let mut climate = ground.summary(facts.roof.coefficient().0);
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

/// Runs a computation off the threads that serve requests.
pub(crate) async fn blocking<T: Send + 'static>(f: impl FnOnce() -> Result<T> + Send + 'static) -> Result<T> {
    tokio::task::spawn_blocking(f)
        .await
        .unwrap_or_else(|failed| std::panic::resume_unwind(failed.into_panic()))
}
