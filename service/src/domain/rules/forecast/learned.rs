//! What visits taught about one limit.
//!
//! Findings on a component's own duty count, and so do measured depths of sediment. Each is compared with what the
//! part had accumulated since it was last clean.
//!
//! That figure is computed from the present record. Nothing is stored between forecasts, so a corrected visit gives
//! the forecast as if the error had never been made.

use crate::domain::base::error::Result;
use crate::domain::model::duty::Duty;
use crate::domain::model::forecast::{Lesson, NextFinding};
use crate::domain::model::sentence::Sentence;
use crate::domain::model::visit::Finding;
use crate::domain::rules::forecast::convert::to_day;
use crate::domain::rules::forecast::history::{CountsFrom, InService};
use crate::domain::rules::forecast::looks::{Look, found, looks};
use crate::domain::rules::forecast::rule::Rule;
use chrono::NaiveDate;
use eavesward_engine as engine;
use engine::learning::{BY_EYE_LOG_SD, Inspection, Learned, MEASURED_LOG_SD, Rate, Start, TaughtNothing};
use engine::{Meter, learning};

/// The largest relative doubt of an exposure that the engine accepts.
const MOST_CV: f64 = 2.0;

/// A limit, with everything that was learned from findings.
pub struct LearnedLimit {
    /// The rate on the day of the forecast.
    pub rate: Rate,
    /// Number of findings that taught something.
    pub findings: usize,
    /// What each finding taught.
    pub lessons: Vec<Lesson>,
    /// The day from which the accumulated figure counts.
    pub since: NaiveDate,
    /// Share of the limit that was left on that day.
    pub left_share: f64,
    /// The day on which it was found past its limit; absent if it was cleaned or found below its limit since.
    pub past_limit_on: Option<NaiveDate>,
    /// Whether it was cleaned since, on a day that was not recorded.
    pub cleaned_on_unknown_day: bool,
}

/// Learns the limit of a duty from the visits up to the day of the forecast.
pub fn learn(
    rule: &Rule<'_>,
    meter: &Meter<'_>,
    component: &InService<'_>,
    duty: Duty,
    counts: CountsFrom,
    as_of: NaiveDate,
) -> Result<LearnedLimit> {
    let mut history = ServiceHistory::new(component, duty, counts);
    let mut inspections = Vec::new();
    let mut sources = Vec::new();
    for look in looks(&component.seen, duty).into_iter().filter(|look| look.on >= counts.start) {
        history.served_before(look.on);
        if look.cleaned_meanwhile {
            (history.clean, history.past_limit_on) = (Start::Unknown, None);
        }
        if let Some(finding) = look.finding {
            let accumulated = meter.accumulated(to_day(history.since), to_day(look.on))?;
            let exposure_cv =
                if accumulated.value > 0.0 { (accumulated.sd / accumulated.value).min(MOST_CV) } else { 0.0 };
            let found = found(finding, rule.prior.limit.median);
            inspections.push(Inspection {
                day: to_day(look.on),
                exposure: accumulated.value,
                exposure_cv,
                start: history.clean,
                finding: found,
            });
            sources.push((look, finding));
            history.past_limit_on = found.is_past_limit().then_some(history.past_limit_on.unwrap_or(look.on));
        }
        if let Some(left) = look.cleaned {
            history.since = look.on;
            history.clean = if left > 0.0 { Start::Left(left) } else { Start::Clean };
            history.past_limit_on = None;
        }
    }
    history.served_before(as_of);
    let prior = Rate::of(rule.prior.limit);
    // The prior is for a part that was never inspected, of any age. So it does not drift.
    let first = inspections.first().map_or(to_day(counts.start), |inspection| inspection.day);
    let learned = learning::learn(prior, first, rule.drift_per_year, &inspections)?;
    let left_share = match history.clean {
        Start::Left(share) => share.min(MOST_LEFT),
        Start::Clean | Start::Unknown => 0.0,
    };
    Ok(LearnedLimit {
        rate: if inspections.is_empty() { prior } else { learned.drifted_to(to_day(as_of)) },
        findings: learned.findings(),
        lessons: lessons(&learned, &inspections, &sources),
        since: history.since.max(counts.today.min(as_of)),
        left_share,
        past_limit_on: history.past_limit_on,
        cleaned_on_unknown_day: history.clean == Start::Unknown,
    })
}

/// The largest share of a limit that can be left by a cleaning. The engine needs less than 1.
const MOST_LEFT: f64 = 0.99;

/// The last service, as the visits are read in order.
struct ServiceHistory {
    since: NaiveDate,
    clean: Start,
    /// When it was first found past its limit after that service.
    past_limit_on: Option<NaiveDate>,
    served: Option<NaiveDate>,
}

impl ServiceHistory {
    fn new(component: &InService<'_>, duty: Duty, counts: CountsFrom) -> Self {
        let CountsFrom { start, today } = counts;
        let served = component
            .facts
            .last_served_on
            .filter(|day| duty.facts().is_routine && *day > start && *day <= today);
        Self { since: start, clean: Start::Clean, past_limit_on: None, served }
    }

    /// Applies the service before registration, if it was on this day or earlier.
    fn served_before(&mut self, day: NaiveDate) {
        if let Some(served) = self.served.filter(|served| *served <= day) {
            if served >= self.since {
                (self.since, self.clean, self.past_limit_on) = (served, Start::Clean, None);
            }
            self.served = None;
        }
    }
}

fn lessons(learned: &Learned, inspections: &[Inspection], sources: &[(Look, Finding)]) -> Vec<Lesson> {
    let lesson = |step: &learning::Step| {
        let (look, finding) = *sources.get(step.inspection)?;
        let remark = match step.taught_nothing {
            Some(why) => Some(why_nothing(why)),
            None if step.held_back => {
                Some(Sentence::of("held_back").say(
                    "One finding can at most double the limit. Another such finding can raise it further.",
                ))
            }
            None if step.wild > 0.5 => Some(Sentence::of("unlikely").say(
                "It is far from what was expected, so it is more likely a mistake. It counts more if it is \
                 found again.",
            )),
            None => None,
        };
        Some(Lesson {
            visit_id: look.visit,
            visited_on: look.on,
            finding,
            taken: inspections.get(step.inspection)?.exposure,
            limit_before: step.before.limit().median,
            limit_after: step.after.limit().median,
            log_sd_after: step.after.sd,
            weight: step.weight,
            remark,
        })
    };
    learned.steps.iter().filter_map(lesson).collect()
}

fn why_nothing(why: TaughtNothing) -> Sentence {
    match why {
        TaughtNothing::NoExposure => Sentence::of("nothing_accumulated")
            .say("The part had accumulated nothing since it was clean, so the finding taught nothing."),
        TaughtNothing::CleanedOnUnknownDay => Sentence::of("cleaned_on_unknown_day")
            .say("The part had been cleaned on an unknown day, so finding little taught nothing."),
        TaughtNothing::LessThanWasLeft => Sentence::of("less_than_was_left").say(
            "Less was found than the last cleaning had left. One of the two is wrong, so the finding taught nothing.",
        ),
        TaughtNothing::AnyRateFits => {
            Sentence::of("any_limit_fits").say("This finding fits any limit, so it taught nothing.")
        }
        TaughtNothing::RateIsKnown => Sentence::of("limit_is_known")
            .say("The limit is known exactly, so there is nothing to learn."),
    }
}

/// What the next finding would teach at an accumulated figure; absent when there is nothing to learn.
pub fn next_finding(rate: Rate, taken: f64, duty: Duty) -> Result<Option<NextFinding>> {
    if rate.sd == 0.0 {
        return Ok(None);
    }
    let log_sd = if duty == Duty::RemoveSediment { MEASURED_LOG_SD } else { BY_EYE_LOG_SD };
    let worth = learning::next_finding(rate, taken, log_sd)?;
    Ok(Some(NextFinding {
        log_sd_after: worth.expected_sd,
        range_ratio: worth.window_ratio,
        nothing_to_find: worth.nothing_to_find,
    }))
}
