//! Measures how long a rain file of 100 years takes to read and check. Beside it, the `csv` crate reads the same file as
//! one stream, with no care for broken lines.
//!
//! Run `cargo bench -p eavesward-service --bench rain_file`. It fails if the file takes longer than the limit.
#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

use anyhow::{Context as _, Result, ensure};
use chrono::{Days, NaiveDate};
use eavesward_service::domain::rules::rain::{files, judge};
use std::fmt::Write as _;
use std::hint::black_box;
use std::time::Instant;

/// Days of 100 years.
const DAYS: usize = 36_525;
/// The longest time that reading and checking may take, ms.
const MOST_MS: f64 = 50.0;
/// How often each is measured.
const RUNS: usize = 21;

fn main() -> Result<()> {
    let first = NaiveDate::from_ymd_opt(1925, 1, 1).context("a date")?;
    let mut text = String::from("date,mm\n");
    for (index, date) in first.iter_days().take(DAYS).enumerate() {
        writeln!(text, "{date},{}.{}", index % 17, index % 10)?;
    }
    let today = first + Days::new(DAYS as u64);
    let read = median(|| Ok(files::daily_csv(text.as_bytes())?.readings.len()))?;
    let checked = median(|| Ok(judge::judge(files::daily_csv(text.as_bytes())?, today).0.len()))?;
    let peer = median(|| peer(&text))?;
    println!("{DAYS} days, {} bytes, medians of {RUNS} runs", text.len());
    println!("read:             {read:6.2} ms");
    println!("read and checked: {checked:6.2} ms, {:.2} of the limit of {MOST_MS} ms", checked / MOST_MS);
    println!("csv crate, read:  {peer:6.2} ms; reading here takes {:.2} times as long", read / peer);
    ensure!(checked < MOST_MS, "reading and checking took {checked:.1} ms");
    Ok(())
}

/// The same readings by one reader over the whole file.
fn peer(text: &str) -> Result<usize> {
    let mut readings = Vec::new();
    for record in csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(text.as_bytes()).records() {
        let record = record?;
        readings.push((record[0].parse::<NaiveDate>()?, record[1].parse::<f64>()?));
    }
    Ok(black_box(readings).len())
}

/// The median time of a task that has to find every day, ms.
fn median(mut task: impl FnMut() -> Result<usize>) -> Result<f64> {
    let mut times = Vec::with_capacity(RUNS);
    for _ in 0..RUNS {
        let begun = Instant::now();
        ensure!(task()? == DAYS, "some days were not read");
        times.push(begun.elapsed().as_secs_f64() * 1000.0);
    }
    times.sort_by(f64::total_cmp);
    Ok(times[RUNS / 2])
}
