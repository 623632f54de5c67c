//! `eavesward rain`: sends, shows and deletes readings.

use crate::app::{App, PAGE};
use crate::failure::Failure;
use crate::progress::Progress;
use crate::quantity::Typed;
use crate::show;
use crate::table::Table;
use chrono::NaiveDate;
use clap::{Subcommand, ValueEnum};
use eavesward_client::contract::{RainLayout, RainReport, RainRequest};
use eavesward_client::units::Length;
use eavesward_client::{RainFileOptions, RainOptions, RainQuery, build};
use std::path::PathBuf;

/// Lines in one piece while a progress bar is shown, about one second's work each. Judgement.
const WATCHED_LINES: usize = 2_000;

/// Subcommands for rain.
#[derive(Subcommand)]
pub enum Rain {
    /// Send the reading of one day; sending it again replaces it
    Add {
        /// The gauge
        gauge: String,
        /// The day
        date: NaiveDate,
        /// The rain, such as "0.4 in" or "10 mm"; a bare number is mm
        rain: Typed<Length>,
    },
    /// Send a file of daily rain; sending it twice changes nothing
    Import {
        /// The gauge
        gauge: String,
        /// The file; - is standard input
        file: PathBuf,
        /// The layout of the file
        #[arg(long, value_enum, default_value_t = Layout::DailyCsv)]
        layout: Layout,
        /// What to do with readings that cover several days
        #[arg(long, value_enum)]
        several_days: Option<SeveralDays>,
        /// Store nothing if any line is refused; the file then goes in one request
        #[arg(long)]
        all_or_nothing: bool,
    },
    /// Show the readings of a gauge
    Show {
        /// The gauge
        gauge: String,
        /// First day
        #[arg(long, value_name = "DATE")]
        from: Option<NaiveDate>,
        /// Last day
        #[arg(long, value_name = "DATE")]
        to: Option<NaiveDate>,
    },
    /// Delete the readings of these days
    Forget {
        /// The gauge
        gauge: String,
        /// First day
        #[arg(long, value_name = "DATE")]
        from: NaiveDate,
        /// Last day
        #[arg(long, value_name = "DATE")]
        to: NaiveDate,
    },
}

/// Layouts of a rain file.
#[derive(Clone, Copy, ValueEnum)]
pub enum Layout {
    /// A header `date,mm` and one line per day
    DailyCsv,
    /// GHCN-Daily by-station lines
    GhcnDaily,
}

/// What to do with readings that cover several days.
#[derive(Clone, Copy, ValueEnum)]
pub enum SeveralDays {
    /// Spread them evenly over their days
    Spread,
    /// Refuse them
    Refuse,
}

impl Rain {
    /// Runs the subcommand.
    pub async fn run(self, app: &mut App<'_>) -> Result<(), Failure> {
        match self {
            Self::Add { gauge, date, rain } => {
                let rain = rain.get("the rain", app.units, Length::millimetres, "\"0.4 in\"")?;
                let id = app.gauge_id(&gauge).await?;
                let request = RainRequest::new([build::rain_day(date, rain)]);
                let whole = RainOptions::builder().all_or_nothing(true).build();
                let report = app.client.gauges().send_rain(id, &request, &whole).await?;
                if app.json { app.print_json(&report) } else { print(app, &report) }
            }
            Self::Import { gauge, file, layout, several_days, all_or_nothing } => {
                let text = app.read_text(&file)?;
                let id = app.gauge_id(&gauge).await?;
                let mut options = RainFileOptions::builder().all_or_nothing(all_or_nothing).build();
                options.layout = match layout {
                    Layout::DailyCsv => RainLayout::DailyCsv,
                    Layout::GhcnDaily => RainLayout::GhcnDaily,
                };
                options.several_days = several_days.map(|several| match several {
                    SeveralDays::Spread => eavesward_client::SeveralDays::Spread,
                    SeveralDays::Refuse => eavesward_client::SeveralDays::Refuse,
                });
                // Without a bar no steps are shown, and fewer requests are faster.
                options.max_lines = app.progress.then_some(WATCHED_LINES);
                let mut progress = Progress::new(&mut *app.io.err, "Sending rain", app.progress);
                let told = |done, of| progress.draw(done, of);
                let sent = app.client.gauges().send_rain_file_with(id, &text, &options, told).await;
                drop(progress);
                let report = sent.map_err(|error| {
                    if all_or_nothing {
                        return Failure::from(error);
                    }
                    let note = "Part of the file may be stored. You may safely send the whole file again.";
                    Failure::ClientNoted(error, note.to_owned())
                })?;
                if app.json {
                    app.print_json(&report)?;
                } else {
                    print(app, &report)?;
                }
                let counts = report.counts;
                if counts.added + counts.changed + counts.same == 0 {
                    Err(Failure::NothingStored)
                } else {
                    Ok(())
                }
            }
            Self::Show { gauge, from, to } => show_days(app, &gauge, from, to).await,
            Self::Forget { gauge, from, to } => {
                let id = app.gauge_id(&gauge).await?;
                app.client.gauges().delete_rain(id, from, to).await?;
                app.done(format!("Readings from {from} to {to} are deleted."))
            }
        }
    }
}

async fn show_days(
    app: &mut App<'_>,
    gauge: &str,
    from: Option<NaiveDate>,
    to: Option<NaiveDate>,
) -> Result<(), Failure> {
    let id = app.gauge_id(gauge).await?;
    let mut query = RainQuery::builder().limit(PAGE).build();
    (query.from, query.to) = (from, to);
    let days = app.client.gauges().rain(id, &query).all().await?;
    if app.json {
        return app.print_json(&days);
    }
    if days.is_empty() {
        return app.line("No readings found. Send some with `eavesward rain import GAUGE FILE`.");
    }
    let mut table = Table::new(["date", "rain"]);
    for day in &days {
        table.row([day.date.to_string(), show::measure(day.rain_mm, "mm", app.units)]);
    }
    Ok(table.write(app.io.out)?)
}

fn print(app: &mut App<'_>, report: &RainReport) -> Result<(), Failure> {
    const SHOWN: usize = 20;
    let counts = report.counts;
    let mut parts = vec![format!(
        "{} new, {} changed, {} unchanged, {} refused",
        counts.added, counts.changed, counts.same, counts.refused
    )];
    if counts.spread > 0 {
        parts.push(format!("{} filled by spreading", show::counted(counts.spread, "day", "days")));
    }
    if counts.other > 0 {
        parts.push(format!(
            "{} skipped that are not about rain",
            show::counted(counts.other, "line", "lines")
        ));
    }
    app.line(parts.join("; "))?;
    for refusal in report.refused.iter().take(SHOWN) {
        let date = refusal.date.as_deref().unwrap_or("no date");
        let place = match (refusal.line, refusal.index) {
            (Some(line), _) => format!("line {line}"),
            (None, Some(index)) => format!("days[{index}]"),
            (None, None) => "a reading".to_owned(),
        };
        app.line(format!("  {place} ({date}): {}", refusal.reason))?;
    }
    if counts.refused as usize > SHOWN {
        app.line(format!(
            "  and {} more; --json lists up to 1,000 per request",
            counts.refused as usize - SHOWN
        ))?;
    }
    match (report.rain_from, report.rain_through) {
        (Some(from), Some(through)) => {
            app.line(format!("The gauge now has readings from {from} to {through}."))
        }
        _ => app.line("The gauge has no readings yet."),
    }
}
