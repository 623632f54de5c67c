//! What cannot be found by adding up days: the best day to empty the tank, the water seal of a trap, and mosquitoes
//! in warm water that stands.

use crate::domain::base::error::Result;
use crate::domain::model::forecast::{Accumulated, BestDay, CurvePoint, Limit, Prediction};
use crate::domain::model::measure::Measure;
use crate::domain::model::reason::Reason;
use crate::domain::model::sentence::three_digits;
use crate::domain::rules::forecast::convert::{to_chances, to_curve, to_date, to_day, to_window};
use crate::domain::rules::forecast::predicted::{HORIZON_DAYS, Predicted};
use crate::domain::rules::forecast::system_model::SystemModel;
use chrono::{Days, NaiveDate};
use eavesward_engine as engine;
use engine::heat::MonthlyClock;
use engine::supply::{EVAPORATION_LOG_SD, Supply};
use engine::{mosquito, trap};

/// Days over which a best day is searched: a whole year has every season.
const SEARCH_DAYS: u64 = 365;

/// A task names its best day if its window begins within this many days. Judgement: people plan half a year ahead.
const TASK_AHEAD_DAYS: u64 = 182;

/// Points of the curve of a seal.
const CURVE_POINTS: usize = 25;

/// The deepest water seal that the engine simulates, mm. A deeper one is scaled to this depth, and its loss by the
/// same share, so that it dries on the same days.
const DEEPEST_SEAL_MM: f64 = 500.0;

/// The day inside the window on which the tank is best emptied. Absent without a tank to simulate, or when the
/// window begins more than two years ahead.
pub fn best_day(model: &SystemModel<'_>, predicted: &Predicted) -> Result<Option<BestDay>> {
    let Some(window) = predicted.prediction.window else { return Ok(None) };
    let Some(early) = window.early_on else { return Ok(None) };
    let from = early.max(model.as_of);
    let Some(year) = from.checked_add_days(Days::new(SEARCH_DAYS)) else { return Ok(None) };
    // If the window is over, the whole year can be chosen from.
    let late = window.late_on.filter(|late| *late > model.as_of);
    let to = late.map_or(year, |late| late.min(year)).max(from);
    // A list of tasks does not need a day that is years ahead. Simulating every tank every day would cost more than
    // everything else.
    let ahead = if model.in_full { engine::supply::AHEAD_DAYS as u64 } else { TASK_AHEAD_DAYS };
    if from >= model.as_of + Days::new(ahead) {
        return Ok(None);
    }
    let Some(supply) = model.supply()? else { return Ok(None) };
    let Some(best) = supply.best_day(to_day(from), to_day(to))? else { return Ok(None) };
    Ok(to_date(best.day).map(|on| BestDay {
        on,
        water_lost_l: best.lost_l,
        water_lost_low_l: best.lost_low_l,
        water_lost_high_l: best.lost_high_l,
        in_wet_season: best.in_wet_season,
    }))
}

/// The reason that names the best day.
pub fn best_day_reason(best: &BestDay) -> Reason {
    let lost_l = three_digits(best.water_lost_l);
    Reason::TankLowest { on: best.on, lost_l, in_wet_season: best.in_wet_season }
}

/// The water seal of an overflow trap that was last filled by hand or checked on a day.
pub fn trap(
    model: &SystemModel<'_>,
    seal_depth_mm: f64,
    filled_on: NaiveDate,
    tolerance: f64,
) -> Result<Predicted> {
    let evaporation = match model.evaporation {
        Some(mm_per_day) => trap::evaporation(mm_per_day)?,
        None => trap::usual_evaporation(model.mean_c.as_ref())?,
    };
    let supply = model.supply()?;
    let mut predicted = match supply {
        Some(supply) => followed(model, supply, seal_depth_mm, filled_on, &evaporation, tolerance)?,
        None => unfollowed(model, seal_depth_mm, filled_on, &evaporation, tolerance)?,
    };
    if model.evaporation.is_none() {
        predicted.reasons.push(Reason::EvaporationAssumed);
    }
    predicted.reasons.push(Reason::TrapEndScreen);
    if let (Some(mean_c), Some(accumulated)) = (&model.mean_c, &predicted.prediction.accumulated)
        && accumulated.value < seal_depth_mm
        && let Some(out) = mosquito::first_emergence(to_day(model.as_of), mean_c)?.and_then(to_date)
    {
        predicted.reasons.push(Reason::MosquitoesFromTrap { on: out });
    }
    Ok(predicted)
}

/// A water seal that the tank fills again when it overflows.
fn followed(
    model: &SystemModel<'_>,
    supply: &Supply,
    seal_depth_mm: f64,
    filled_on: NaiveDate,
    evaporation: &MonthlyClock,
    tolerance: f64,
) -> Result<Predicted> {
    let scale = (DEEPEST_SEAL_MM / seal_depth_mm).min(1.0);
    let scaled = trap::evaporation(evaporation.per_day().map(|mm| mm * scale))?;
    let outlook = supply.seal(seal_depth_mm * scale, to_day(filled_on), &scaled)?;
    let full_on = to_date(outlook.full_on).unwrap_or(filled_on);
    let mut predicted = seal(model, seal_depth_mm, full_on, outlook.lost_mm / scale, evaporation, tolerance);
    let mut window = outlook.window;
    predicted.on = outlook.day_of_chance(tolerance).and_then(to_date);
    if outlook.chance.today > 0.0 {
        let before = dried(model, seal_depth_mm, full_on, evaporation)?;
        let today = outlook.chance.today;
        // The simulation begins today. A chance that was already passed keeps the day on which it was passed.
        let passed = |chance: f64| before.day_of_chance(chance).filter(|_| chance <= today);
        predicted.on = passed(tolerance).and_then(to_date).or(predicted.on);
        window.early = passed(0.1).or(window.early);
        window.likely = passed(0.5).or(window.likely);
        window.late = passed(0.9).or(window.late);
    }
    predicted.prediction.window = window.early.map(|_| to_window(window));
    predicted.prediction.chances = Some(to_chances(outlook.chance));
    if model.in_full {
        let step = engine::supply::AHEAD_DAYS / (CURVE_POINTS - 1);
        let point = |ahead: usize| {
            let on = to_date(to_day(model.as_of).plus(ahead as i32))?;
            Some(CurvePoint { on, chance: outlook.chance_in(ahead) })
        };
        predicted.prediction.curve = (0..CURVE_POINTS).filter_map(|k| point(k * step)).collect();
    }
    let last = if full_on > filled_on {
        Reason::TankOverflowed { on: full_on }
    } else {
        Reason::TrapFilled { on: full_on }
    };
    predicted.reasons.insert(0, last);
    Ok(predicted)
}

/// A water seal since it was last full, if nothing filled it again: the day on which each chance that it has dried
/// was passed.
fn dried(
    model: &SystemModel<'_>,
    seal_depth_mm: f64,
    full_on: NaiveDate,
    evaporation: &MonthlyClock,
) -> Result<engine::Answer> {
    let daily = *evaporation.per_day();
    let meter =
        model.meter(engine::Exposure::Steady { daily, sigma_month: 0.0, sigma_year: 0.0, unit: "mm" })?;
    Ok(meter.forecast(&engine::Question {
        limit: engine::Limit { median: seal_depth_mm, log_sd: EVAPORATION_LOG_SD },
        left_share: 0.0,
        since: to_day(full_on),
        as_of: to_day(model.as_of),
        horizon_days: HORIZON_DAYS,
    })?)
}

/// A water seal that nothing fills again, because there is no tank or no rain to simulate.
fn unfollowed(
    model: &SystemModel<'_>,
    seal_depth_mm: f64,
    filled_on: NaiveDate,
    evaporation: &MonthlyClock,
    tolerance: f64,
) -> Result<Predicted> {
    let lost = evaporation.between(to_day(filled_on), to_day(model.as_of)).min(seal_depth_mm);
    let mut predicted = seal(model, seal_depth_mm, filled_on, lost, evaporation, tolerance);
    let answer = dried(model, seal_depth_mm, filled_on, evaporation)?;
    predicted.on = answer.day_of_chance(tolerance).and_then(to_date);
    predicted.prediction.chances = Some(to_chances(answer.chance));
    if let engine::Outcome::Window(window) = answer.outcome {
        predicted.prediction.window = Some(to_window(window));
        if model.in_full {
            predicted.prediction.curve = to_curve(&answer.curve()?);
        }
    }
    predicted.reasons.insert(0, Reason::OverflowUnknown);
    Ok(predicted)
}

fn seal(
    model: &SystemModel<'_>,
    depth_mm: f64,
    full_on: NaiveDate,
    lost_mm: f64,
    evaporation: &MonthlyClock,
    tolerance: f64,
) -> Predicted {
    let unit = Measure::Evaporated;
    let days = model.as_of.signed_duration_since(full_on).num_days().max(0) as u32;
    let (low, high) = evaporation
        .per_day()
        .iter()
        .fold((f64::INFINITY, 0.0_f64), |(low, high), step| (low.min(*step), high.max(*step)));
    let limit = Limit {
        value: depth_mm,
        unit,
        log_sd: EVAPORATION_LOG_SD,
        prior_value: depth_mm,
        prior_log_sd: EVAPORATION_LOG_SD,
        findings: 0,
        source: "the depth of the seal; the doubt is that of the evaporation, judgement".to_owned(),
        judgement: true,
    };
    let accumulated = Accumulated {
        value: lost_mm,
        unit,
        from_readings: 0.0,
        from_climate: lost_mm,
        days_read: days,
        days_unread: 0,
    };
    let prediction = Prediction { accumulated: Some(accumulated), ..Prediction::new(tolerance, limit) };
    let reasons = vec![Reason::SealLost {
        days,
        lost_mm: three_digits(lost_mm),
        depth_mm: three_digits(depth_mm),
        low_mm: three_digits(low),
        high_mm: three_digits(high),
    }];
    Predicted { prediction, on: None, reasons, past_limit: false }
}

/// The reason about mosquitoes in a chamber that is full since a day; absent if they cannot develop.
pub fn mosquitoes(model: &SystemModel<'_>, full: NaiveDate) -> Result<Option<Reason>> {
    let Some(mean_c) = &model.mean_c else { return Ok(None) };
    let out = mosquito::first_emergence(to_day(full), mean_c)?.and_then(to_date);
    Ok(out.map(|from| Reason::MosquitoesFromChamber { since: full, from, passed: from <= model.as_of }))
}
