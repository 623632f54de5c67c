//! The sentences that explain a predicted date.

use crate::domain::model::forecast::{Accumulated, Clock, Limit, Prediction};
use crate::domain::rules::forecast::learned::LearnedLimit;
use crate::domain::rules::forecast::predicted::Predicted;
use crate::domain::rules::forecast::system_model::SystemModel;
use chrono::NaiveDate;
use eavesward_engine as engine;
use engine::{Note, Outcome, Reason};

pub(crate) fn clock_reason(other: &Predicted) -> String {
    let name = other.prediction.clock.map_or("other", Clock::code);
    match other.on {
        Some(on) => format!("By its clock of {name} alone it would come on {on}."),
        None => format!("By its clock of {name} alone it would not come in sixty years."),
    }
}

/// What measured depths say of an accumulated amount that is reckoned from the rain: how fast it really gathers.
pub(crate) fn measured_reason(prediction: &Prediction) -> Option<String> {
    let (limit, accumulated) = (&prediction.limit, prediction.accumulated.as_ref()?);
    let share = limit.prior_value / limit.value;
    (limit.findings > 0 && share.is_finite()).then(|| {
        format!(
            "By what was found it gathers {} times as fast as the rain alone leads one to expect, so there are about {} of \
             {} mm.",
            significant(share),
            significant(accumulated.value * share),
            significant(limit.prior_value)
        )
    })
}

/// What stands behind the share of solids that the diverter takes.
pub(crate) fn diverter_reason(model: &SystemModel<'_>) -> Option<String> {
    let chamber = model.chamber.as_ref()?;
    Some(if chamber.blocked_since().is_some() {
        "The diverter's hole is blocked: nothing is kept from the tank until it is cleared.".to_owned()
    } else if chamber.found_blocked {
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

pub(crate) fn taught_reasons(taught: &LearnedLimit, limit: &Limit) -> Option<String> {
    if taught.cleaned_on_unknown_day && taught.past_limit_on.is_none() {
        return Some(
            "Somebody cleaned it on a day that nobody noted: the accumulated figure counts from the last day that is known, so there is \
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
        "{count} moved the limit from {} to {}.",
        significant(limit.prior_value),
        significant(limit.value)
    ))
}

pub(crate) fn accumulated_reason(accumulated: &Accumulated, limit: &Limit, since: NaiveDate) -> String {
    format!(
        "Since {since} it has taken {} {} of {}.",
        significant(accumulated.value),
        accumulated.unit,
        significant(limit.value)
    )
}

pub(crate) fn outcome_reasons(
    answer: &engine::Answer,
    on: Option<NaiveDate>,
    tolerance: f64,
    accumulated: &Accumulated,
    limit: &Limit,
    since: NaiveDate,
    as_of: NaiveDate,
) -> Vec<String> {
    let mut reasons = Vec::new();
    // An own tolerance may have a fraction of a percent.
    let chance = (tolerance * 1000.0).round() / 10.0;
    match answer.outcome {
        Outcome::NeedsRain => {}
        Outcome::NeverReached { horizon_days, reason, .. } => reasons.push(match reason {
            Reason::NoRain => "It never rains in this record, so the limit is not reached.".to_owned(),
            Reason::NoExposure => "The part takes nothing here, so the limit is not reached.".to_owned(),
            Reason::BeyondHorizon => {
                let years = (f64::from(horizon_days) / 365.25).round();
                format!("The limit is not reached within {years} years.")
            }
        }),
        Outcome::Window(_) => match on {
            Some(on) if on <= as_of => reasons.push(format!(
                "The chance of being past the limit passed {chance} % on {on}; look at it, and log what you find."
            )),
            Some(on) => reasons.push(format!("The chance of being past the limit passes {chance} % on {on}.")),
            None => reasons.push(format!("The chance of being past the limit does not pass {chance} % in sixty years.")),
        },
    }
    reasons.push(accumulated_reason(accumulated, limit, since));
    if accumulated.days_unread > 0 {
        reasons.push(format!(
            "{} of those {} days have no reading; the climate stands in for them.",
            accumulated.days_unread,
            accumulated.days_unread + accumulated.days_read
        ));
    }
    if limit.log_sd > 0.0 && accumulated.value > limit.value * (1.645 * limit.log_sd).exp() {
        reasons.push(
            "It has outlived what the limit expects of nineteen parts in twenty: either it wants care now or the \
             limit is too low here."
                .to_owned(),
        );
    }
    reasons
}

pub(crate) fn note(note: &Note) -> String {
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
