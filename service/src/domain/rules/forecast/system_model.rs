//! A system in the engine's types: place, roof, rain, the tank, and what is between roof and tank.

use crate::domain::base::error::Result;
use crate::domain::model::component::ComponentFacts;
use crate::domain::model::duty::Duty;
use crate::domain::model::duty_settings::DutySettings;
use crate::domain::model::part::Part;
use crate::domain::rules::forecast::chamber::ChamberEmptying;
use crate::domain::rules::forecast::chamber::{DiverterChamber, MOST_FLUSH_MM};
use crate::domain::rules::forecast::convert::to_day;
use crate::domain::rules::forecast::gauge_model::GaugeModel;
use crate::domain::rules::forecast::history::InService;
use crate::domain::rules::forecast::looks::{found, looks};
use crate::domain::rules::forecast::model_inputs::ModelInputs;
use crate::domain::rules::forecast::rule::clogging;
use chrono::NaiveDate;
use eavesward_engine as engine;
use engine::supply::Supply;
use engine::tank::Tank;
use engine::{Catchment, Day, Exposure, Meter, Setting, Stretch};
use std::cell::OnceCell;
use std::sync::Arc;

/// What a forecast is made from, apart from the components.
pub struct SystemModel<'a> {
    /// The place.
    pub site: engine::Site,
    /// Monthly mean temperatures, degrees Celsius.
    pub mean_c: Option<[f64; 12]>,
    /// Monthly mean minima, degrees Celsius.
    pub minimum_c: Option<[f64; 12]>,
    /// Monthly evaporation, mm a day.
    pub evaporation: Option<[f64; 12]>,
    /// The roof.
    pub roof: engine::Roof,
    /// The rain.
    pub gauge_model: &'a GaugeModel,
    /// The runoff off roofs of this kind.
    pub catchment: Arc<Catchment>,
    /// All chambers ahead of the tank as one, with the times when they held nothing back; absent if there are none.
    pub chamber: Option<DiverterChamber>,
    /// Each diverter's own chamber, with its hole open.
    own_chambers: Vec<OwnChamber<'a>>,
    /// Area of the floors of all tanks together. Solids spread over them by area. Judgement.
    pub tank_floor_m2: f64,
    /// The tank, if there is one.
    tank: Option<Tank>,
    /// Water drawn, in litres a day.
    pub demand_l_per_day: f64,
    /// The day from which water reached the system.
    in_use_since: NaiveDate,
    /// The day of the forecast.
    pub as_of: NaiveDate,
    /// The account's own longest intervals and tolerances.
    pub settings: &'a DutySettings,
    /// Whether to compute curves and lessons as well. A list of tasks does not need them.
    pub in_full: bool,
    supply: OnceCell<Option<Supply>>,
}

/// The chamber of one diverter.
struct OwnChamber<'a> {
    diverter: &'a ComponentFacts,
    chamber: DiverterChamber,
}

/// Size of a tank, or of several together.
struct TankSize {
    capacity_l: f64,
    floor_m2: f64,
}

/// What a visit found and did at a diverter's hole.
struct HoleEvent {
    on: NaiveDate,
    /// Whether it was found blocked; absent if it was not inspected.
    blocked: Option<bool>,
    /// Whether it was cleared.
    done: bool,
    /// Whether it had been cleared before, on a day that was not recorded.
    cleared_meanwhile: bool,
}

impl<'a> SystemModel<'a> {
    /// Makes the model of a system with its rain.
    pub fn new(inputs: &ModelInputs<'a>, components: &[InService<'a>]) -> Result<Self> {
        let ModelInputs { place, gauge_model, as_of, .. } = *inputs;
        let roof = inputs.roof.to_engine();
        let demand_l_per_day = inputs.demand_l_per_day;
        let installed = components.iter().map(|component| component.facts.installed_on);
        let tanks = components.iter().filter_map(|component| match component.facts.part {
            Part::Tank { capacity_l, floor_area_m2, .. } => {
                Some(TankSize { capacity_l, floor_m2: floor_area_m2 })
            }
            _ => None,
        });
        // Several tanks are connected, so they fill and empty as one.
        let all = tanks.reduce(|one, other| TankSize {
            capacity_l: one.capacity_l + other.capacity_l,
            floor_m2: one.floor_m2 + other.floor_m2,
        });
        let own = |component: &InService<'a>| {
            let chamber = DiverterChamber::new(component, roof.plan_area_m2)?;
            Some(OwnChamber { diverter: component.facts, chamber })
        };
        let mut model = Self {
            site: engine::Site { latitude_deg: place.latitude_deg, elevation_m: place.elevation_m },
            mean_c: place.months.temperatures.mean_c,
            minimum_c: place.months.temperatures.mean_minimum_c,
            evaporation: place.months.evaporation_mm_per_day,
            catchment: gauge_model.catchment(&roof)?,
            roof,
            gauge_model,
            chamber: None,
            own_chambers: components.iter().filter_map(own).collect(),
            tank: all.as_ref().map(|all| Tank::new(all.capacity_l, demand_l_per_day)).transpose()?,
            tank_floor_m2: all.map_or(0.0, |all| all.floor_m2),
            demand_l_per_day,
            in_use_since: inputs.commissioned_on.or(installed.min()).unwrap_or(as_of),
            as_of,
            settings: inputs.settings,
            in_full: inputs.in_full,
            supply: OnceCell::new(),
        };
        model.chamber = model.chambers(components)?;
        Ok(model)
    }

    /// The chamber of a diverter, with its hole open.
    pub fn own_chamber(&self, component: &InService<'_>) -> Option<&DiverterChamber> {
        let own = self.own_chambers.iter().find(|own| std::ptr::eq(own.diverter, component.facts));
        own.map(|own| &own.chamber)
    }

    /// All chambers as one. The largest decides how they empty and when they were blocked. The flows that trickle
    /// away are added.
    fn chambers(&self, components: &[InService<'_>]) -> Result<Option<DiverterChamber>> {
        let (mut total_mm, mut trickle_mm) = (0.0, 0.0);
        let mut largest: Option<(DiverterChamber, &InService<'_>)> = None;
        for component in components {
            let Some(chamber) = self.own_chamber(component) else { continue };
            total_mm += chamber.volume_mm;
            if let ChamberEmptying::Trickle(mm_per_day) = chamber.emptying {
                trickle_mm += mm_per_day;
            }
            if largest.as_ref().is_none_or(|(other, _)| other.volume_mm < chamber.volume_mm) {
                largest = Some((chamber.clone(), component));
            }
        }
        let Some((mut chamber, component)) = largest else { return Ok(None) };
        let blocked = self.blocked_with_predecessors(component, &chamber)?;
        chamber.found_blocked = !blocked.is_empty();
        // Before there was a diverter, all water went to the tank.
        let all = components.iter().filter(|one| self.own_chamber(one).is_some());
        let installed = all.flat_map(|one| one.before.iter().chain([one])).map(|one| one.facts.installed_on);
        let first = installed.min().unwrap_or(component.facts.installed_on);
        let without = (first > self.in_use_since)
            .then(|| Stretch { from: to_day(self.in_use_since), to: Some(to_day(first)) });
        chamber.idle = without.into_iter().chain(blocked).collect();
        chamber.volume_mm = total_mm.min(MOST_FLUSH_MM);
        if let ChamberEmptying::Trickle(mm_per_day) = &mut chamber.emptying {
            *mm_per_day = trickle_mm;
        }
        Ok(Some(chamber))
    }

    /// When the hole of a diverter was blocked, or that of one that it replaced. A replacement ends a blockage.
    fn blocked_with_predecessors(
        &self,
        component: &InService<'_>,
        chamber: &DiverterChamber,
    ) -> Result<Vec<Stretch>> {
        let mut stretches = self.blocked(component, chamber)?;
        let mut taken_out = to_day(component.facts.installed_on);
        for old in &component.before {
            let Some(chamber) = DiverterChamber::new(old, self.roof.plan_area_m2) else { continue };
            let mut earlier = self.blocked(old, &chamber)?;
            for stretch in &mut earlier {
                stretch.to = Some(stretch.to.map_or(taken_out, |to| to.min(taken_out)));
            }
            earlier.append(&mut stretches);
            stretches = earlier;
            taken_out = to_day(old.facts.installed_on);
        }
        Ok(stretches)
    }

    /// When a diverter's hole was blocked, if visits found it so.
    ///
    /// The day on which it blocked is not known. Instead, the limit gives the likely days since it was last
    /// cleared, and their middle is used.
    fn blocked(&self, component: &InService<'_>, chamber: &DiverterChamber) -> Result<Vec<Stretch>> {
        let duty = Duty::ClearWeepHole;
        let mut stretches: Vec<Stretch> = Vec::new();
        let mut cleared = component.start(duty, Some(self.in_use_since));
        let served = component.served(duty).filter(|day| *day <= self.as_of);
        let served = served.map(|on| HoleEvent { on, blocked: None, done: true, cleared_meanwhile: false });
        let mut events: Vec<HoleEvent> = served.into_iter().collect();
        events.extend(looks(&component.seen, duty).iter().map(|look| HoleEvent {
            on: look.on,
            blocked: look.finding.map(|finding| found(finding, 1.0).is_past_limit()),
            done: look.cleaned.is_some(),
            cleared_meanwhile: look.cleaned_meanwhile,
        }));
        events.sort_by_key(|event| event.on);
        let mut seen_open: Option<NaiveDate> = None;
        for HoleEvent { on, blocked, done, cleared_meanwhile } in events {
            let open = stretches.last_mut().filter(|stretch| stretch.to.is_none());
            match (blocked, open) {
                (Some(true), None) => {
                    let from = self.blocked_from(component, chamber, cleared, on)?;
                    // The day is not known, but it was open at the last inspection.
                    let from = seen_open.map_or(from, |open| from.max(to_day(open).plus(1))).min(to_day(on));
                    stretches.push(Stretch { from, to: done.then(|| to_day(on)) });
                }
                // It was cleared, or was found open again although no clearing is known.
                (blocked, Some(stretch)) if done || cleared_meanwhile || blocked == Some(false) => {
                    stretch.to = Some(to_day(on));
                }
                _ => {}
            }
            if done {
                cleared = cleared.max(on);
            }
            if done || blocked == Some(false) {
                seen_open = Some(on);
            }
        }
        Ok(stretches)
    }

    fn blocked_from(
        &self,
        component: &InService<'_>,
        chamber: &DiverterChamber,
        cleared: NaiveDate,
        found_on: NaiveDate,
    ) -> Result<Day> {
        let found = to_day(found_on);
        let rule = clogging(&component.facts.part, chamber, self.roof.plan_area_m2)?;
        let Some(rule) = rule else { return Ok(found) };
        let meter = self.meter(rule.exposure)?;
        let from = meter.reached_before(rule.prior.limit, to_day(cleared.min(found_on)), found)?;
        Ok(from.unwrap_or(found))
    }

    /// The meter of an exposure.
    pub fn meter<'s>(&'s self, exposure: Exposure<'s>) -> Result<Meter<'s>> {
        Ok(Meter::new(&Setting {
            site: &self.site,
            roof: &self.roof,
            gauge: &self.gauge_model.gauge,
            catchment: &self.catchment,
            exposure,
        })?)
    }

    /// Possible futures of the tank; absent without a tank or a climate.
    pub fn supply(&self) -> Result<Option<&Supply>> {
        if let Some(supply) = self.supply.get() {
            return Ok(supply.as_ref());
        }
        let forthcoming = match self.tank {
            Some(_) => self.gauge_model.forthcoming(&self.roof, self.as_of)?,
            None => None,
        };
        let supply = match (self.tank, forthcoming) {
            (Some(tank), Some(forthcoming)) => Some(Supply::new(
                &self.gauge_model.gauge,
                &self.catchment,
                &forthcoming,
                &self.roof,
                self.chamber.as_ref().map_or(0.0, |chamber| chamber.volume_mm),
                tank,
                to_day(self.in_use_since),
            )?),
            _ => None,
        };
        Ok(self.supply.get_or_init(|| supply).as_ref())
    }
}
