//! Duties and tasks.

use super::mirror_open;
use crate::domain::base::rounding::rounded;
use crate::domain::model::hazard::Hazard;
use crate::domain::model::reason::Reason;
use crate::domain::model::sentence::{Figure, FigureValue, Sentence};
use crate::domain::model::{duty, duty_settings, forecast, part, task};
use eavesward_contract as wire;

mirror_open!(Duty: duty::Duty {
    ClearRoof, ClearGutter, CleanScreen, DrainDiverter, ClearWeepHole, ReplaceCoupling, CheckBands, RemoveSediment,
    MeasureSediment, LookOverTank, CheckIntake, CheckTrap, CheckMesh, WorkValve, CompareLevelGauge, CheckPump, CheckVessel,
    ChangeCartridge, ChangeLamp, DrainForFrost, RestartAfterFrost,
} or wire::Duty::Other(_));
mirror_open!(DecidedBy: duty::DecidedBy { Prediction, LongestInterval, FirstLook, Season, Rating, Nothing });
mirror_open!(AgeingClock: part::Clock { Light, Heat });
mirror_open!(TaskState: task::State { Resting, Near, Due, Late });
mirror_open!(Hazard: Hazard {
    Fall, ConfinedSpace, Drowning, Electricity, Chemicals, ContaminatedSludge, Mosquitoes, CrossConnection, Freezing,
    Pressure, LocalCodes,
});

/// What is said of a duty that this version does not know.
pub const UNKNOWN_DUTY: &str = "this service knows no such duty; GET /v1/duties lists them";

impl From<wire::DutySettingsRequest> for duty_settings::Overrides {
    fn from(request: wire::DutySettingsRequest) -> Self {
        Self {
            ceiling_months: request.longest_interval_months,
            tolerance: request.tolerance,
            lead_days: request.lead_days,
            move_days: request.move_days,
        }
    }
}

impl From<duty_settings::DutySetting> for wire::DutySettings {
    fn from(setting: duty_settings::DutySetting) -> Self {
        let duty_settings::DutySetting { duty, own, version, updated_at } = setting;
        Self {
            duty: duty.into(),
            title: duty.title().to_owned(),
            default_longest_interval: duty.ceiling().map(|ceiling| wire::DefaultLongestInterval {
                months: ceiling.months,
                source: ceiling.source.to_owned(),
            }),
            default_tolerance: duty.tolerance().map(|tolerance| wire::DefaultTolerance {
                chance: tolerance.chance,
                source: tolerance.why.to_owned(),
            }),
            longest_interval_months: own.ceiling_months,
            tolerance: own.tolerance,
            lead_days: own.lead_days,
            move_days: own.move_days,
            default_lead_days: duty_settings::DEFAULT_LEAD_DAYS,
            default_move_days: duty_settings::LeadTimes::of(duty_settings::Overrides {
                move_days: None,
                ..own
            })
            .move_days,
            version,
            updated_at,
        }
    }
}

impl From<Hazard> for wire::Caution {
    fn from(hazard: Hazard) -> Self {
        Self { hazard: hazard.into(), text: hazard.text().to_owned() }
    }
}

impl From<forecast::Accumulated> for wire::Accumulated {
    fn from(accumulated: forecast::Accumulated) -> Self {
        Self {
            value: rounded(accumulated.value),
            unit: accumulated.unit.unit().to_owned(),
            of: accumulated.unit.of().to_owned(),
            from_readings: rounded(accumulated.from_readings),
            from_climate: rounded(accumulated.from_climate),
            days_read: accumulated.days_read,
            days_unread: accumulated.days_unread,
        }
    }
}

impl From<forecast::Limit> for wire::Limit {
    fn from(limit: forecast::Limit) -> Self {
        Self {
            value: rounded(limit.value),
            unit: limit.unit.unit().to_owned(),
            of: limit.unit.of().to_owned(),
            log_sd: rounded(limit.log_sd),
            prior_value: rounded(limit.prior_value),
            prior_log_sd: limit.prior_log_sd,
            findings: limit.findings,
            source: limit.source,
            judgement: limit.judgement,
        }
    }
}

impl From<forecast::Window> for wire::Window {
    fn from(window: forecast::Window) -> Self {
        Self { early_on: window.early_on, likely_on: window.likely_on, late_on: window.late_on }
    }
}

impl From<forecast::BestDay> for wire::BestDay {
    fn from(best: forecast::BestDay) -> Self {
        Self {
            on: best.on,
            water_lost_l: rounded(best.water_lost_l),
            water_lost_low_l: rounded(best.water_lost_low_l),
            water_lost_high_l: rounded(best.water_lost_high_l),
            in_wet_season: best.in_wet_season,
        }
    }
}

impl From<forecast::Lesson> for wire::Lesson {
    fn from(lesson: forecast::Lesson) -> Self {
        Self {
            visit_id: lesson.visit_id.0,
            visited_on: lesson.visited_on,
            finding: lesson.finding.into(),
            accumulated_value: rounded(lesson.taken),
            limit_before: rounded(lesson.limit_before),
            limit_after: rounded(lesson.limit_after),
            log_sd_after: rounded(lesson.log_sd_after),
            weight: rounded(lesson.weight),
            remark: lesson.remark.map(Into::into),
        }
    }
}

impl From<forecast::NextFinding> for wire::NextFinding {
    fn from(next: forecast::NextFinding) -> Self {
        Self {
            log_sd_after: rounded(next.log_sd_after),
            range_ratio: rounded(next.range_ratio),
            nothing_to_find: rounded(next.nothing_to_find),
        }
    }
}

/// Reasons as they go over the wire.
pub(super) fn reasons(reasons: &[Reason]) -> Vec<wire::Reason> {
    reasons.iter().map(|reason| reason.sentence().into()).collect()
}

impl From<Sentence> for wire::Reason {
    fn from(sentence: Sentence) -> Self {
        Self {
            code: sentence.code.to_owned(),
            text: sentence.text,
            figures: sentence.figures.into_iter().map(Into::into).collect(),
        }
    }
}

impl From<Figure> for wire::Figure {
    fn from(figure: Figure) -> Self {
        let (name, text) = (figure.name.to_owned(), figure.text);
        let bare = Self { name, text, ..Self::default() };
        match figure.value {
            FigureValue::Quantity { value, unit, of } => {
                let (unit, of) = (Some(unit.to_owned()), of.map(str::to_owned));
                Self { value: Some(value), unit, of, ..bare }
            }
            FigureValue::Day(on) => Self { on: Some(on), ..bare },
            FigureValue::Word(_) => bare,
        }
    }
}

/// What to bring for a duty.
pub(super) fn bring(duty: duty::Duty) -> Vec<String> {
    bring_of(duty.facts().bring)
}

/// Things to bring, as they go over the wire.
pub(super) fn bring_of(things: &[&str]) -> Vec<String> {
    things.iter().map(|&thing| thing.to_owned()).collect()
}

impl From<task::Task> for wire::Task {
    fn from(task: task::Task) -> Self {
        let forecast = task.forecast;
        let prediction = forecast.prediction;
        Self {
            id: task.id.0,
            property_id: Some(task.property_id.0),
            property_name: Some(task.property_name),
            system_id: Some(task.system_id.0),
            system_name: Some(task.system_name),
            component_id: Some(task.component_id.0),
            component_name: Some(forecast.component_name),
            component_kind: Some(task.kind.into()),
            duty: task.duty.into(),
            title: task.duty.title().to_owned(),
            state: task.state.into(),
            due_on: task.due_on,
            decided_by: forecast.decided_by.into(),
            longest_interval_on: forecast.ceiling_on,
            window: prediction.as_ref().and_then(|prediction| prediction.window.map(Into::into)),
            best_day: prediction.as_ref().and_then(|prediction| prediction.best_day.map(Into::into)),
            since: forecast.since,
            accumulated: prediction
                .as_ref()
                .and_then(|prediction| prediction.accumulated.clone().map(Into::into)),
            limit: prediction.map(|prediction| prediction.limit.into()),
            reasons: reasons(&forecast.reasons),
            cautions: forecast.hazards.into_iter().map(Into::into).collect(),
            bring: bring(task.duty),
            as_of: task.as_of,
            refreshed_at: task.refreshed_at,
        }
    }
}
