//! Properties: the places that systems stand at.

use crate::domain::Context;
use crate::domain::check::Check;
use crate::domain::error::{Error, Result};
use crate::domain::ids::{AccountId, PropertyId};
use crate::domain::paging::{PageAsked, PageFound};
use crate::domain::store::{Deleted, Updated};
use crate::domain::subscription;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

/// Twelve figures, January first whatever the hemisphere.
pub type Monthly = [f64; 12];

/// Air temperatures of the months, degrees Celsius.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Temperatures {
    /// Means.
    pub mean_c: Option<Monthly>,
    /// Means of the daily minima, none above the month's mean.
    pub mean_minimum_c: Option<Monthly>,
}

/// What a place's months are like but for its rain, checked.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Months {
    /// Air temperatures.
    pub temperatures: Temperatures,
    /// Evaporation from a trap's seal, mm a day.
    pub evaporation_mm_per_day: Option<Monthly>,
}

/// What a place's months are like, as it came in.
#[derive(Clone, Debug, Default)]
pub struct MonthsDraft {
    /// Mean air temperatures, degrees Celsius.
    pub mean_c: Option<Vec<f64>>,
    /// Means of the daily minima.
    pub mean_minimum_c: Option<Vec<f64>>,
    /// Evaporation from a trap's seal, mm a day.
    pub evaporation_mm_per_day: Option<Vec<f64>>,
}

/// The coldest and the warmest month that is believed, degrees Celsius. Judgement: the coldest months of inhabited places
/// have means near -50, the warmest near 40 (from memory).
const TEMPERATURES_C: (f64, f64) = (-60.0, 50.0);
/// The most evaporation that is believed, mm a day. Judgement: open pans in hot deserts lose about half of it (from memory).
const MOST_EVAPORATION_MM: f64 = 30.0;

impl MonthsDraft {
    /// Checks everything; of a list that is refused nothing is kept.
    pub(crate) fn check(self, check: &mut Check) -> Months {
        let mut temperatures = Temperatures::default();
        check.within("temperatures", |check| {
            temperatures.mean_c = monthly(check, "mean_c", self.mean_c.as_deref(), TEMPERATURES_C);
            temperatures.mean_minimum_c =
                monthly(check, "mean_minimum_c", self.mean_minimum_c.as_deref(), TEMPERATURES_C);
            let (Some(means), Some(minima)) = (temperatures.mean_c, temperatures.mean_minimum_c) else {
                return;
            };
            for (month, (mean, minimum)) in means.into_iter().zip(minima).enumerate() {
                if minimum > mean {
                    let message = format!("a mean minimum of {minimum} is above the month's mean of {mean}");
                    check.refuse(&format!("mean_minimum_c[{month}]"), message);
                }
            }
        });
        let given = self.evaporation_mm_per_day.as_deref();
        let evaporation_mm_per_day =
            monthly(check, "evaporation_mm_per_day", given, (0.0, MOST_EVAPORATION_MM));
        Months { temperatures, evaporation_mm_per_day }
    }
}

fn monthly(
    check: &mut Check,
    field: &str,
    values: Option<&[f64]>,
    (low, high): (f64, f64),
) -> Option<Monthly> {
    let values = values?;
    let Ok(twelve) = Monthly::try_from(values) else {
        check.refuse(field, format!("it has {} values; give twelve, January first", values.len()));
        return None;
    };
    for (month, value) in twelve.into_iter().enumerate() {
        check.between(&format!("{field}[{month}]"), value, low, high);
    }
    Some(twelve)
}

/// A property.
#[derive(Clone, Debug, PartialEq)]
pub struct Property {
    /// Id.
    pub id: PropertyId,
    /// Whose it is.
    pub account_id: AccountId,
    /// What is known of it.
    pub facts: PropertyFacts,
    /// Counts up with every change.
    pub version: i64,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it was last changed.
    pub updated_at: DateTime<Utc>,
}

/// What is known of a property, checked.
#[derive(Clone, Debug, PartialEq)]
pub struct PropertyFacts {
    /// What it is called.
    pub name: String,
    /// Degrees north.
    pub latitude_deg: f64,
    /// Degrees east.
    pub longitude_deg: f64,
    /// Metres above sea level.
    pub elevation_m: f64,
    /// Its days are counted in this zone.
    pub time_zone: Tz,
    /// What its months are like but for the rain.
    pub months: Months,
    /// Anything the next visitor should know.
    pub notes: Option<String>,
}

/// What is known of a property, as it came in.
#[derive(Clone, Debug)]
pub struct PropertyDraft {
    /// What it is called.
    pub name: String,
    /// Degrees north.
    pub latitude_deg: f64,
    /// Degrees east.
    pub longitude_deg: f64,
    /// Metres above sea level.
    pub elevation_m: f64,
    /// IANA name of its zone.
    pub time_zone: String,
    /// What its months are like but for the rain.
    pub months: MonthsDraft,
    /// Anything the next visitor should know.
    pub notes: Option<String>,
}

impl PropertyDraft {
    /// Checks everything.
    pub fn check(self) -> Result<PropertyFacts> {
        let mut check = Check::new();
        check.text("name", &self.name, 200);
        place(&mut check, self.latitude_deg, self.longitude_deg);
        check.between("elevation_m", self.elevation_m, -450.0, 6000.0);
        let zone = zone(&mut check, "time_zone", &self.time_zone);
        let months = self.months.check(&mut check);
        if let Some(notes) = &self.notes {
            check.note("notes", notes, 4000);
        }
        check.done()?;
        Ok(PropertyFacts {
            name: self.name,
            latitude_deg: self.latitude_deg,
            longitude_deg: self.longitude_deg,
            elevation_m: self.elevation_m,
            time_zone: zone.unwrap_or(Tz::UTC),
            months,
            notes: self.notes,
        })
    }
}

/// Reads the name of a time zone.
pub(crate) fn zone(check: &mut Check, field: &str, name: &str) -> Option<Tz> {
    let zone = name.parse::<Tz>().ok();
    if zone.is_none() {
        check.refuse(field, format!("{name:?} is not an IANA time zone; write it like Europe/Berlin or UTC"));
    }
    zone
}

/// Checks a position.
pub(crate) fn place(check: &mut Check, latitude_deg: f64, longitude_deg: f64) {
    check.between("latitude_deg", latitude_deg, -90.0, 90.0);
    check.between("longitude_deg", longitude_deg, -180.0, 180.0);
}

fn missing(id: PropertyId) -> Error {
    Error::NotFound { what: "property", id: id.to_string() }
}

/// Makes a property. `id` is given from outside so that a repeated request makes it once.
pub async fn create(
    cx: &Context,
    account: AccountId,
    id: PropertyId,
    draft: PropertyDraft,
) -> Result<Property> {
    let facts = draft.check()?;
    let now = cx.clock.now();
    let property = Property { id, account_id: account, facts, version: 1, created_at: now, updated_at: now };
    cx.store.insert_property(&property).await?;
    get(cx, account, id).await
}

/// One property.
pub async fn get(cx: &Context, account: AccountId, id: PropertyId) -> Result<Property> {
    cx.store.property(account, id).await?.ok_or_else(|| missing(id))
}

/// The account's properties by name.
pub async fn list(
    cx: &Context,
    account: AccountId,
    cursor: Option<&str>,
    limit: Option<u32>,
) -> Result<PageFound<Property>> {
    let asked = PageAsked::read("properties", cursor, limit)?;
    let rows = cx.store.properties(account, &asked).await?;
    Ok(asked.page("properties", rows, |row| (row.facts.name.clone(), row.id.0)))
}

/// Replaces what is known of a property; its systems are forecast anew.
pub async fn update(
    cx: &Context,
    account: AccountId,
    id: PropertyId,
    version: i64,
    draft: PropertyDraft,
) -> Result<Property> {
    let facts = draft.check()?;
    match cx.store.update_property(account, id, version, &facts, cx.clock.now()).await? {
        Updated::Missing => Err(missing(id)),
        Updated::Stale { current } => Err(Error::VersionMismatch { current }),
        Updated::Done => {
            cx.ring();
            subscription::follow_zones(cx, account).await?;
            get(cx, account, id).await
        }
    }
}

/// Removes a property that no system stands at.
pub async fn delete(cx: &Context, account: AccountId, id: PropertyId, version: i64) -> Result<()> {
    match cx.store.delete_property(account, id, version).await? {
        Deleted::Done => Ok(()),
        Deleted::Missing => Err(missing(id)),
        Deleted::Stale { current } => Err(Error::VersionMismatch { current }),
        Deleted::InUse { systems } => Err(Error::InUse {
            what: "the property",
            by: format!("{systems} system(s), retired ones included; move them to another property first"),
        }),
    }
}
