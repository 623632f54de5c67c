//! Rain in: daily readings are judged one by one, and the good ones are an upsert by date.

use crate::domain::clock::local_date;
use crate::domain::error::{Error, FieldError, Result};
use crate::domain::gauge::{self, RainSpan};
use crate::domain::ids::{AccountId, GaugeId};
use crate::domain::paging::{PageAsked, PageFound};
use crate::domain::{Context, check::Check};
use chrono::{Datelike, NaiveDate};
use std::collections::BTreeMap;

/// The most rain of a day that is believed, in mm. The greatest ever measured is 1,825 mm (La Réunion, 7-8 January
/// 1966, World Meteorological Organization's archive of extremes; from memory).
pub const MOST_MM: f64 = 2000.0;
/// The first year a reading may be of; older records than this do not exist.
const FIRST_YEAR: i32 = 1700;
/// The most readings of one request.
pub const MOST_READINGS: usize = 50_000;
/// The most refusals that are listed; all are counted.
const MOST_LISTED: usize = 1000;

/// Rain of one day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RainDay {
    /// The day.
    pub date: NaiveDate,
    /// Rain in mm.
    pub rain_mm: f64,
}

/// A reading as it came, or why it could not be read.
#[derive(Clone, Debug)]
pub struct Offered {
    /// Line or position, from 1.
    pub line: u64,
    /// The date as it was sent.
    pub date: Option<String>,
    /// The reading, or the reason.
    pub reading: std::result::Result<RainDay, String>,
    /// Whether it was made by spreading an accumulated reading.
    pub spread: bool,
}

/// Everything one request offers.
#[derive(Clone, Debug, Default)]
pub struct Offer {
    /// The readings.
    pub readings: Vec<Offered>,
    /// Lines that say nothing about rain.
    pub other: u32,
}

/// One reading that was not stored.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// Line or position, from 1.
    pub line: u64,
    /// The date as it was sent.
    pub date: Option<String>,
    /// Why.
    pub reason: String,
}

/// What became of an offer.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Report {
    /// Days that had no reading before.
    pub new: u32,
    /// Days whose reading changed.
    pub changed: u32,
    /// Days that had this value.
    pub same: u32,
    /// Readings not stored.
    pub refused: u32,
    /// Days made by spreading.
    pub spread: u32,
    /// Lines that say nothing about rain.
    pub other: u32,
    /// The first refusals.
    pub refusals: Vec<Refusal>,
    /// What the record spans now.
    pub span: RainSpan,
}

/// How many days an upsert met which way.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Upserted {
    /// Days that had no reading before.
    pub new: u32,
    /// Days whose reading changed.
    pub changed: u32,
    /// Days that had this value.
    pub same: u32,
}

/// Judges every reading by itself: the accepted by date, and the refusals.
///
/// `today` is the latest civil date anywhere on earth: a gauge has no zone of its own, and a reading is refused as
/// future only where it is future everywhere.
pub fn judge(offer: Offer, today: NaiveDate) -> (BTreeMap<NaiveDate, f64>, Report) {
    let mut report = Report { other: offer.other, ..Report::default() };
    let mut accepted: BTreeMap<NaiveDate, (f64, u64)> = BTreeMap::new();
    for offered in offer.readings {
        let verdict = offered.reading.and_then(|reading| {
            plausible(reading, today)?;
            match accepted.get(&reading.date) {
                Some((value, line)) => Err(if *value == reading.rain_mm {
                    format!("the date already stands at {line}")
                } else {
                    format!("the date already stands at {line} with {value} mm; the first one counts")
                }),
                None => Ok(reading),
            }
        });
        match verdict {
            Ok(reading) => {
                accepted.insert(reading.date, (reading.rain_mm, offered.line));
                report.spread += u32::from(offered.spread);
            }
            Err(reason) => {
                report.refused += 1;
                if report.refusals.len() < MOST_LISTED {
                    report.refusals.push(Refusal { line: offered.line, date: offered.date, reason });
                }
            }
        }
    }
    (accepted.into_iter().map(|(date, (mm, _))| (date, mm)).collect(), report)
}

fn plausible(reading: RainDay, today: NaiveDate) -> std::result::Result<(), String> {
    let RainDay { date, rain_mm } = reading;
    if !rain_mm.is_finite() {
        Err(format!("{rain_mm} is not a number"))
    } else if rain_mm < 0.0 {
        Err(format!("{rain_mm} mm is negative; leave a missing day out"))
    } else if rain_mm > MOST_MM {
        Err(format!("{rain_mm} mm is more than a day can bring ({MOST_MM} mm); check the unit"))
    } else if date.year() < FIRST_YEAR {
        Err(format!("{date} is before the year {FIRST_YEAR}"))
    } else if date > today {
        Err(format!("{date} has not come yet"))
    } else {
        Ok(())
    }
}

/// Judges an offer and stores what is good: everything in one transaction, so an answer means that it is kept.
pub async fn put(
    cx: &Context,
    account: AccountId,
    id: GaugeId,
    offer: Offer,
    all_or_nothing: bool,
) -> Result<Report> {
    let gauge = gauge::get(cx, account, id).await?;
    if offer.readings.len() > MOST_READINGS {
        let message = format!("{} readings; send at most {MOST_READINGS} at a time", offer.readings.len());
        return Err(Error::field("days", message));
    }
    // The first zone to begin a day is 14 hours ahead of UTC.
    let today = local_date(cx.clock.now(), chrono_tz::Pacific::Kiritimati);
    let (accepted, mut report) = judge(offer, today);
    if all_or_nothing && report.refused > 0 {
        let errors = report.refusals.iter().map(|refusal| FieldError {
            field: format!("line {}", refusal.line),
            message: refusal.reason.clone(),
        });
        return Err(Error::RainRefused(errors.collect()));
    }
    if accepted.is_empty() {
        report.span = gauge.span;
        return Ok(report);
    }
    let days: Vec<RainDay> = accepted.into_iter().map(|(date, rain_mm)| RainDay { date, rain_mm }).collect();
    let Some((upserted, span)) = cx.store.put_rain(account, id, &days).await? else {
        return Err(Error::NotFound { what: "gauge", id: id.to_string() });
    };
    if upserted.new + upserted.changed > 0 {
        cx.ring();
    }
    Ok(Report { new: upserted.new, changed: upserted.changed, same: upserted.same, span, ..report })
}

/// A gauge's readings by date.
pub async fn list(
    cx: &Context,
    account: AccountId,
    id: GaugeId,
    range: (Option<NaiveDate>, Option<NaiveDate>),
    cursor: Option<&str>,
    limit: Option<u32>,
) -> Result<PageFound<RainDay>> {
    let mut check = Check::new();
    check.range(range.0, range.1);
    check.done()?;
    gauge::get(cx, account, id).await?;
    let asked = PageAsked::<NaiveDate>::read("rain", cursor, limit)?;
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
        cx.ring();
        Ok(())
    } else {
        Err(Error::NotFound { what: "gauge", id: id.to_string() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_reading_is_judged_by_itself() {
        let day = |d| NaiveDate::from_ymd_opt(2026, 3, d).unwrap();
        let offered = |line, date, rain_mm| Offered {
            line,
            date: None,
            reading: Ok(RainDay { date, rain_mm }),
            spread: false,
        };
        let readings = vec![
            offered(1, day(1), 2.0),
            offered(2, day(2), -1.0),
            offered(3, day(1), 3.0),
            offered(4, day(3), 2000.0),
            offered(5, day(4), 2000.1),
            offered(6, day(5), f64::NAN),
            offered(7, day(9), 0.0),
        ];
        let (accepted, report) = judge(Offer { readings, other: 0 }, day(8));
        assert_eq!(accepted.into_iter().collect::<Vec<_>>(), [(day(1), 2.0), (day(3), 2000.0)]);
        let lines: Vec<u64> = report.refusals.iter().map(|refusal| refusal.line).collect();
        assert_eq!((report.refused, lines), (5, vec![2, 3, 5, 6, 7]));
        assert!(report.refusals[1].reason.contains("stands at 1 with 2 mm"), "{}", report.refusals[1].reason);
    }
}
