//! Looks at the dates of a duty along one record, and writes what came of it.

use std::fmt::Write as _;

use eavesward_engine::{Catchment, Day, Gauge, RainRecord};

use super::args::DutyArgs;
use super::duty::Part;
use super::replay::{self, Asked, DRY_DAYS, LEAST_PILE, Origin};
use super::score::Estimate;
use super::table::Table;
use super::truth::{DRAWS, LeftOut, Truth};
use super::verdict::{self, Seen, Verdict};
use super::walk::{LONGEST, Plan, Rain, days_of, shown};

/// Clusters below which a standard error says little. Judgement.
const FEW: usize = 8;

/// A record and its origins.
#[derive(Debug)]
pub struct Record {
    pub name: String,
    part: Part,
    gauge: Gauge,
    catchment: Catchment,
    asked: Asked,
    pub origins: Vec<Day>,
    step: i32,
    /// Days without a reading, and rows of the file that were skipped.
    unread: usize,
    skipped: String,
}

impl Record {
    /// Checks that the record is long enough for the years to learn from.
    pub fn new(
        name: &str,
        table: &Table,
        asked: &DutyArgs,
        years: Option<u32>,
        step: Option<i32>,
    ) -> Result<Record, String> {
        let of = |fault: String| format!("{name}: {fault}");
        let part = Part::new(asked.duty, asked.place, asked.limit)?;
        let rain = Rain::new(&table.readings).ok_or_else(|| of("no reading".to_owned()))?;
        let step = step.unwrap_or(if asked.dry_spells { 5 } else { 7 });
        let plan = Plan::new(&rain, years, Some(step), &[1.0]).map_err(of)?;
        let (years, most) = (plan.years, days_of(plan.years));
        if asked.since_days > most {
            return Err(of(format!(
                "--since-days is {}, more than the {most} days to learn from: give {most} at most, or more --years \
                 than {years}",
                asked.since_days
            )));
        }
        let readings = table.readings.iter().map(|(day, mm)| (Day(*day), *mm));
        let gauge = Gauge::new(RainRecord::from_readings(readings), None);
        let catchment = Catchment::new(&gauge, &part.roof).map_err(|e| of(e.to_string()))?;
        let asked = Asked { years, since_days: asked.since_days, dry_spells: asked.dry_spells };
        Ok(Record {
            name: name.to_owned(),
            part,
            gauge,
            catchment,
            asked,
            origins: plan.origins,
            step,
            unread: rain.unread(),
            skipped: table.skipped(),
        })
    }

    /// The part, counted on the whole record.
    pub fn truth(&self) -> Result<Truth<'_>, String> {
        Truth::new(&self.part, &self.gauge, &self.catchment).map_err(|e| format!("{}: {e}", self.name))
    }

    /// What became of one origin.
    pub fn origin(&self, truth: &Truth<'_>, index: usize) -> Result<Origin, String> {
        replay::origin(&self.part, truth, &self.gauge, self.origins[index], self.asked)
            .map_err(|e| format!("{}: {e}", self.name))
    }
}

/// How many origins were left out, and why.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Left {
    open: usize,
    gap: usize,
    thin: usize,
    due: usize,
    /// Not left out: forecasts without a likely date.
    undated: usize,
}

impl Left {
    fn of(origins: &[Origin]) -> Left {
        let mut left = Left::default();
        for origin in origins {
            match origin {
                Origin::Left(LeftOut::Open) => left.open += 1,
                Origin::Left(LeftOut::Gap) => left.gap += 1,
                Origin::Left(LeftOut::Thin) => left.thin += 1,
                Origin::Left(LeftOut::Due) => left.due += 1,
                Origin::Seen(seen) => left.undated += usize::from(seen.undated),
                Origin::Unwanted => {}
            }
        }
        left
    }

    fn and(self, other: Left) -> Left {
        Left {
            open: self.open + other.open,
            gap: self.gap + other.gap,
            thin: self.thin + other.thin,
            due: self.due + other.due,
            undated: self.undated + other.undated,
        }
    }
}

/// The whole output, from what became of the origins of each record.
pub fn report(records: &[Record], spread: Option<(f64, f64)>, outcomes: Vec<Vec<Origin>>) -> String {
    let left: Vec<Left> = outcomes.iter().map(|origins| Left::of(origins)).collect();
    let seen: Vec<Vec<Seen>> = outcomes
        .into_iter()
        .map(|origins| {
            let seen = origins.into_iter().filter_map(|origin| match origin {
                Origin::Seen(seen) => Some(seen),
                _ => None,
            });
            seen.collect()
        })
        .collect();
    let (verdicts, joint) = verdict::verdicts(&seen);
    let mut out = String::new();
    // Writing into memory does not fail.
    let _ = heading(&mut out, records, spread);
    let _ = rows(&mut out, records, &verdicts, joint.as_ref(), &left);
    let _ = footing(&mut out, &left, &seen, &verdicts);
    out
}

fn heading(out: &mut String, records: &[Record], spread: Option<(f64, f64)>) -> std::fmt::Result {
    for Record { name, gauge, origins, asked, step, unread, skipped, .. } in records {
        let ends = gauge.record().first().zip(gauge.record().last());
        let ends = ends.map_or(String::new(), |(first, last)| format!("{} to {}", shown(first), shown(last)));
        writeln!(
            out,
            "{name}: {ends}; days without a reading: {unread}; rows skipped: {skipped}\n  Origins: {}, {step} days \
             apart. Years learned from before each: {}.",
            origins.len(),
            asked.years
        )?;
    }
    let Some(Record { part, asked, .. }) = records.first() else { return Ok(()) };
    writeln!(out, "\n{}", part.words())?;
    match asked.since_days {
        0 => writeln!(out, "Last service: on the origin.")?,
        days => writeln!(out, "Last service: {days} days before the origin.")?,
    }
    if asked.dry_spells {
        writeln!(
            out,
            "Only origins in dry spells: {DRY_DAYS} days or more without runoff, and over {} % of the limit on the \
             roof.",
            LEAST_PILE * 100.0
        )?;
    }
    if let Some((month, year)) = spread.filter(|_| part.duty.gathers_leaves()) {
        writeln!(
            out,
            "Leaf fall varies, which a record of rain does not show. So each true day is drawn {DRAWS} times: leaf \
             fall after the origin\nhas log-normal factors of mean 1, log-sd {month} by month and {year} by year. \
             Leaf that fell before counts as the engine counts it.\nThe engine assumes the same two figures, so \
             these windows test its rain and its arithmetic, not its leaves."
        )?;
    }
    let by = if asked.dry_spells { "dry spells" } else { "years" };
    writeln!(
        out,
        "Error is the likely date less the true one in days: above 0 the date comes too late. Within is the share of \
         true days in the\n10 to 90 % window, each by the middle of its own chance. Ties split counts the part of \
         that chance in the window: 0.80 is honest.\nEarly and late are the shares of true days before and after the \
         window. After ± is the standard error, from resampled {by}.\n"
    )
}

fn rows(
    out: &mut String,
    records: &[Record],
    verdicts: &[Option<Verdict>],
    joint: Option<&Verdict>,
    left: &[Left],
) -> std::fmt::Result {
    let clusters =
        if records.first().is_some_and(|record| record.asked.dry_spells) { "spells" } else { "years" };
    let names: Vec<&str> = records.iter().map(|record| stem(&record.name)).collect();
    let width = names.iter().map(|name| name.chars().count()).max().unwrap_or(0).max(9);
    writeln!(
        out,
        "{:<width$} {:>7} {clusters:>6} {:>15} {:>15} {:>13} {:>13} {:>6} {:>6} {:>5} {:>5}",
        "record",
        "origins",
        "median error",
        "mean absolute",
        "within",
        "ties split",
        "early",
        "late",
        "open",
        "gap"
    )?;
    for ((name, verdict), left) in names.iter().zip(verdicts).zip(left) {
        row(out, name, width, verdict.as_ref(), *left)?;
    }
    if records.len() < 2 {
        return Ok(());
    }
    row(out, "all", width, joint, left.iter().fold(Left::default(), |sum, left| sum.and(*left)))?;
    writeln!(out, "\nDistance of each record from all, in standard errors:")?;
    for (name, verdict) in names.iter().zip(verdicts) {
        let Some(verdict) = verdict else { continue };
        let [median, absolute, within, split, ..] = verdict.distance.map(signed);
        writeln!(
            out,
            "{name:<width$} {:>7} {:>6} {median:>15} {absolute:>15} {within:>13} {split:>13}",
            "", ""
        )?;
    }
    Ok(())
}

fn row(
    out: &mut String,
    name: &str,
    width: usize,
    verdict: Option<&Verdict>,
    left: Left,
) -> std::fmt::Result {
    let Left { open, gap, .. } = left;
    let Some(Verdict { origins, clusters, figures, .. }) = verdict else {
        return writeln!(out, "{name:<width$} {:>7} no origin could be scored; open: {open}, gap: {gap}", 0);
    };
    let days = |k: usize| with_error(figures[k], 1);
    let share = |k: usize| with_error(figures[k], 3);
    writeln!(
        out,
        "{name:<width$} {origins:>7} {clusters:>6} {:>15} {:>15} {:>13} {:>13} {:>6.3} {:>6.3} {open:>5} {gap:>5}",
        days(verdict::MEDIAN),
        days(verdict::ABSOLUTE),
        share(verdict::WITHIN),
        share(verdict::SPLIT),
        figures[verdict::EARLY].mean,
        figures[verdict::LATE].mean,
    )
}

fn footing(
    out: &mut String,
    left: &[Left],
    seen: &[Vec<Seen>],
    verdicts: &[Option<Verdict>],
) -> std::fmt::Result {
    let all = left.iter().fold(Left::default(), |sum, left| sum.and(*left));
    let scored: usize = seen.iter().map(Vec::len).sum();
    let Left { open, gap, thin, due, undated } = all;
    writeln!(
        out,
        "\nOrigins left out: {open} open (the record ends before the limit), {gap} in a gap (a day without a reading \
         before the limit), {thin} after too few readings, {due} due already."
    )?;
    if undated > 0 {
        writeln!(
            out,
            "Forecasts without a likely date: {undated}. Their date counts as {LONGEST} days ahead."
        )?;
    }
    if verdicts.iter().flatten().any(|verdict| verdict.clusters < FEW) {
        writeln!(
            out,
            "A record with fewer than {FEW} spells or years says little: its standard errors and distance are too small \
             or missing."
        )?;
    }
    if open > 0 && open * 4 > scored {
        writeln!(
            out,
            "Many origins are open. Those with a late true day are missing, so true days look earlier than they are: give \
             a smaller --limit or a longer record."
        )?;
    }
    Ok(())
}

/// The name of a file without its folders and its ending.
fn stem(file: &str) -> &str {
    let path = std::path::Path::new(file);
    path.file_stem().and_then(|stem| stem.to_str()).unwrap_or(file)
}

fn with_error(Estimate { mean, error }: Estimate, digits: usize) -> String {
    if error.is_nan() {
        format!("{mean:.digits$} ± -")
    } else {
        format!("{mean:.digits$} ± {error:.digits$}")
    }
}

fn signed(distance: f64) -> String {
    if distance.is_finite() { format!("{distance:+.1}") } else { "-".to_owned() }
}
