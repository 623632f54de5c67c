//! What visits taught about one mark.
//!
//! Every finding on a component's own duty (and measured depths of sediment) is held against what the part had taken since
//! it was last clean, as the record now tells it; nothing is kept between forecasts, so that a corrected visit gives the
//! forecast of a history that never had the error.

use super::predict::to_day;
use super::rules::Rule;
use super::system::{InService, Seen};
use crate::domain::duty::Duty;
use crate::domain::error::Result;
use crate::domain::ids::VisitId;
use crate::domain::visit::Finding;
use chrono::NaiveDate;
use eavesward_engine as engine;
use engine::Meter;
use engine::learning::{
    self, BY_EYE_LOG_SD, Inspection, Learned, MEASURED_LOG_SD, Rate, Start, TaughtNothing,
};
use serde::{Deserialize, Serialize};

/// The largest relative doubt of an exposure that the engine takes.
const MOST_CV: f64 = 2.0;

/// What one finding taught.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Lesson {
    /// The visit.
    pub visit_id: VisitId,
    /// Its day.
    pub visited_on: NaiveDate,
    /// What was found.
    pub finding: Finding,
    /// What the part had taken since it was clean, in the unit of the tally.
    pub taken: f64,
    /// The mark as it was believed before.
    pub mark_before: f64,
    /// The mark after.
    pub mark_after: f64,
    /// Its log-sd after.
    pub log_sd_after: f64,
    /// How much the finding counted, 0 to 1.
    pub weight: f64,
    /// Why it counted as it did, where that needs saying.
    pub remark: Option<String>,
}

/// What the next finding would be worth.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct NextFinding {
    /// Log-sd of the mark to be expected after it.
    pub log_sd_after: f64,
    /// Width of the mark's 10-90 % range after it over the width now.
    pub range_ratio: f64,
    /// Chance that there is too little to find yet.
    pub nothing_to_find: f64,
}

/// A mark after everything that was found.
pub struct Taught {
    /// The belief on the day asked for.
    pub rate: Rate,
    /// How many findings taught something.
    pub findings: usize,
    /// Each of them.
    pub lessons: Vec<Lesson>,
    /// The day from which the tally counts.
    pub since: NaiveDate,
    /// Share of the mark that was left on that day.
    pub left_share: f64,
    /// The day on which it was found past its mark, if nobody has seen to it since.
    pub past_mark_on: Option<NaiveDate>,
    /// Whether somebody cleaned it since, on a day that nobody noted.
    pub cleaned_on_unknown_day: bool,
}

/// Whether a finding on one duty speaks of the mark of another one.
pub fn speaks_of(found_on: Duty, mark_of: Duty) -> bool {
    found_on == mark_of || (found_on == Duty::MeasureSediment && mark_of == Duty::RemoveSediment)
}

/// What one visit says of a mark: what was found before anything was done, and what was done.
#[derive(Clone, Copy, Debug)]
pub struct Look {
    /// The visit.
    pub visit: VisitId,
    /// Its day.
    pub on: NaiveDate,
    /// What was found; of several findings the depth, which was measured, or the first.
    pub finding: Option<Finding>,
    /// If it was cleaned, what share of the mark was left.
    pub cleaned: Option<f64>,
    /// Whether somebody had cleaned it before, on a day that nobody noted.
    pub cleaned_meanwhile: bool,
}

/// What visits say of the mark of a duty, a visit a look, oldest first.
pub fn looks(seen: &[Seen<'_>], duty: Duty) -> Vec<Look> {
    let mut looks: Vec<Look> = Vec::new();
    for seen in seen.iter().filter(|seen| speaks_of(seen.item.duty, duty)) {
        if looks.last().is_none_or(|last| last.visit != seen.visit) {
            looks.push(Look {
                visit: seen.visit,
                on: seen.on,
                finding: None,
                cleaned: None,
                cleaned_meanwhile: false,
            });
        }
        let Some(look) = looks.last_mut() else { continue };
        look.cleaned_meanwhile |= seen.item.cleaned_meanwhile;
        let measured = matches!(seen.item.finding, Some(Finding::DepthMm(_)))
            && !matches!(look.finding, Some(Finding::DepthMm(_)));
        if measured || look.finding.is_none() {
            look.finding = seen.item.finding.or(look.finding);
        }
        if seen.item.done && seen.item.duty == duty {
            look.cleaned = Some(seen.item.left_fraction.unwrap_or(0.0));
        }
    }
    looks
}

/// Learns the mark of a duty from the visits up to the day asked for.
///
/// `since` is the day from which the tally counts today, `start` the one from which it counted at first.
pub fn learn(
    rule: &Rule<'_>,
    meter: &Meter<'_>,
    component: &InService<'_>,
    duty: Duty,
    (start, since): (NaiveDate, NaiveDate),
    as_of: NaiveDate,
) -> Result<Taught> {
    let mut history = History::new(component, duty, start, since);
    let mut inspections = Vec::new();
    let mut sources = Vec::new();
    for look in looks(&component.seen, duty).into_iter().filter(|look| look.on >= start) {
        history.served_before(look.on);
        if look.cleaned_meanwhile {
            (history.clean, history.past_mark_on) = (Start::Unknown, None);
        }
        if let Some(finding) = look.finding {
            let tally = meter.tally(to_day(history.since), to_day(look.on))?;
            let exposure_cv = if tally.value > 0.0 { (tally.sd / tally.value).min(MOST_CV) } else { 0.0 };
            let found = found(finding, rule.prior.mark.median);
            inspections.push(Inspection {
                day: to_day(look.on),
                exposure: tally.value,
                exposure_cv,
                start: history.clean,
                finding: found,
            });
            sources.push((look, finding));
            history.past_mark_on = found.is_past_mark().then_some(history.past_mark_on.unwrap_or(look.on));
        }
        if let Some(left) = look.cleaned {
            history.since = look.on;
            history.clean = if left > 0.0 { Start::Left(left) } else { Start::Clean };
            history.past_mark_on = None;
        }
    }
    history.served_before(as_of);
    let prior = Rate::of(rule.prior.mark);
    // A prior is about a part that nobody has looked at, however long it has been there: it does not drift.
    let first = inspections.first().map_or(to_day(start), |inspection| inspection.day);
    let learned = learning::learn(prior, first, rule.drift_per_year, &inspections)?;
    let left_share = match history.clean {
        Start::Left(share) => share.min(MOST_LEFT),
        Start::Clean | Start::Unknown => 0.0,
    };
    Ok(Taught {
        rate: if inspections.is_empty() { prior } else { learned.drifted_to(to_day(as_of)) },
        findings: learned.findings(),
        lessons: lessons(&learned, &inspections, &sources),
        since: history.since.max(since.min(as_of)),
        left_share,
        past_mark_on: history.past_mark_on,
        cleaned_on_unknown_day: history.clean == Start::Unknown,
    })
}

/// The largest share of a mark that a cleaning leaves, as the engine wants it: under 1.
const MOST_LEFT: f64 = 0.99;

/// The last service, as the visits go by.
struct History {
    since: NaiveDate,
    clean: Start,
    /// When it was first found past its mark since.
    past_mark_on: Option<NaiveDate>,
    served: Option<NaiveDate>,
}

impl History {
    fn new(component: &InService<'_>, duty: Duty, start: NaiveDate, since: NaiveDate) -> Self {
        let served =
            component.facts.last_served_on.filter(|day| duty.is_routine() && *day > start && *day <= since);
        Self { since: start, clean: Start::Clean, past_mark_on: None, served }
    }

    /// Takes in the service that was done before the service knew of the part.
    fn served_before(&mut self, day: NaiveDate) {
        if let Some(served) = self.served.filter(|served| *served <= day) {
            if served >= self.since {
                (self.since, self.clean, self.past_mark_on) = (served, Start::Clean, None);
            }
            self.served = None;
        }
    }
}

/// A finding as the engine takes it; depths are held against the mark of the prior.
pub fn found(finding: Finding, mark: f64) -> learning::Finding {
    match finding {
        Finding::Nothing => learning::Finding::NOTHING,
        Finding::Fraction(share) => learning::Finding::by_eye(share),
        Finding::Class(class) => {
            let (from, to) = class.range();
            learning::Finding::Between { from, to }
        }
        Finding::DepthMm(depth) => learning::Finding::measured(depth / mark),
        Finding::Blocked => learning::Finding::BLOCKED,
    }
}

fn lessons(learned: &Learned, inspections: &[Inspection], sources: &[(Look, Finding)]) -> Vec<Lesson> {
    let lesson = |step: &learning::Step| {
        let (look, finding) = *sources.get(step.inspection)?;
        let remark = match step.taught_nothing {
            Some(why) => Some(why_nothing(why).to_owned()),
            None if step.held_back => {
                Some("One finding may at most double the mark; the rest has to be found again.".to_owned())
            }
            None if step.wild > 0.5 => Some(
                "It lies far from what was believed, so it counts as a slip as likely as not until it is found again."
                    .to_owned(),
            ),
            None => None,
        };
        Some(Lesson {
            visit_id: look.visit,
            visited_on: look.on,
            finding,
            taken: inspections.get(step.inspection)?.exposure,
            mark_before: step.before.mark().median,
            mark_after: step.after.mark().median,
            log_sd_after: step.after.sd,
            weight: step.weight,
            remark,
        })
    };
    learned.steps.iter().filter_map(lesson).collect()
}

const fn why_nothing(why: TaughtNothing) -> &'static str {
    match why {
        TaughtNothing::NoExposure => "The part had taken nothing since it was clean, so it taught nothing.",
        TaughtNothing::CleanedOnUnknownDay => {
            "Somebody had cleaned it on a day that nobody noted, so finding little taught nothing."
        }
        TaughtNothing::LessThanWasLeft => {
            "Less was found than the last cleaning had left, so one of the two is wrong and it taught nothing."
        }
        TaughtNothing::AnyRateFits => "Any mark would have led to this finding, so it taught nothing.",
        TaughtNothing::RateIsKnown => "The mark is known exactly, so there is nothing to learn.",
    }
}

/// What the next finding would be worth after a tally; absent where nothing is to be learned.
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
