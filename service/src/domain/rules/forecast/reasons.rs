//! Chooses the reasons that explain a predicted date.

use crate::domain::model::forecast::{Accumulated, Limit, Prediction};
use crate::domain::model::part::Part;
use crate::domain::model::reason::Reason;
use crate::domain::model::sentence::three_digits;
use crate::domain::rules::forecast::learned::LearnedLimit;
use crate::domain::rules::forecast::predicted::{HORIZON_YEARS, Predicted};
use crate::domain::rules::forecast::system_model::SystemModel;
use chrono::NaiveDate;
use eavesward_engine as engine;
use engine::limit::LOW_OUTLET_MM;
use engine::{Note, Outcome};

/// The date by the other of light and heat, which is later.
pub(crate) fn clock_reason(other: &Predicted) -> Option<Reason> {
    let clock = other.prediction.clock?;
    Some(Reason::OtherClock { clock, on: other.on, years: HORIZON_YEARS })
}

/// How fast sediment gathers by the measured depths, compared with what the rain suggests.
pub(crate) fn measured_reason(prediction: &Prediction) -> Option<Reason> {
    let (limit, accumulated) = (&prediction.limit, prediction.accumulated.as_ref()?);
    let share = limit.prior_value / limit.value;
    (limit.findings > 0 && share.is_finite()).then(|| Reason::SedimentMeasured {
        factor: three_digits(share),
        now_mm: three_digits(accumulated.value * share),
        limit_mm: three_digits(limit.prior_value),
    })
}

/// That the outlet of a tank is so low that sediment reaches it early.
pub(crate) fn outlet_reason(part: &Part) -> Option<Reason> {
    let Part::Tank { outlet_height_mm, .. } = part else { return None };
    (*outlet_height_mm < LOW_OUTLET_MM).then_some(Reason::OutletLow { outlet_mm: *outlet_height_mm })
}

/// What is assumed about the solids that the diverter keeps out of the tank.
pub(crate) fn diverter_reason(model: &SystemModel<'_>) -> Option<Reason> {
    let chamber = model.chamber.as_ref()?;
    Some(if chamber.blocked_since().is_some() {
        Reason::DiverterBlocked
    } else if chamber.found_blocked {
        Reason::DiverterWasBlocked
    } else if chamber.is_emptied_by_hand() {
        Reason::DiverterDrainedByHand
    } else {
        Reason::DiverterAssumed
    })
}

/// What the visits taught.
pub(crate) fn taught_reason(taught: &LearnedLimit, limit: &Limit) -> Option<Reason> {
    if taught.cleaned_on_unknown_day && taught.past_limit_on.is_none() {
        return Some(Reason::CleanedOnUnknownDay);
    }
    (taught.findings > 0).then(|| Reason::LimitLearned {
        findings: taught.findings as u32,
        before: three_digits(limit.prior_value),
        after: three_digits(limit.value),
        unit: limit.unit,
    })
}

/// The accumulated figure and its limit.
pub(crate) fn accumulated_reason(accumulated: &Accumulated, limit: &Limit, since: NaiveDate) -> Reason {
    Reason::Accumulated {
        accumulated: three_digits(accumulated.value),
        unit: accumulated.unit,
        since,
        limit: three_digits(limit.value),
    }
}

pub(crate) fn outcome_reasons(
    answer: &engine::Answer,
    on: Option<NaiveDate>,
    tolerance: f64,
    accumulated: &Accumulated,
    limit: &Limit,
    since: NaiveDate,
    as_of: NaiveDate,
) -> Vec<Reason> {
    let mut reasons = Vec::new();
    // The account's own tolerance can have a fraction of a percent.
    let percent = (tolerance * 1000.0).round() / 10.0;
    match answer.outcome {
        Outcome::NeedsRain => {}
        Outcome::NeverReached { horizon_days, reason, .. } => reasons.push(match reason {
            engine::Reason::NoRain => Reason::NoRain,
            engine::Reason::NoExposure => Reason::NoExposure,
            engine::Reason::BeyondHorizon => {
                Reason::BeyondHorizon { years: (f64::from(horizon_days) / 365.25).round() as u32 }
            }
        }),
        Outcome::Window(_) => reasons.push(match on {
            Some(on) if on <= as_of => Reason::ChancePassed { percent, on },
            Some(on) => Reason::ChancePasses { percent, on },
            None => Reason::ChanceStaysBelow { percent, years: HORIZON_YEARS },
        }),
    }
    reasons.push(accumulated_reason(accumulated, limit, since));
    if accumulated.days_unread > 0 {
        let unread = accumulated.days_unread;
        reasons.push(Reason::UnreadDays { unread, days: unread + accumulated.days_read });
    }
    // 1.645 standard deviations above the median: 95 % of such parts have a lower limit.
    if limit.log_sd > 0.0 && accumulated.value > limit.value * (1.645 * limit.log_sd).exp() {
        reasons.push(Reason::Outlived);
    }
    reasons
}

pub(crate) fn note(note: &Note) -> Reason {
    match note {
        Note::NormalsOnly => Reason::NormalsOnly,
        Note::ShortRecord { years } => Reason::ShortRecord { years: (years * 10.0).round() / 10.0 },
        Note::WetShareAssumed { share } => Reason::WetDaysAssumed { percent: (share * 100.0).round() },
        Note::LatitudeHeld => Reason::LatitudeHeld,
    }
}
