//! Rain: store, list and remove readings of a rain gauge.

use crate::domain::base::blocking::blocking;
use crate::domain::base::check::Check;
use crate::domain::base::error::{Error, Faults, FieldError, Result};
use crate::domain::base::ids::{AccountId, GaugeId};
use crate::domain::base::paging::{ListPage, PageRequest};
use crate::domain::context::{Context, latest_today};
use crate::domain::model::rain::{RainDay, RainOffer, RainRange, RainReport, check_count};
use crate::domain::ports::store::gauges::StoredRain;
use crate::domain::rules::rain::judge::judge;
use crate::domain::use_cases::gauges;
use chrono::NaiveDate;

/// Checks readings and stores the good ones in one transaction. So an answer means that they are stored.
pub async fn put(
    cx: &Context,
    account: AccountId,
    id: GaugeId,
    offer: RainOffer,
    all_or_nothing: bool,
) -> Result<RainReport> {
    let gauge = gauges::get(cx, account, id).await?;
    check_count(offer.readings.len())?;
    let today = latest_today(cx);
    let (accepted, mut report) = blocking(move || Ok(judge(offer, today))).await?;
    if all_or_nothing && report.refused > 0 {
        let errors = report
            .refusals
            .iter()
            .map(|refusal| FieldError { field: refusal.place.to_string(), message: refusal.reason.clone() });
        return Err(Error::RainRefused(Faults { listed: errors.collect(), count: report.refused as usize }));
    }
    if accepted.is_empty() {
        report.span = gauge.span;
        return Ok(report);
    }
    let days: Vec<RainDay> = accepted.into_iter().map(|(date, rain_mm)| RainDay { date, rain_mm }).collect();
    let Some(StoredRain { upserted, span }) = cx.store.put_rain(account, id, &days).await? else {
        return Err(Error::NotFound { what: "gauge", id: id.to_string() });
    };
    if upserted.new + upserted.changed > 0 {
        cx.wake_jobs();
    }
    Ok(RainReport { new: upserted.new, changed: upserted.changed, same: upserted.same, span, ..report })
}

/// A rain gauge's readings by date.
pub async fn list(
    cx: &Context,
    account: AccountId,
    id: GaugeId,
    range: RainRange,
    cursor: Option<&str>,
    limit: Option<u32>,
) -> Result<ListPage<RainDay>> {
    let mut check = Check::new();
    check.range(range.from, range.to);
    check.done()?;
    gauges::get(cx, account, id).await?;
    let asked = PageRequest::<NaiveDate>::read("rain", cursor, limit)?;
    let rows = cx.store.rain(id, range, &asked).await?;
    Ok(asked.page("rain", rows, |row| (row.date, id.0)))
}

/// Removes readings, from one day to another, both included.
pub async fn delete(
    cx: &Context,
    account: AccountId,
    id: GaugeId,
    from: NaiveDate,
    to: NaiveDate,
) -> Result<()> {
    let mut check = Check::new();
    check.range(Some(from), Some(to));
    check.done()?;
    if cx.store.delete_rain(account, id, from, to).await? {
        cx.wake_jobs();
        Ok(())
    } else {
        Err(Error::NotFound { what: "gauge", id: id.to_string() })
    }
}
