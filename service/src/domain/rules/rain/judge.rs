//! Checks incoming rain readings one by one.

use crate::domain::base::error::Faults;
use crate::domain::model::rain::{RAIN_MM, RainDay, RainOffer, RainReport, Refusal};
use chrono::{Datelike, NaiveDate};
use std::collections::BTreeMap;

/// The first year of a reading. Older records do not exist.
const FIRST_YEAR: i32 = 1700;

/// Checks every reading by itself. Returns the accepted ones by date, and a report with the first refusals. All are
/// counted.
///
/// `today` is the latest civil date on earth. A rain gauge has no time zone, so only a reading that is in the
/// future everywhere is refused as such.
pub fn judge(mut offer: RainOffer, today: NaiveDate) -> (BTreeMap<NaiveDate, f64>, RainReport) {
    let mut report = RainReport { other: offer.other, ..RainReport::default() };
    let mut accepted: BTreeMap<NaiveDate, (f64, u64)> = BTreeMap::new();
    for offered in std::mem::take(&mut offer.readings) {
        let verdict = offered.reading.and_then(|reading| {
            plausible(reading, today)?;
            match accepted.get(&reading.date) {
                Some((value, line)) => Err(if *value == reading.rain_mm {
                    format!("{} already has this date", offer.place(*line))
                } else {
                    format!(
                        "{} already has this date with {value} mm; the first one counts",
                        offer.place(*line)
                    )
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
                if report.refusals.len() < Faults::MOST_LISTED {
                    let place = offer.place(offered.line);
                    report.refusals.push(Refusal { place, date: offered.date, reason });
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
    } else if rain_mm < RAIN_MM.least {
        Err(format!("{rain_mm} mm is negative; leave a missing day out"))
    } else if rain_mm > RAIN_MM.most {
        Err(format!("{rain_mm} mm is more than a day can bring ({} mm); check the unit", RAIN_MM.most))
    } else if date.year() < FIRST_YEAR {
        Err(format!("{date} is before the year {FIRST_YEAR}"))
    } else if date > today {
        Err(format!("{date} has not come yet"))
    } else {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::model::rain::{OfferedReading, Place};

    #[test]
    fn each_reading_is_judged_by_itself() {
        let day = |d| NaiveDate::from_ymd_opt(2026, 3, d).unwrap();
        let offered = |line, date, rain_mm| OfferedReading {
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
        let (accepted, report) = judge(RainOffer { readings, ..RainOffer::default() }, day(8));
        assert_eq!(accepted.into_iter().collect::<Vec<_>>(), [(day(1), 2.0), (day(3), 2000.0)]);
        let places: Vec<Place> = report.refusals.iter().map(|refusal| refusal.place).collect();
        assert_eq!((report.refused, places), (5, [2, 3, 5, 6, 7].map(Place::Line).to_vec()));
        assert!(
            report.refusals[1].reason.contains("line 1 already has this date with 2 mm"),
            "{}",
            report.refusals[1].reason
        );
    }
}
