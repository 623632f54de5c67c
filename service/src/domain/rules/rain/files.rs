//! Reads rain files: `date,mm`, and by-station lines of the Global Historical Climatology Network daily data.
//!
//! GHCN-Daily by-station lines have eight fields: station, date as `yyyymmdd`, element, value, measurement flag,
//! quality flag, source flag, time of observation. `PRCP` is rain in tenths of a millimetre. `MDPR` is rain
//! accumulated over several days, and `DAPR` on the same date gives the number of days. A quality flag means that
//! the archive itself does not trust the value.
//!
//! Source: NOAA National Centers for Environmental Information, GHCN-Daily documentation (readme.txt and
//! readme-by_station.txt), layout from memory of that document.

use crate::domain::base::error::{Error, Result};
use crate::domain::base::plural::{counted, with_commas};
use crate::domain::model::rain::{MOST_READINGS, OfferedReading, RainDay, RainOffer};
use crate::domain::rules::rain::lines::lines;
use chrono::{Days, NaiveDate};
use std::collections::{BTreeMap, HashSet};

/// What to do with a reading that covers several days.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum SeveralDays {
    /// Spread it evenly over the days it covers.
    #[default]
    Spread,
    /// Refuse it, with the reason.
    Refuse,
}

/// What GHCN-Daily writes for a missing value.
const MISSING: f64 = -9999.0;

const MISSING_SAID: &str = "-9999 stands for a missing value";

/// The most days of an accumulated reading that is accepted.
const LONGEST_RUN: u64 = 31;

fn unreadable(line: u64, date: Option<&str>, reason: String) -> OfferedReading {
    OfferedReading { line, date: date.map(shown), reading: Err(reason), spread: false }
}

/// Adds a reading, as long as there are not too many.
fn push(readings: &mut Vec<OfferedReading>, reading: OfferedReading) -> Result<()> {
    if readings.len() >= MOST_READINGS {
        return Err(too_many());
    }
    readings.push(reading);
    Ok(())
}

fn too_many() -> Error {
    let most = with_commas(MOST_READINGS);
    Error::field("days", format!("it has more readings than {most}; send at most {most} at a time"))
}

/// A text as it is repeated to its sender, who knows the rest of a long one.
fn shown(text: &str) -> String {
    const LONGEST: usize = 40;
    let start: String = text.chars().take(LONGEST).collect();
    let rest = if start.len() < text.len() { "..." } else { "" };
    start + rest
}

/// Reads `date,mm` lines. A first line of words is a header. It may name its columns in any order: `date`, and one
/// of `mm`, `rain_mm` and `precipitation_mm`.
///
/// # Errors
/// If there is a header that does not name the two columns: reading on would be guesswork. If there are too many
/// lines or readings.
pub fn daily_csv(text: &[u8]) -> Result<RainOffer> {
    let mut offer = RainOffer::default();
    let mut columns = Columns { date: 0, mm: 1, width: 2 };
    let mut first = true;
    lines(text, |line, fields| {
        let fields = match fields {
            Ok(fields) => fields,
            Err(reason) => return push(&mut offer.readings, unreadable(line, None, reason)),
        };
        if std::mem::take(&mut first)
            && !fields.iter().any(|field| field.starts_with(|c: char| c.is_ascii_digit()))
        {
            columns = header(fields).map_err(|fault| Error::field("line 1", fault))?;
            return Ok(());
        }
        push(&mut offer.readings, daily_line(line, fields, columns))
    })?;
    Ok(offer)
}

/// The positions of the columns, from 0, and the number of fields.
#[derive(Clone, Copy)]
struct Columns {
    date: usize,
    mm: usize,
    width: usize,
}

fn header(fields: &csv::StringRecord) -> std::result::Result<Columns, String> {
    let find =
        |names: &[&str]| fields.iter().position(|field| names.contains(&field.to_ascii_lowercase().as_str()));
    match (find(&["date"]), find(&["mm", "rain_mm", "precipitation_mm"])) {
        (Some(date), Some(mm)) => Ok(Columns { date, mm, width: fields.len() }),
        _ => Err(format!(
            "the header {:?} does not name the columns date and mm, separated by a comma; convert inches or \
             tenths to mm first",
            shown(&fields.iter().collect::<Vec<_>>().join(","))
        )),
    }
}

fn daily_line(line: u64, fields: &csv::StringRecord, columns: Columns) -> OfferedReading {
    let Columns { date, mm, width } = columns;
    let (date, mm) = (fields.get(date), fields.get(mm));
    let reading = (|| {
        if fields.len() > width {
            let fields = counted(fields.len() as u64, "field", "fields");
            return Err(format!("it has {fields} instead of {width}; change a decimal comma to a point"));
        }
        let text = date.filter(|text| !text.is_empty()).ok_or("it has no date")?;
        if text.contains(';') {
            return Err("its fields are separated by semicolons; use commas".to_owned());
        }
        let date = text
            .parse::<NaiveDate>()
            .map_err(|_| format!("{:?} is not a date like 2026-03-01", shown(text)))?;
        let text = mm.filter(|text| !text.is_empty()).ok_or("it has no reading; leave a missing day out")?;
        let rain_mm = text.parse::<f64>().map_err(|_| format!("{:?} is not a number of mm", shown(text)))?;
        Ok(RainDay { date, rain_mm })
    })();
    OfferedReading { line, date: date.map(shown), reading, spread: false }
}

/// An accumulated reading: its line, its total and the number of days.
struct Run {
    line: u64,
    tenths: f64,
    days: Option<u64>,
    flagged: Option<String>,
}

/// Reads GHCN-Daily by-station lines.
///
/// Lines of other elements are counted, not refused. Lines of a second or later station are refused, since one rain
/// gauge has one record.
///
/// # Errors
/// If there are too many lines or readings.
pub fn ghcn_daily(text: &[u8], accumulated: SeveralDays) -> Result<RainOffer> {
    let mut record = StationRecord::default();
    lines(text, |line, fields| match fields {
        Ok(fields) => record.read(line, fields),
        Err(reason) => push(&mut record.offer.readings, unreadable(line, None, reason)),
    })?;
    let StationRecord { mut offer, runs, .. } = record;
    // A day with a reading of its own keeps that value, even if an accumulated total covers it.
    let measured: HashSet<NaiveDate> =
        offer.readings.iter().filter_map(|offered| Some(offered.reading.as_ref().ok()?.date)).collect();
    for (date, run) in runs {
        spread(&mut offer.readings, &measured, date, &run, accumulated)?;
    }
    offer.readings.sort_by_key(|reading| reading.line);
    Ok(offer)
}

/// What was read of a station's lines so far.
#[derive(Default)]
struct StationRecord {
    offer: RainOffer,
    station: Option<String>,
    runs: BTreeMap<NaiveDate, Run>,
}

impl StationRecord {
    fn read(&mut self, line: u64, fields: &csv::StringRecord) -> Result<()> {
        if line == 1
            && fields.get(0).is_some_and(|field| field.eq_ignore_ascii_case("id") || field == "STATION")
        {
            return Ok(());
        }
        let text = fields.get(1).unwrap_or_default();
        let Some(element) = fields.get(2).filter(|_| fields.len() >= 4) else {
            let reason = "it does not have station, date, element and value".to_owned();
            return push(&mut self.offer.readings, unreadable(line, fields.get(1), reason));
        };
        if !matches!(element, "PRCP" | "MDPR" | "DAPR") {
            self.offer.other += 1;
            return Ok(());
        }
        match self.reading(line, element, fields) {
            Ok(Some(day)) => {
                let reading =
                    OfferedReading { line, date: Some(shown(text)), reading: Ok(day), spread: false };
                push(&mut self.offer.readings, reading)
            }
            // A reading for each of them comes at the end.
            Ok(None) if self.runs.len() > MOST_READINGS => Err(too_many()),
            Ok(None) => Ok(()),
            Err(reason) => push(&mut self.offer.readings, unreadable(line, Some(text), reason)),
        }
    }

    /// The reading of a line about rain; none if the line is one of two about accumulated rain.
    fn reading(
        &mut self,
        line: u64,
        element: &str,
        fields: &csv::StringRecord,
    ) -> std::result::Result<Option<RainDay>, String> {
        let field = |at| fields.get(at).unwrap_or_default();
        let (name, text, value) = (field(0), field(1), field(3));
        if self.station.get_or_insert_with(|| name.to_owned()) != name {
            return Err(format!("{} is a second station; one rain gauge has one record", shown(name)));
        }
        let date =
            compact_date(text).ok_or_else(|| format!("{:?} is not a date like 20260301", shown(text)))?;
        let number = value.parse::<f64>().map_err(|_| format!("{:?} is not a number", shown(value)))?;
        let flagged = fields
            .get(5)
            .filter(|flag| !flag.is_empty())
            .map(|flag| format!("it failed the archive's quality check (flag {})", shown(flag)));
        let run = |tenths| Run { line, tenths, days: None, flagged: None };
        match (element, flagged) {
            ("PRCP", Some(reason)) => return Err(reason),
            ("PRCP", None) if number == MISSING => return Err(MISSING_SAID.to_owned()),
            ("PRCP", None) => return Ok(Some(RainDay { date, rain_mm: tenths_to_mm(number) })),
            ("MDPR", flagged) => {
                let run = self.runs.entry(date).or_insert(run(number));
                (run.line, run.tenths) = (line, number);
                run.flagged = run.flagged.take().or(flagged);
            }
            (_, flagged) => {
                let run = self.runs.entry(date).or_insert(run(f64::NAN));
                // Ten years are more than is ever accepted, and fit in any integer.
                run.days = (number >= 1.0).then_some(number.min(3650.0) as u64);
                run.flagged = run.flagged.take().or(flagged);
            }
        }
        Ok(None)
    }
}

fn spread(
    readings: &mut Vec<OfferedReading>,
    measured: &HashSet<NaiveDate>,
    date: NaiveDate,
    run: &Run,
    accumulated: SeveralDays,
) -> Result<()> {
    let text = date.format("%Y%m%d").to_string();
    let total = tenths_to_mm(run.tenths);
    let refused = if let Some(reason) = &run.flagged {
        Some(reason.clone())
    } else if run.tenths == MISSING {
        Some(MISSING_SAID.to_owned())
    } else if run.tenths.is_nan() {
        Some("it has a number of days (DAPR) but no total (MDPR)".to_owned())
    } else if accumulated == SeveralDays::Refuse {
        Some(format!("{total} mm accumulated over several days; ask for it to be spread, or leave it out"))
    } else {
        match run.days {
            None => Some(format!("{total} mm accumulated over an unknown number of days (no DAPR)")),
            Some(days) if days > LONGEST_RUN => Some(format!(
                "{total} mm accumulated over {}; at most {LONGEST_RUN} days are spread",
                counted(days, "day", "days")
            )),
            Some(_) => None,
        }
    };
    if let Some(reason) = refused {
        return push(readings, unreadable(run.line, Some(&text), reason));
    }
    let days = run.days.unwrap_or(1);
    let covered = (0..days).filter_map(|back| date.checked_sub_days(Days::new(back)));
    let covered: Vec<NaiveDate> = covered.filter(|day| !measured.contains(day)).collect();
    if covered.is_empty() {
        let reason = format!("{total} mm accumulated over days that all have a reading of their own");
        return push(readings, unreadable(run.line, Some(&text), reason));
    }
    let rain_mm = total / days as f64;
    covered.into_iter().try_for_each(|day| {
        let reading = Ok(RainDay { date: day, rain_mm });
        push(readings, OfferedReading { line: run.line, date: Some(text.clone()), reading, spread: days > 1 })
    })
}

fn tenths_to_mm(tenths: f64) -> f64 {
    // Dividing instead of multiplying by 0.1 makes 23 tenths exactly 2.3.
    tenths / 10.0
}

fn compact_date(text: &str) -> Option<NaiveDate> {
    if text.len() == 8 && text.bytes().all(|byte| byte.is_ascii_digit()) {
        NaiveDate::parse_from_str(text, "%Y%m%d").ok()
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn faults(offer: &RainOffer) -> Vec<(u64, &str)> {
        let faults =
            offer.readings.iter().filter_map(|read| Some((read.line, read.reading.as_ref().err()?.as_str())));
        faults.collect()
    }

    #[test]
    fn lines_are_counted_alike_whatever_ends_them_and_spoil_no_other() {
        for end in ["\n", "\r\n", "\r"] {
            let text = [
                "date,mm",
                "2026-01-01,1",
                "\"2026-01-02,x",
                "",
                "2026-01-03,2",
                "2026-01-04,3,5",
                "2026-01-05;1",
            ]
            .join(end);
            let offer = daily_csv(text.as_bytes()).expect("a header");
            let lines: Vec<u64> = faults(&offer).iter().map(|fault| fault.0).collect();
            assert_eq!(lines, [3, 6, 7], "{end:?}");
            assert!(faults(&offer)[1].1.contains("decimal comma"), "{:?}", faults(&offer));
            assert!(faults(&offer)[2].1.contains("semicolon"), "{:?}", faults(&offer));
            assert_eq!(offer.readings.len(), 5);
        }
    }

    #[test]
    fn a_measured_day_keeps_its_value_within_an_accumulated_run() {
        let text = "A,20260103,PRCP,20\nA,20260104,MDPR,120\nA,20260104,DAPR,4\nA,20260110,MDPR,-9999\nA,20260110,DAPR,3";
        let offer = ghcn_daily(text.as_bytes(), SeveralDays::Spread).expect("few lines");
        let mut read: Vec<(u32, f64)> = offer
            .readings
            .iter()
            .filter_map(|read| read.reading.as_ref().ok())
            .map(|day| (chrono::Datelike::day(&day.date), day.rain_mm))
            .collect();
        read.sort_by_key(|day| day.0);
        assert_eq!(read, [(1, 3.0), (2, 3.0), (3, 2.0), (4, 3.0)]);
        assert_eq!(faults(&offer), [(4, MISSING_SAID)]);
    }
}
