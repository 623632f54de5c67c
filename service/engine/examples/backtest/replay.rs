//! Asks the engine for the dates of a duty at each origin of a record, from the years before it alone.

use eavesward_engine::{Answer, Catchment, Day, Gauge, Limit, Meter, Outcome, Question, RainRecord, Setting};

use super::duty::Part;
use super::truth::{LeftOut, Truth};
use super::verdict::Seen;
use super::walk::{LEAST_READ, LONGEST, days_of};

/// Fewest days without runoff before an origin of `--dry-spells`.
pub const DRY_DAYS: i32 = 10;
/// The pile on the roof must be over this share of the limit.
pub const LEAST_PILE: f64 = 0.25;

/// The questions that are asked at every origin.
#[derive(Debug, Clone, Copy)]
pub struct Asked {
    /// Years of readings before each origin.
    pub years: u32,
    /// Days from the last service to the origin.
    pub since_days: i32,
    /// Whether only origins in dry spells count.
    pub dry_spells: bool,
}

/// What became of an origin.
#[derive(Debug, Clone, PartialEq)]
pub enum Origin {
    Seen(Seen),
    Left(LeftOut),
    /// It is not in a dry spell, and none but those are wanted.
    Unwanted,
}

/// One origin.
pub fn origin(
    part: &Part,
    truth: &Truth<'_>,
    whole: &Gauge,
    today: Day,
    asked: Asked,
) -> Result<Origin, String> {
    let cluster = if asked.dry_spells {
        let spell = truth
            .dry_spell(today)
            .filter(|spell| today.since(spell.since) >= DRY_DAYS && spell.pile > LEAST_PILE * part.limit);
        let Some(spell) = spell else { return Ok(Origin::Unwanted) };
        spell.since.0
    } else {
        today.ymd().0
    };
    let since = today.plus(-asked.since_days);
    let days = match truth.days(since, today) {
        Ok(days) => days,
        Err(left_out) => return Ok(Origin::Left(left_out)),
    };
    let behind = behind(whole.record(), today, asked.years);
    if (behind.known_days() as f64) < LEAST_READ * f64::from(days_of(asked.years)) {
        return Ok(Origin::Left(LeftOut::Thin));
    }
    let failed = |e| format!("{}: {e}", super::walk::shown(today));
    let Some(answer) = forecast(part, behind, since, today).map_err(failed)? else {
        return Ok(Origin::Left(LeftOut::Thin));
    };
    let likely = answer.day_of_chance(0.5).map(|day| day.since(today));
    let by = |t| answer.chance_by(today.plus(t)).map_err(|e| failed(e.to_string()));
    Seen::new(cluster, likely, LONGEST, &days, by).map(Origin::Seen)
}

/// The readings of the years up to a day.
fn behind(record: &RainRecord, today: Day, years: u32) -> RainRecord {
    let days = (1 - days_of(years)..=0).map(|n| today.plus(n));
    RainRecord::from_readings(days.filter_map(|day| Some((day, record.get(day)?))))
}

/// The engine's forecast. `None` when these readings give no climate.
fn forecast(part: &Part, behind: RainRecord, since: Day, today: Day) -> Result<Option<Answer>, String> {
    let gauge = Gauge::new(behind, None);
    let catchment = Catchment::new(&gauge, &part.roof).map_err(|e| e.to_string())?;
    let setting = Setting {
        site: &part.site,
        roof: &part.roof,
        gauge: &gauge,
        catchment: &catchment,
        exposure: part.exposure,
    };
    let question = Question {
        limit: Limit { median: part.limit, log_sd: 0.0 },
        left_share: 0.0,
        since,
        as_of: today,
        horizon_days: LONGEST,
    };
    let answer =
        Meter::new(&setting).and_then(|meter| meter.forecast(&question)).map_err(|e| e.to_string())?;
    Ok(Some(answer).filter(|answer| answer.outcome != Outcome::NeedsRain))
}
