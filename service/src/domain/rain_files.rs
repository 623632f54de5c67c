//! Reads rain files: `date,mm`, and by-station lines of the Global Historical Climatology Network daily data.
//!
//! GHCN-Daily by-station lines have eight fields: station, date as `yyyymmdd`, element, value, measurement flag, quality
//! flag, source flag, time of observation. `PRCP` is rain in tenths of a millimetre; `MDPR` is rain accumulated over
//! several days, and `DAPR` on the same date says over how many. A quality flag means that the archive itself does not
//! trust the value. Source: NOAA National Centers for Environmental Information, GHCN-Daily documentation (readme.txt and
//! readme-by_station.txt), layout from memory of that document.

use crate::domain::rain::{Offer, Offered, RainDay};
use chrono::{Days, NaiveDate};
use std::collections::BTreeMap;

/// What to do with a reading that was taken after several days.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Accumulated {
    /// Spread it evenly over the days it covers.
    #[default]
    Spread,
    /// Refuse it and say so.
    Refuse,
}

/// The longest run of days that an accumulated reading is believed for.
const LONGEST_RUN: u64 = 31;

fn reader(text: &[u8]) -> csv::Reader<&[u8]> {
    csv::ReaderBuilder::new().has_headers(false).flexible(true).trim(csv::Trim::All).from_reader(text)
}

fn unreadable(line: u64, date: Option<&str>, reason: String) -> Offered {
    Offered { line, date: date.map(str::to_owned), reading: Err(reason), spread: false }
}

/// Yields each record of a file with its line, or a refusal where it cannot be read at all.
fn records(text: &[u8], mut each: impl FnMut(u64, std::result::Result<&csv::StringRecord, String>)) {
    let mut reader = reader(text);
    let mut record = csv::StringRecord::new();
    loop {
        let line = reader.position().line();
        match reader.read_record(&mut record) {
            Ok(false) => break,
            Ok(true) => {
                let line = record.position().map_or(line, csv::Position::line);
                if record.iter().any(|field| !field.is_empty()) {
                    each(line, Ok(&record));
                }
            }
            Err(error) => each(line, Err(format!("the line is not readable as CSV text: {error}"))),
        }
    }
}

/// Reads `date,mm` lines. A first line of words is a header; it may name its columns in any order, `date` and one of
/// `mm`, `rain_mm`, `precipitation_mm`.
///
/// # Errors
/// When there is a header that does not name the two columns: every line would be guesswork.
pub fn daily_csv(text: &[u8]) -> Result<Offer, String> {
    let text = text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(text);
    let mut offer = Offer::default();
    let mut columns = (0, 1);
    let mut header_fault = None;
    let mut first = true;
    records(text, |line, record| {
        let record = match record {
            Ok(record) => record,
            Err(reason) => return offer.readings.push(unreadable(line, None, reason)),
        };
        if std::mem::take(&mut first)
            && !record.iter().any(|field| field.starts_with(|c: char| c.is_ascii_digit()))
        {
            match header(record) {
                Ok(found) => columns = found,
                Err(fault) => header_fault = Some(fault),
            }
            return;
        }
        offer.readings.push(daily_line(line, record, columns));
    });
    header_fault.map_or(Ok(offer), Err)
}

fn header(record: &csv::StringRecord) -> Result<(usize, usize), String> {
    let find =
        |names: &[&str]| record.iter().position(|field| names.contains(&field.to_ascii_lowercase().as_str()));
    match (find(&["date"]), find(&["mm", "rain_mm", "precipitation_mm"])) {
        (Some(date), Some(mm)) => Ok((date, mm)),
        _ => Err(format!(
            "the header {:?} does not name the columns date and mm; inches and tenths have to be converted first",
            record.iter().collect::<Vec<_>>().join(",")
        )),
    }
}

fn daily_line(line: u64, record: &csv::StringRecord, (date, mm): (usize, usize)) -> Offered {
    let (date, mm) = (record.get(date), record.get(mm));
    let reading = (|| {
        let text = date.filter(|text| !text.is_empty()).ok_or("it has no date")?;
        let date =
            text.parse::<NaiveDate>().map_err(|_| format!("{text:?} is not a date like 2026-03-01"))?;
        let text = mm.filter(|text| !text.is_empty()).ok_or("it has no reading; leave a missing day out")?;
        let rain_mm = text.parse::<f64>().map_err(|_| format!("{text:?} is not a number of mm"))?;
        Ok(RainDay { date, rain_mm })
    })();
    Offered { line, date: date.map(str::to_owned), reading, spread: false }
}

/// An accumulated reading: its line, its total and the days it covers.
struct Run {
    line: u64,
    tenths: f64,
    days: Option<u64>,
    flagged: Option<String>,
}

/// Reads GHCN-Daily by-station lines.
///
/// Lines of other elements are counted, not refused. Lines of more than one station are refused from the second
/// station on, since one gauge has one record.
pub fn ghcn_daily(text: &[u8], accumulated: Accumulated) -> Offer {
    let mut offer = Offer::default();
    let mut station: Option<String> = None;
    let mut runs: BTreeMap<NaiveDate, Run> = BTreeMap::new();
    records(text, |line, record| {
        let record = match record {
            Ok(record) => record,
            Err(reason) => return offer.readings.push(unreadable(line, None, reason)),
        };
        if line == 1
            && record.get(0).is_some_and(|field| field.eq_ignore_ascii_case("id") || field == "STATION")
        {
            return;
        }
        let Some(element) = record.get(2).filter(|_| record.len() >= 4) else {
            let reason = "it does not have station, date, element and value".to_owned();
            return offer.readings.push(unreadable(line, record.get(1), reason));
        };
        if !matches!(element, "PRCP" | "MDPR" | "DAPR") {
            offer.other += 1;
            return;
        }
        let text = record.get(1).unwrap_or_default();
        let refuse = |reason: String| unreadable(line, Some(text), reason);
        let name = record.get(0).unwrap_or_default();
        if station.get_or_insert_with(|| name.to_owned()) != name {
            return offer
                .readings
                .push(refuse(format!("{name} is a second station; one gauge has one record")));
        }
        let Some(date) = compact_date(text) else {
            return offer.readings.push(refuse(format!("{text:?} is not a date like 20260301")));
        };
        let value = record.get(3).unwrap_or_default();
        let Ok(number) = value.parse::<f64>() else {
            return offer.readings.push(refuse(format!("{value:?} is not a number")));
        };
        let flagged = record
            .get(5)
            .filter(|flag| !flag.is_empty())
            .map(|flag| format!("the archive's quality check failed it (flag {flag})"));
        match element {
            "PRCP" => {
                let reading = if let Some(reason) = flagged {
                    Err(reason)
                } else if number == -9999.0 {
                    Err("-9999 stands for a missing value".to_owned())
                } else {
                    Ok(RainDay { date, rain_mm: tenths_to_mm(number) })
                };
                offer.readings.push(Offered { line, date: Some(text.to_owned()), reading, spread: false });
            }
            "MDPR" => {
                let run = runs.entry(date).or_insert(Run { line, tenths: number, days: None, flagged: None });
                (run.line, run.tenths) = (line, number);
                run.flagged = run.flagged.take().or(flagged);
            }
            _ => {
                let run =
                    runs.entry(date).or_insert(Run { line, tenths: f64::NAN, days: None, flagged: None });
                run.days = (number >= 1.0).then_some(number as u64);
                run.flagged = run.flagged.take().or(flagged);
            }
        }
    });
    for (date, run) in runs {
        spread(&mut offer.readings, date, &run, accumulated);
    }
    offer.readings.sort_by_key(|reading| reading.line);
    offer
}

fn spread(readings: &mut Vec<Offered>, date: NaiveDate, run: &Run, accumulated: Accumulated) {
    let text = date.format("%Y%m%d").to_string();
    let total = tenths_to_mm(run.tenths);
    let refused = if let Some(reason) = &run.flagged {
        Some(reason.clone())
    } else if run.tenths.is_nan() {
        Some("a number of days (DAPR) without the total (MDPR) that they add up to".to_owned())
    } else if accumulated == Accumulated::Refuse {
        Some(format!("{total} mm accumulated over several days; ask for it to be spread, or leave it out"))
    } else {
        match run.days {
            None => Some(format!("{total} mm accumulated over an unknown number of days (no DAPR)")),
            Some(days) if days > LONGEST_RUN => {
                Some(format!("{total} mm accumulated over {days} days is too coarse"))
            }
            Some(_) => None,
        }
    };
    let days = run.days.unwrap_or(1);
    match refused {
        Some(reason) => readings.push(unreadable(run.line, Some(&text), reason)),
        None => readings.extend((0..days).filter_map(|back| {
            let reading =
                RainDay { date: date.checked_sub_days(Days::new(back))?, rain_mm: total / days as f64 };
            Some(Offered { line: run.line, date: Some(text.clone()), reading: Ok(reading), spread: days > 1 })
        })),
    }
}

fn tenths_to_mm(tenths: f64) -> f64 {
    // Divided rather than multiplied by 0.1, so that 23 tenths are exactly 2.3.
    tenths / 10.0
}

fn compact_date(text: &str) -> Option<NaiveDate> {
    if text.len() == 8 && text.bytes().all(|byte| byte.is_ascii_digit()) {
        NaiveDate::parse_from_str(text, "%Y%m%d").ok()
    } else {
        None
    }
}
