//! The duties that have a tally: what the engine says of them, and why.

use super::learned::{self, Taught};
use super::rules::{self, Rule};
use super::scene::{OwnChamber, Scene};
use super::simulated;
use super::system::InService;
use super::{Chances, Mark, Prediction, Tally, Window};
use crate::domain::component::Part;
use crate::domain::duty::Duty;
use crate::domain::error::Result;
use chrono::NaiveDate;
use eavesward_engine as engine;
use engine::{Day, Note, Outcome, Question, Reason};

/// How far ahead is looked: sixty years.
pub const HORIZON_DAYS: i32 = 21_915;

/// Days between the engine's day 0, 1970-01-01, and chrono's day 0.
const EPOCH_FROM_CE: i32 = 719_163;

/// A civil date as the engine counts it.
pub fn to_day(date: NaiveDate) -> Day {
    use chrono::Datelike;
    Day(date.num_days_from_ce() - EPOCH_FROM_CE)
}

/// An engine day as a civil date; absent outside chrono's calendar.
pub fn to_date(day: Day) -> Option<NaiveDate> {
    NaiveDate::from_num_days_from_ce_opt(day.0.checked_add(EPOCH_FROM_CE)?)
}

/// A window of the engine in civil dates.
pub fn to_window(window: engine::Window) -> Window {
    Window {
        early_on: window.early.and_then(to_date),
        likely_on: window.likely.and_then(to_date),
        late_on: window.late.and_then(to_date),
    }
}

/// Chances of the engine.
pub fn to_chances(chance: engine::Chance) -> Chances {
    Chances {
        today: chance.today,
        in_7_days: chance.in_7_days,
        in_30_days: chance.in_30_days,
        in_90_days: chance.in_90_days,
    }
}

/// What the engine said of a duty.
pub struct Predicted {
    /// To be shown.
    pub prediction: Prediction,
    /// The day on which the chance passes the tolerance.
    pub on: Option<NaiveDate>,
    /// Why.
    pub reasons: Vec<String>,
    /// Whether it was found past its mark, and is due for that.
    pub past_mark: bool,
}

/// Predicts a duty that falls due at a chance of `tolerance`; absent for duties without a tally.
///
/// `start` is the day from which the part counted at first, `since` the one from which it counts today.
pub fn predict(
    scene: &Scene<'_>,
    component: &InService<'_>,
    duty: Duty,
    tolerance: f64,
    (start, since): (NaiveDate, NaiveDate),
) -> Result<Option<Predicted>> {
    if let (Part::OverflowTrap { seal_depth_mm }, Duty::CheckTrap) = (&component.facts.part, duty) {
        return simulated::trap(scene, *seal_depth_mm, since, tolerance).map(Some);
    }
    let mut earliest: Option<Predicted> = None;
    let mut others = Vec::new();
    for rule in rules::of(component, duty, scene)? {
        let predicted = by_rule(scene, component, duty, &rule, tolerance, (start, since))?;
        let Some(other) = earliest.take() else {
            earliest = Some(predicted);
            continue;
        };
        // Two clocks run in parallel; the earlier one counts.
        let sooner = |on: Option<NaiveDate>| on.unwrap_or(NaiveDate::MAX);
        let (first, second) =
            if sooner(predicted.on) < sooner(other.on) { (predicted, other) } else { (other, predicted) };
        others.extend((!second.past_mark).then(|| clock_reason(&second)));
        earliest = Some(first);
    }
    let Some(mut predicted) = earliest else { return Ok(None) };
    predicted.reasons.extend(others);
    if duty == Duty::RemoveSediment {
        if !predicted.past_mark {
            predicted.reasons.extend(measured_reason(&predicted.prediction));
        }
        predicted.reasons.extend(diverter_reason(scene));
        predicted.prediction.best_day = simulated::best_day(scene, &predicted)?;
        predicted.reasons.extend(predicted.prediction.best_day.as_ref().map(simulated::best_day_reason));
    }
    if duty == Duty::DrainDiverter {
        let full = predicted.on.filter(|on| *on <= scene.as_of);
        predicted.reasons.extend(full.map(|full| simulated::mosquitoes(scene, full)).transpose()?.flatten());
    }
    if duty == Duty::ClearWeepHole {
        let standing = scene.chamber.as_ref().and_then(OwnChamber::blocked_since).and_then(to_date);
        let note = standing.map(|since| simulated::mosquitoes(scene, since)).transpose()?.flatten();
        predicted.reasons.extend(note);
    }
    Ok(Some(predicted))
}

fn by_rule(
    scene: &Scene<'_>,
    component: &InService<'_>,
    duty: Duty,
    rule: &Rule<'_>,
    tolerance: f64,
    (start, since): (NaiveDate, NaiveDate),
) -> Result<Predicted> {
    let meter = scene.meter(rule.exposure)?;
    let taught = learned::learn(rule, &meter, component, duty, (start, since), scene.as_of)?;
    let engine_mark = taught.rate.mark();
    let answer = meter.forecast(&Question {
        mark: engine_mark,
        left_share: taught.left_share,
        since: to_day(taught.since),
        as_of: to_day(scene.as_of),
        horizon_days: HORIZON_DAYS,
    })?;
    let needs_rain = matches!(answer.outcome, Outcome::NeedsRain);
    let on = if needs_rain { None } else { answer.day_of_chance(tolerance).and_then(to_date) };
    let tally = Tally {
        value: answer.tally.value,
        unit: rule.unit.to_owned(),
        from_readings: answer.tally.known,
        from_climate: answer.tally.expected_unread,
        days_read: answer.tally.days_read,
        days_unread: answer.tally.days_unread,
    };
    let mark = Mark {
        value: engine_mark.median,
        unit: rule.unit.to_owned(),
        log_sd: engine_mark.log_sd,
        prior_value: rule.prior.mark.median,
        prior_log_sd: rule.prior.mark.log_sd,
        findings: taught.findings as u32,
        source: rule.prior.source.to_owned(),
        judgement: rule.prior.judgement,
    };
    let mut reasons: Vec<String> = if let Some(found_on) = taught.past_mark_on {
        let seen = format!(
            "It was found past its mark on {found_on}, and nobody has logged since that it was seen to."
        );
        std::iter::once(seen)
            .chain((!needs_rain).then(|| tally_reason(&tally, &mark, taught.since)))
            .collect()
    } else if needs_rain {
        scene.ground.wanting.iter().cloned().collect()
    } else {
        outcome_reasons(&answer, on, tolerance, &tally, &mark, (taught.since, scene.as_of))
    };
    reasons.extend(taught_reasons(&taught, &mark));
    let on = taught.past_mark_on.map_or(on, |found_on| Some(on.map_or(found_on, |on| on.min(found_on))));
    reasons.extend(answer.notes.iter().map(note));
    let window = match answer.outcome {
        Outcome::Window(window) => Some(to_window(window)),
        Outcome::NeverReached { .. } | Outcome::NeedsRain => None,
    };
    let (window, chance) = match taught.past_mark_on {
        Some(found_on) => (Some(reached_by(window, found_on)), Some(CERTAIN)),
        None => (window, (!needs_rain).then_some(answer.chance)),
    };
    // What was seen needs no curve.
    let curve = if window.is_some() && scene.in_full && taught.past_mark_on.is_none() {
        answer.curve()?
    } else {
        Vec::new()
    };
    let next_finding =
        if scene.in_full { learned::next_finding(taught.rate, tally.value, duty)? } else { None };
    let prediction = Prediction {
        window,
        tolerance,
        tally: (!needs_rain).then_some(tally),
        mark,
        chances: chance.map(to_chances),
        clock: rule.clock,
        best_day: None,
        curve: curve.iter().filter_map(|point| Some((to_date(point.day)?, point.chance))).collect(),
        lessons: taught.lessons,
        next_finding,
    };
    Ok(Predicted { prediction, on, reasons, past_mark: taught.past_mark_on.is_some() })
}

/// The chances of what was seen.
const CERTAIN: engine::Chance =
    engine::Chance { today: 1.0, in_7_days: 1.0, in_30_days: 1.0, in_90_days: 1.0 };

/// A window of a mark that was seen to be passed on a day.
fn reached_by(window: Option<Window>, found_on: NaiveDate) -> Window {
    let end = |on: Option<NaiveDate>| Some(on.map_or(found_on, |on| on.min(found_on)));
    Window {
        early_on: end(window.and_then(|window| window.early_on)),
        likely_on: end(window.and_then(|window| window.likely_on)),
        late_on: end(window.and_then(|window| window.late_on)),
    }
}

fn clock_reason(other: &Predicted) -> String {
    let name = other.prediction.clock.map_or("other", super::Clock::code);
    match other.on {
        Some(on) => format!("By its clock of {name} alone it would come on {on}."),
        None => format!("By its clock of {name} alone it would not come in sixty years."),
    }
}

/// What measured depths say of a tally that is reckoned from the rain: how fast it really gathers.
fn measured_reason(prediction: &Prediction) -> Option<String> {
    let (mark, tally) = (&prediction.mark, prediction.tally.as_ref()?);
    let share = mark.prior_value / mark.value;
    (mark.findings > 0 && share.is_finite()).then(|| {
        format!(
            "By what was found it gathers {} times as fast as the rain alone leads one to expect, so there are about {} of \
             {} mm.",
            significant(share),
            significant(tally.value * share),
            significant(mark.prior_value)
        )
    })
}

/// What stands behind the share of solids that the diverter takes.
fn diverter_reason(scene: &Scene<'_>) -> Option<String> {
    let chamber = scene.chamber.as_ref()?;
    Some(if chamber.blocked_since().is_some() {
        "The diverter's hole is blocked: nothing is kept from the tank until it is cleared.".to_owned()
    } else if chamber.was_blocked() {
        "While the diverter's hole was found blocked, it is taken that it kept nothing from the tank."
            .to_owned()
    } else if chamber.is_emptied_by_hand() {
        "The diverter kept from the tank what it could hold between the days on which it was drained; from now on it is \
         taken that it is drained in time."
            .to_owned()
    } else {
        "It is taken that the first-flush diverter works.".to_owned()
    })
}

fn taught_reasons(taught: &Taught, mark: &Mark) -> Option<String> {
    if taught.cleaned_on_unknown_day && taught.past_mark_on.is_none() {
        return Some(
            "Somebody cleaned it on a day that nobody noted: the tally counts from the last day that is known, so there is \
             likely less in it."
                .to_owned(),
        );
    }
    if taught.findings == 0 {
        return None;
    }
    let count =
        if taught.findings == 1 { "One finding".to_owned() } else { format!("{} findings", taught.findings) };
    Some(format!(
        "{count} moved the mark from {} to {}.",
        significant(mark.prior_value),
        significant(mark.value)
    ))
}

fn tally_reason(tally: &Tally, mark: &Mark, since: NaiveDate) -> String {
    format!(
        "Since {since} it has taken {} {} of {}.",
        significant(tally.value),
        tally.unit,
        significant(mark.value)
    )
}

fn outcome_reasons(
    answer: &engine::Answer,
    on: Option<NaiveDate>,
    tolerance: f64,
    tally: &Tally,
    mark: &Mark,
    (since, as_of): (NaiveDate, NaiveDate),
) -> Vec<String> {
    let mut reasons = Vec::new();
    // An own tolerance may have a fraction of a percent.
    let chance = (tolerance * 1000.0).round() / 10.0;
    match answer.outcome {
        Outcome::NeedsRain => {}
        Outcome::NeverReached { horizon_days, reason, .. } => reasons.push(match reason {
            Reason::NoRain => "It never rains in this record, so the mark is not reached.".to_owned(),
            Reason::NoExposure => "The part takes nothing here, so the mark is not reached.".to_owned(),
            Reason::BeyondHorizon => {
                let years = (f64::from(horizon_days) / 365.25).round();
                format!("The mark is not reached within {years} years.")
            }
        }),
        Outcome::Window(_) => match on {
            Some(on) if on <= as_of => reasons.push(format!(
                "The chance of being past the mark passed {chance} % on {on}; look at it, and log what you find."
            )),
            Some(on) => reasons.push(format!("The chance of being past the mark passes {chance} % on {on}.")),
            None => reasons.push(format!("The chance of being past the mark does not pass {chance} % in sixty years.")),
        },
    }
    reasons.push(tally_reason(tally, mark, since));
    if tally.days_unread > 0 {
        reasons.push(format!(
            "{} of those {} days have no reading; the climate stands in for them.",
            tally.days_unread,
            tally.days_unread + tally.days_read
        ));
    }
    if mark.log_sd > 0.0 && tally.value > mark.value * (1.645 * mark.log_sd).exp() {
        reasons.push(
            "It has outlived what the mark expects of nineteen parts in twenty: either it wants care now or the \
             mark is too low here."
                .to_owned(),
        );
    }
    reasons
}

fn note(note: &Note) -> String {
    match note {
        Note::NormalsOnly => {
            "The rain to come is taken from monthly normals; a daily record would narrow it.".to_owned()
        }
        Note::ShortRecord { years } => {
            format!("Only {years:.1} years of rain stand behind it; normals or more record would narrow it.")
        }
        Note::WetShareAssumed { share } => {
            format!("No rain is known, so {:.0} % of days are taken as overcast and wet.", share * 100.0)
        }
        Note::LatitudeHeld => {
            "Beyond 60 degrees of latitude the factor of orientation is that of 60 degrees.".to_owned()
        }
    }
}

/// Three significant digits, without an exponent.
pub fn significant(value: f64) -> String {
    if !value.is_finite() || value == 0.0 {
        return "0".to_owned();
    }
    let digits = (2 - value.abs().log10().floor() as i32).max(0) as usize;
    format!("{value:.digits$}")
}
