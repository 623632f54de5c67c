//! The duties that have a tally: which exposure counts, where the mark stands, and what the engine says.

use super::{Chances, Mark, Prediction, Tally, Window};
use crate::domain::component::{Emptying, Exposition, Material, Part};
use crate::domain::duty::Duty;
use crate::domain::duty_settings::Figures;
use crate::domain::error::Result;
use crate::domain::forecast::system::{Ground, Roofed};
use chrono::NaiveDate;
use eavesward_engine as engine;
use engine::{Chamber, Day, Exposure, Meter, Note, Orientation, Outcome, Prior, Question, Reason, Setting};

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

/// What the engine said of a duty.
pub struct Predicted {
    /// To be shown.
    pub prediction: Prediction,
    /// The day on which the chance passes the tolerance.
    pub on: Option<NaiveDate>,
    /// Why.
    pub reasons: Vec<String>,
}

/// What a duty's tally counts, in what unit, and where its mark stands.
struct Rule {
    exposure: Exposure<'static>,
    prior: Prior,
    unit: &'static str,
}

fn rule(part: &Part, duty: Duty, roofed: &Roofed) -> Result<Option<Rule>> {
    let rule = match (part, duty) {
        (Part::DebrisScreen { area_m2, .. }, Duty::CleanScreen) => Rule {
            exposure: Exposure::Leaves { screen_area_m2: *area_m2 },
            prior: engine::mark::screen(),
            unit: "kg/m2 of dry leaf on the screen",
        },
        (Part::FirstFlushDiverter { chamber_volume_l, emptying: Emptying::Hand }, Duty::DrainDiverter) => {
            Rule {
                exposure: Exposure::Runoff,
                prior: engine::mark::hand_emptied_chamber(*chamber_volume_l, roofed.roof.plan_area_m2)?,
                unit: "mm of runoff",
            }
        }
        (Part::FirstFlushDiverter { .. }, Duty::ClearWeepHole) => Rule {
            exposure: Exposure::Grit { chamber: Chamber::emptied(roofed.flush_mm) },
            prior: engine::mark::weep_hole_chamber(),
            unit: "g of solids in the chamber per m2 of roof",
        },
        (Part::Tank { floor_area_m2, outlet_height_mm, calmed_inlet, .. }, Duty::RemoveSediment) => Rule {
            exposure: Exposure::Sediment {
                chamber: (roofed.flush_mm > 0.0).then(|| Chamber::emptied(roofed.flush_mm)),
                floor_area_m2: *floor_area_m2,
                calmed_inlet: *calmed_inlet,
            },
            prior: engine::mark::tank_sediment(engine::mark::USUAL_SEDIMENT_MM, Some(*outlet_height_mm)),
            unit: "mm of sediment on the floor",
        },
        (Part::Coupling { material, exposition, shade, shade_share }, Duty::ReplaceCoupling) => Rule {
            exposure: Exposure::Ultraviolet {
                orientation: orientation(*exposition),
                shade_share: shade_share.unwrap_or_else(|| shade.share()),
                warmth: None,
            },
            prior: engine::mark::coupling(match material {
                Material::Epdm => engine::Material::Epdm,
                Material::Neoprene => engine::Material::Neoprene,
                Material::NaturalOrSbr => engine::Material::NaturalOrSbr,
                Material::PlasticisedPvc => engine::Material::PlasticisedPvc,
            }),
            unit: "MJ/m2 of ultraviolet",
        },
        _ => return Ok(None),
    };
    Ok(Some(rule))
}

const fn orientation(exposition: Exposition) -> Orientation {
    match exposition {
        Exposition::VerticalPipe => Orientation::VerticalPipe,
        Exposition::Horizontal => Orientation::Horizontal,
        Exposition::FacingEquator => Orientation::FacingEquator,
        Exposition::FacingEastOrWest => Orientation::FacingEastOrWest,
        Exposition::FacingPole => Orientation::FacingPole,
        Exposition::TiltedToEquator => Orientation::Tilted45Equator,
    }
}

/// Predicts a duty; absent for duties without a tally.
pub fn predict(
    part: &Part,
    figures: Figures,
    roofed: &Roofed,
    ground: &Ground,
    since: NaiveDate,
    as_of: NaiveDate,
) -> Result<Option<Predicted>> {
    // Every duty with a rule has a tolerance.
    let (Some(rule), Some(tolerance)) = (rule(part, figures.duty, roofed)?, figures.tolerance) else {
        return Ok(None);
    };
    let catchment = ground.catchment(&roofed.roof)?;
    let meter = Meter::new(&Setting {
        site: &roofed.site,
        roof: &roofed.roof,
        gauge: &ground.gauge,
        catchment: &catchment,
        exposure: rule.exposure,
    })?;
    let answer = meter.forecast(&Question {
        mark: rule.prior.mark,
        left_share: 0.0,
        since: to_day(since),
        as_of: to_day(as_of),
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
        value: rule.prior.mark.median,
        unit: rule.unit.to_owned(),
        log_sd: rule.prior.mark.log_sd,
        findings: 0,
        source: rule.prior.source.to_owned(),
        judgement: rule.prior.judgement,
    };
    let mut reasons = if needs_rain {
        ground.wanting.iter().cloned().collect()
    } else {
        outcome_reasons(&answer, on, tolerance, &tally, &mark, (since, as_of))
    };
    reasons.extend(answer.notes.iter().map(note));
    if figures.duty == Duty::RemoveSediment && roofed.flush_mm > 0.0 {
        reasons.push("It is taken that the first-flush diverter is empty when rain begins.".to_owned());
    }
    let window = match answer.outcome {
        Outcome::Window(window) => Some(Window {
            early_on: window.early.and_then(to_date),
            likely_on: window.likely.and_then(to_date),
            late_on: window.late.and_then(to_date),
        }),
        Outcome::NeverReached { .. } | Outcome::NeedsRain => None,
    };
    let chances = Chances {
        today: answer.chance.today,
        in_7_days: answer.chance.in_7_days,
        in_30_days: answer.chance.in_30_days,
        in_90_days: answer.chance.in_90_days,
    };
    let curve = if window.is_some() { answer.curve()? } else { Vec::new() };
    let prediction = Prediction {
        window,
        tolerance,
        tally: (!needs_rain).then_some(tally),
        mark,
        chances: (!needs_rain).then_some(chances),
        curve: curve.iter().filter_map(|point| Some((to_date(point.day)?, point.chance))).collect(),
    };
    Ok(Some(Predicted { prediction, on, reasons }))
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
    reasons.push(format!(
        "Since {since} it has taken {} {} of {}.",
        significant(tally.value),
        tally.unit,
        significant(mark.value)
    ));
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
