//! Rain gauges: where rain is measured.

use crate::domain::base::bounds::{Bounds, MONTHS, NAME_LENGTH};
use crate::domain::base::check::{Check, place};
use crate::domain::base::error::Result;
use crate::domain::base::ids::{AccountId, GaugeId};
use crate::domain::base::plural::counted;
use crate::domain::model::property::Position;
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};

/// Days of each month in a leap year.
const MONTH_DAYS: [f64; 12] = [31.0, 29.0, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0];

/// Mean rain of a month, mm. Judgement: the wettest places have means near 3,000 (from memory).
pub const NORMAL_RAIN_MM: Bounds = Bounds::of(0.0, 5000.0);

/// Mean wet days of a month. Each is also limited to the days of its own month.
pub const NORMAL_WET_DAYS: Bounds = Bounds::of(0.0, MONTH_DAYS[0]);

/// The least rain that makes a day wet, mm. Judgement: weather services take 0.1 to 2.5 (from memory).
pub const WET_DAY_THRESHOLD_MM: Bounds = Bounds::of(0.05, 10.0);

/// Years over which normals are averaged. Judgement: the longest records have some three hundred (from memory).
pub const NORMAL_YEARS: Bounds = Bounds::of(1.0, 300.0);

/// A rain gauge.
#[derive(Clone, Debug, PartialEq)]
pub struct Gauge {
    /// Id.
    pub id: GaugeId,
    /// The account that owns it.
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

/// What is known of a rain gauge.
#[derive(Clone, Debug, PartialEq)]
pub struct GaugeFacts {
    /// Its name.
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
    /// Years over which they are averaged.
    pub years: f64,
}

impl Normals {
    /// Checks the normals. To be called under the path of the field.
    pub(crate) fn check(&self, check: &mut Check) {
        for (field, values) in [("rain_mm", &self.rain_mm), ("wet_days", &self.wet_days)] {
            if values.len() != MONTHS.most {
                check.refuse(
                    field,
                    format!(
                        "it has {}; give twelve, January first",
                        counted(values.len() as u64, "value", "values")
                    ),
                );
                continue;
            }
            for (month, &value) in values.iter().enumerate() {
                let bounds = if field == "rain_mm" {
                    NORMAL_RAIN_MM
                } else {
                    Bounds { most: MONTH_DAYS[month], ..NORMAL_WET_DAYS }
                };
                check.between(&format!("{field}[{month}]"), value, bounds);
            }
        }
        if [&self.rain_mm, &self.wet_days].iter().all(|values| values.len() == MONTHS.most) {
            for month in 0..MONTHS.most {
                let (rain, days) = (self.rain_mm[month], self.wet_days[month]);
                if rain > 0.0 && days == 0.0 && rain > NORMAL_WET_DAYS.most * self.wet_day_threshold_mm {
                    let message = format!(
                        "0 wet days cannot bring {rain} mm; a day counts as wet from {} mm",
                        self.wet_day_threshold_mm
                    );
                    check.refuse(&format!("wet_days[{month}]"), message);
                }
            }
        }
        check.between("wet_day_threshold_mm", self.wet_day_threshold_mm, WET_DAY_THRESHOLD_MM);
        check.between("years", self.years, NORMAL_YEARS);
    }

    /// The same in the engine's type.
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
    /// A rain gauge without normals.
    pub fn new(name: impl Into<String>, position: Position) -> Self {
        let Position { latitude_deg, longitude_deg } = position;
        Self { name: name.into(), latitude_deg, longitude_deg, normals: None }
    }

    /// Checks everything.
    pub fn check(self) -> Result<Self> {
        let mut check = Check::new();
        check.text("name", &self.name, NAME_LENGTH);
        place(&mut check, self.latitude_deg, self.longitude_deg);
        if let Some(normals) = &self.normals {
            check.within("normals", |check| normals.check(check));
        }
        check.done()?;
        Ok(self)
    }
}
