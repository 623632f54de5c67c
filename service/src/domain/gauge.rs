//! Gauges: where rain is measured.

use crate::domain::Context;
use crate::domain::check::Check;
use crate::domain::error::{Error, Result};
use crate::domain::ids::{AccountId, GaugeId};
use crate::domain::paging::{PageAsked, PageFound};
use crate::domain::property::place;
use crate::domain::store::{Deleted, Updated};
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};

/// Days of the months in the longest year.
const MONTH_DAYS: [f64; 12] = [31.0, 29.0, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0];

/// A gauge.
#[derive(Clone, Debug, PartialEq)]
pub struct Gauge {
    /// Id.
    pub id: GaugeId,
    /// Whose it is.
    pub account_id: AccountId,
    /// What is known of it.
    pub facts: GaugeFacts,
    /// What its record spans.
    pub span: RainSpan,
    /// Counts up with every change of the facts.
    pub version: i64,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When its facts were last changed.
    pub updated_at: DateTime<Utc>,
}

/// What a daily record spans.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct RainSpan {
    /// First day with a reading.
    pub from: Option<NaiveDate>,
    /// Last day with a reading.
    pub through: Option<NaiveDate>,
    /// Days with a reading.
    pub days: i64,
}

/// What is known of a gauge.
#[derive(Clone, Debug, PartialEq)]
pub struct GaugeFacts {
    /// What it is called.
    pub name: String,
    /// Degrees north.
    pub latitude_deg: f64,
    /// Degrees east.
    pub longitude_deg: f64,
    /// Monthly normals.
    pub normals: Option<Normals>,
}

/// Twelve monthly normals, January first.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Normals {
    /// Mean rain in mm.
    pub rain_mm: Vec<f64>,
    /// Mean number of wet days.
    pub wet_days: Vec<f64>,
    /// The least rain in mm that made a day wet.
    pub wet_day_threshold_mm: f64,
    /// Years behind them.
    pub years: f64,
}

impl Normals {
    /// Checks them; to be called under the path of the field.
    pub(crate) fn check(&self, check: &mut Check) {
        for (field, values) in [("rain_mm", &self.rain_mm), ("wet_days", &self.wet_days)] {
            if values.len() != 12 {
                check.refuse(field, format!("it has {} values; give twelve, January first", values.len()));
                continue;
            }
            for (month, &value) in values.iter().enumerate() {
                let most = if field == "rain_mm" { 5000.0 } else { MONTH_DAYS[month] };
                check.between(&format!("{field}[{month}]"), value, 0.0, most);
            }
        }
        if self.rain_mm.len() == 12 && self.wet_days.len() == 12 {
            for month in 0..12 {
                let (rain, days) = (self.rain_mm[month], self.wet_days[month]);
                if rain > 0.0 && days == 0.0 && rain > 31.0 * self.wet_day_threshold_mm {
                    let message =
                        format!("{rain} mm cannot fall on no wet day of {} mm", self.wet_day_threshold_mm);
                    check.refuse(&format!("wet_days[{month}]"), message);
                }
            }
        }
        check.between("wet_day_threshold_mm", self.wet_day_threshold_mm, 0.05, 10.0);
        check.between("years", self.years, 1.0, 300.0);
    }

    /// As the engine takes them.
    pub fn to_engine(&self) -> eavesward_engine::Normals {
        let twelve = |values: &[f64]| std::array::from_fn(|month| values.get(month).copied().unwrap_or(0.0));
        eavesward_engine::Normals {
            rain_mm: twelve(&self.rain_mm),
            wet_days: twelve(&self.wet_days),
            wet_day_threshold_mm: self.wet_day_threshold_mm,
            years: self.years,
        }
    }
}

impl GaugeFacts {
    fn check(self) -> Result<Self> {
        let mut check = Check::new();
        check.text("name", &self.name, 200);
        place(&mut check, self.latitude_deg, self.longitude_deg);
        if let Some(normals) = &self.normals {
            check.within("normals", |check| normals.check(check));
        }
        check.done()?;
        Ok(self)
    }
}

fn missing(id: GaugeId) -> Error {
    Error::NotFound { what: "gauge", id: id.to_string() }
}

/// Makes a gauge.
pub async fn create(cx: &Context, account: AccountId, id: GaugeId, facts: GaugeFacts) -> Result<Gauge> {
    let facts = facts.check()?;
    let now = cx.clock.now();
    let span = RainSpan::default();
    let gauge = Gauge { id, account_id: account, facts, span, version: 1, created_at: now, updated_at: now };
    cx.store.insert_gauge(&gauge).await?;
    get(cx, account, id).await
}

/// One gauge.
pub async fn get(cx: &Context, account: AccountId, id: GaugeId) -> Result<Gauge> {
    cx.store.gauge(account, id).await?.ok_or_else(|| missing(id))
}

/// The account's gauges by name.
pub async fn list(
    cx: &Context,
    account: AccountId,
    cursor: Option<&str>,
    limit: Option<u32>,
) -> Result<PageFound<Gauge>> {
    let asked = PageAsked::read("gauges", cursor, limit)?;
    let rows = cx.store.gauges(account, &asked).await?;
    Ok(asked.page("gauges", rows, |row| (row.facts.name.clone(), row.id.0)))
}

/// Replaces what is known of a gauge; the systems under it are forecast anew.
pub async fn update(
    cx: &Context,
    account: AccountId,
    id: GaugeId,
    version: i64,
    facts: GaugeFacts,
) -> Result<Gauge> {
    let facts = facts.check()?;
    match cx.store.update_gauge(account, id, version, &facts, cx.clock.now()).await? {
        Updated::Missing => Err(missing(id)),
        Updated::Stale { current } => Err(Error::VersionMismatch { current }),
        Updated::Done => {
            cx.ring();
            get(cx, account, id).await
        }
    }
}

/// Removes a gauge with its record, if no system uses it.
pub async fn delete(cx: &Context, account: AccountId, id: GaugeId, version: i64) -> Result<()> {
    match cx.store.delete_gauge(account, id, version).await? {
        Deleted::Done => Ok(()),
        Deleted::Missing => Err(missing(id)),
        Deleted::Stale { current } => Err(Error::VersionMismatch { current }),
        Deleted::InUse { systems } => Err(Error::InUse {
            what: "the gauge",
            by: format!("{systems} system(s), retired ones included; point them at another gauge first"),
        }),
    }
}
