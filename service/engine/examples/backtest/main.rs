//! How good are the dates? Makes forecasts of the past, each from earlier readings alone.
//!
//! `cargo run --release -p eavesward-engine --example backtest -- FILE.csv [--years N] [--threshold MM,...]`
//!
//! An origin is a day of a daily rain record. At each origin the climate is fitted to the years before it. The
//! forecast is the day on which the coming runoff adds up to each threshold, with `max(0, rain - 0.5 mm)` a day. Then
//! the record shows the true day. There are four forecasters: the mean runoff of a day ("straight line"), the mean of
//! each month ("monthly line"), the closed form and the simulator.
//!
//! Standard errors resample the years of the origins. Years that share most of their training years are more alike
//! than that. So the true errors are at least as large.
//!
//! `--duty gutter FILE.csv...` asks the engine for the dates of a duty instead, on one record or several, and compares
//! them with the days on which the part reached its limit.

mod args;
mod dates;
mod duty;
mod replay;
mod score;
mod table;
mod truth;
mod verdict;
mod walk;

use std::io::Write;
use std::process::ExitCode;

use score::{Estimate, Yearly, mean_and_error};
use walk::{CaseResult, FORECASTERS, Plan, Rain, shown};

fn main() -> ExitCode {
    match args::parse(std::env::args().skip(1)) {
        Ok(None) => finish(std::io::stdout().write_all(args::USAGE.as_bytes()).map_err(|e| e.to_string())),
        Ok(Some(args)) => finish(run(&args)),
        Err(fault) => finish(Err(format!("{fault}\n\n{}", args::USAGE))),
    }
}

fn finish(result: Result<(), String>) -> ExitCode {
    let Err(fault) = result else { return ExitCode::SUCCESS };
    // Nothing can be reported when standard error is closed.
    let _ = writeln!(std::io::stderr(), "{fault}");
    ExitCode::FAILURE
}

fn run(args: &args::Args) -> Result<(), String> {
    let report = match &args.duty {
        Some(duty) => dates_of(args, duty)?,
        None => thresholds_of(args)?,
    };
    std::io::stdout().write_all(report.as_bytes()).map_err(|e| e.to_string())
}

fn thresholds_of(args: &args::Args) -> Result<String, String> {
    let file = args.files.first().map_or("", String::as_str);
    let table = read(file)?;
    let rain = Rain::new(&table.readings).ok_or_else(|| format!("{file}: no reading"))?;
    let plan = Plan::new(&rain, args.years, args.step, &args.thresholds)?;
    let results = in_parallel(plan.origins.len(), |i| walk::origin(&rain, &plan, i))?;
    Ok(report(file, &table, &rain, &plan, &results))
}

fn dates_of(args: &args::Args, duty: &args::DutyArgs) -> Result<String, String> {
    let record = |file: &String| dates::Record::new(file, &read(file)?, duty, args.years, args.step);
    let records = args.files.iter().map(record).collect::<Result<Vec<_>, String>>()?;
    let (mut outcomes, mut spread) = (Vec::new(), None);
    for record in &records {
        let truth = record.truth()?;
        spread = spread.or(truth.leaf_spread());
        outcomes.push(in_parallel(record.origins.len(), |i| record.origin(&truth, i))?);
    }
    Ok(dates::report(&records, spread, outcomes))
}

fn read(file: &str) -> Result<table::Table, String> {
    let bytes = std::fs::read(file).map_err(|e| format!("{file}: {e}"))?;
    let text = String::from_utf8(bytes).map_err(|_| format!("{file}: save the file as UTF-8"))?;
    table::read(&text).map_err(|e| format!("{file}: {e}"))
}

/// Runs every origin, divided among the processors. Results are in the order of the origins.
fn in_parallel<T: Send>(
    origins: usize,
    each: impl Fn(usize) -> Result<T, String> + Sync,
) -> Result<Vec<T>, String> {
    let workers = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let each = &each;
    let parts: Vec<Result<Vec<_>, String>> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..workers)
            .map(|worker| {
                scope.spawn(move || (worker..origins).step_by(workers).map(|i| Ok((i, each(i)?))).collect())
            })
            .collect();
        let joined = threads.into_iter().map(std::thread::ScopedJoinHandle::join);
        joined.map(|part| part.unwrap_or_else(|_| Err("a thread ended early".to_owned()))).collect()
    });
    let mut all = Vec::new();
    for part in parts {
        all.extend(part?);
    }
    all.sort_by_key(|(i, _)| *i);
    Ok(all.into_iter().map(|(_, result)| result).collect())
}

/// Scores of one forecaster at one threshold.
#[derive(Clone)]
struct Scores {
    covered: Yearly,
    pinball: Yearly,
    crps: Yearly,
}

struct Row {
    n: usize,
    mean_day: f64,
    left_out: [usize; 3],
    scores: Vec<Scores>,
}

fn row(plan: &Plan, results: &[Vec<CaseResult>], threshold: usize) -> Row {
    let year = |day: eavesward_engine::Day| day.ymd().0;
    let first = plan.origins.first().copied().map_or(0, year);
    let last = plan.origins.last().copied().map_or(0, year);
    let none = Yearly::new((last - first + 1) as usize);
    let none = Scores { covered: none.clone(), pinball: none.clone(), crps: none };
    let mut row = Row { n: 0, mean_day: 0.0, left_out: [0; 3], scores: vec![none; FORECASTERS.len()] };
    for (origin, of_origin) in plan.origins.iter().zip(results) {
        match &of_origin[threshold] {
            CaseResult::Open => row.left_out[0] += 1,
            CaseResult::Gap => row.left_out[1] += 1,
            CaseResult::Thin => row.left_out[2] += 1,
            CaseResult::Scored(scored) => {
                row.n += 1;
                row.mean_day += f64::from(scored.day);
                let index = (year(*origin) - first) as usize;
                for (scores, score) in row.scores.iter_mut().zip(scored.scores) {
                    scores.covered.add(index, score.covered);
                    scores.pinball.add(index, score.pinball);
                    scores.crps.add(index, score.crps);
                }
            }
        }
    }
    row.mean_day /= row.n as f64;
    row
}

fn report(file: &str, table: &table::Table, rain: &Rain, plan: &Plan, results: &[Vec<CaseResult>]) -> String {
    let mut out = Vec::new();
    // Writing into memory does not fail.
    let _ = heading(&mut out, file, table, rain, plan);
    let rows: Vec<Row> = (0..plan.thresholds.len()).map(|t| row(plan, results, t)).collect();
    let _ = body(&mut out, plan, &rows);
    String::from_utf8(out).unwrap_or_default()
}

fn heading(
    out: &mut impl Write,
    file: &str,
    table: &table::Table,
    rain: &Rain,
    plan: &Plan,
) -> std::io::Result<()> {
    let (days, unread) = (rain.days(), rain.unread());
    writeln!(out, "{file}: {} to {}", shown(rain.first()), shown(rain.last()))?;
    writeln!(out, "days: {days}; without a reading: {unread}; rows skipped: {}", table.skipped())?;
    writeln!(
        out,
        "Origins: {}. Days between them: {}. Years learned from before each: {}. Simulated paths at each: {}. \
         Runoff is rain less {} mm a day.",
        plan.origins.len(),
        plan.step,
        plan.years,
        plan.paths,
        walk::LOSS_MM
    )?;
    writeln!(
        out,
        "Coverage is the share of days in the 10 to 90 % window (0.80 is honest). Pinball is the mean loss of the \
         10, 50 and 90 % days. CRPS and pinball are in days. After ± is the standard error, from resampled years."
    )?;
    let first = plan.origins.first().map_or(0, |day| day.ymd().0);
    let last = plan.origins.last().map_or(0, |day| day.ymd().0);
    if last - first < 5 {
        writeln!(
            out,
            "The origins are in few years, so the standard errors say little, and a ranking says less."
        )?;
    }
    writeln!(out)
}

fn body(out: &mut impl Write, plan: &Plan, rows: &[Row]) -> std::io::Result<()> {
    writeln!(
        out,
        "{:>9}  {:>6} {:>8}  {:<14} {:>13} {:>15} {:>15} {:>9}",
        "threshold", "n", "mean day", "forecaster", "coverage", "pinball", "CRPS", "of line"
    )?;
    for (mm, row) in plan.thresholds.iter().zip(rows) {
        write_scores(out, &format!("{mm} mm"), &[row], &format!("{}", row.n), row.mean_day)?;
    }
    let all: Vec<&Row> = rows.iter().filter(|row| row.n > 0).collect();
    let mean_day = all.iter().map(|row| row.mean_day).sum::<f64>() / all.len() as f64;
    if all.len() > 1 {
        write_scores(out, "mean", &all, "", mean_day)?;
    }
    writeln!(out, "\n\"of line\" is the CRPS over that of the monthly line. Origins left out:")?;
    for (mm, row) in plan.thresholds.iter().zip(rows) {
        let [open, gap, thin] = row.left_out;
        writeln!(
            out,
            "{mm:>6} mm: {open} (record ends before the passage), {gap} (unread day before the passage), {thin} (under \
             {:.0} % of the days before it read)",
            100.0 * walk::LEAST_READ
        )?;
    }
    Ok(())
}

/// The lines of all forecasters for a threshold, or for the mean over several thresholds.
fn write_scores(
    out: &mut impl Write,
    name: &str,
    rows: &[&Row],
    n: &str,
    mean_day: f64,
) -> std::io::Result<()> {
    if rows.iter().all(|row| row.n == 0) {
        return writeln!(out, "{name:>9}  {:>6} no passage could be scored", 0);
    }
    let of = |forecaster: usize, pick: fn(&Scores) -> &Yearly| {
        let tables: Vec<&Yearly> = rows.iter().map(|row| pick(&row.scores[forecaster])).collect();
        mean_and_error(&tables)
    };
    let shown = |value: Option<Estimate>, digits: usize| {
        value.map_or("-".to_owned(), |Estimate { mean, error }| format!("{mean:.digits$} ± {error:.digits$}"))
    };
    for (i, forecaster) in FORECASTERS.iter().enumerate() {
        // The two lines give one day and no window.
        let coverage = if i < 2 { "-".to_owned() } else { shown(of(i, |s| &s.covered), 3) };
        let ratios: Vec<f64> = rows
            .iter()
            .filter_map(|row| {
                let own = mean_and_error(&[&row.scores[i].crps])?.mean;
                Some(own / mean_and_error(&[&row.scores[1].crps])?.mean)
            })
            .collect();
        let (name, n) = if i == 0 { (name, n) } else { ("", "") };
        let day = if i == 0 { format!("{mean_day:.1}") } else { String::new() };
        writeln!(
            out,
            "{name:>9}  {n:>6} {day:>8}  {forecaster:<14} {coverage:>13} {:>15} {:>15} {:>9.3}",
            shown(of(i, |s| &s.pinball), 2),
            shown(of(i, |s| &s.crps), 2),
            ratios.iter().sum::<f64>() / ratios.len() as f64
        )?;
    }
    Ok(())
}
