//! Measures the refresh of a whole fleet: time, memory, where the time goes, and the floor.
//!
//! Run `cargo bench -p eavesward-service --bench fleet`. `EAVESWARD_FLEET_SYSTEMS`, `EAVESWARD_FLEET_GAUGES`
//! and `EAVESWARD_FLEET_YEARS` set the sizes. README.md beside this folder has the figures of record.
#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

mod copies;
mod files;
mod floor;
mod meter;
mod plan;
mod seed;

use anyhow::{Context as _, Result, ensure};
use chrono::{DateTime, TimeDelta, Utc};
use eavesward_service::domain::background::refresh;
use eavesward_service::domain::base::clock::SetClock;
use eavesward_service::domain::context::Context;
use eavesward_service::domain::model::rain::RainDay;
use eavesward_service::domain::ports::store::Store as _;
use eavesward_service::domain::ports::store::gauges::GaugeStore as _;
use eavesward_service::storage::{ConnectOptions, Database};
use files::{Folder, megabytes, url};
use meter::{Figures, Parts};
use plan::Size;
use seed::DUTIES;
use sqlx::Connection as _;
use sqlx_sqlite::SqliteConnection;
use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

/// The morning after the last reading of the seeded fleet.
const MORNING: &str = "2026-06-15T03:00:00Z";

fn main() -> Result<()> {
    let size = Size {
        systems: from_env("EAVESWARD_FLEET_SYSTEMS", 100_000)?,
        gauges: from_env("EAVESWARD_FLEET_GAUGES", 1000)?,
        years: from_env("EAVESWARD_FLEET_YEARS", 10)?,
    };
    let parts = Parts::listen();
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build()?;
    runtime.block_on(bench(size, &parts))
}

fn from_env(name: &str, usual: u32) -> Result<u32> {
    match std::env::var(name) {
        Ok(text) => text.parse().with_context(|| format!("{name} is not a number")),
        Err(_) => Ok(usual),
    }
}

async fn bench(size: Size, parts: &Parts) -> Result<()> {
    let folder = Folder::new()?;
    let file = folder.file("fleet.db");
    println!("{} systems of {DUTIES} duties, {} gauges, {} years", size.systems, size.gauges, size.years);
    let morning: DateTime<Utc> = MORNING.parse()?;
    let begun = Instant::now();
    let fleet = seed::make(&file, size, morning).await?;
    copies::multiply(&file, size).await?;
    println!("seeded in {:.1} s, {} MB", begun.elapsed().as_secs_f64(), megabytes(&file)?);

    let database = Database::connect(&url(&file), &ConnectOptions::default()).await?;
    let clock = Arc::new(SetClock::new(morning));
    let cx = Context::new(Arc::new(database.clone()), clock.clone());

    println!("\n1. Everything for the first time");
    refreshed(&cx, &file, size, parts).await?;

    println!("\n2. The next day, one new reading on every gauge");
    let next = morning + TimeDelta::days(1);
    clock.set(next);
    let begun = Instant::now();
    let reading = RainDay { date: next.date_naive() - TimeDelta::days(1), rain_mm: 6.5 };
    for (account, gauge) in &fleet.gauges {
        database.put_rain(*account, *gauge, &[reading]).await?.context("the gauge is there")?;
    }
    println!("readings stored in {:.1} s", begun.elapsed().as_secs_f64());
    refreshed(&cx, &file, size, parts).await?;
    database.close().await;

    println!("\nFloor: the same rows written, nothing computed");
    let mut bare = floor::Floor::new(&file, &folder.file("floor.db")).await?;
    bare.write("into an empty file").await?;
    bare.write("over themselves").await?;
    Ok(())
}

/// Refreshes all stale systems, checks that every system was refreshed, and prints the figures.
async fn refreshed(cx: &Context, file: &Path, size: Size, parts: &Parts) -> Result<()> {
    let figures = Figures::begin(parts)?;
    let round = refresh::run(cx).await?;
    let figures = figures.end()?;
    ensure!(round.failed == 0, "{} systems failed", round.failed);
    ensure!(round.refreshed == size.systems as usize, "{} systems were refreshed", round.refreshed);
    let mut reader = SqliteConnection::connect(&url(file)).await?;
    let day = cx.clock.now().date_naive().to_epoch_days();
    let (systems, tasks, bytes, longest): (i64, i64, i64, i64) = sqlx::query_as(
        "SELECT COUNT(*), SUM(tasks), SUM(bytes) / COUNT(*), MAX(bytes) FROM \
         (SELECT LENGTH(packed) AS bytes, (SELECT COUNT(*) FROM tasks WHERE tasks.system_id = forecasts.system_id) \
         AS tasks FROM forecasts WHERE as_of = $1)",
    )
    .bind(day)
    .fetch_one(&mut reader)
    .await?;
    reader.close().await?;
    ensure!(systems == i64::from(size.systems), "{systems} systems have a forecast of the day");
    ensure!(tasks == i64::from(size.systems) * DUTIES, "{tasks} task rows were written");
    println!("{tasks} task rows; a system's packed forecast has {bytes} bytes on average, {longest} at most");
    figures.print(size.systems);
    Ok(())
}
