//! `eavesward forecast`: the full forecast of one system.

use crate::app::App;
use crate::failure::Failure;
use crate::show;
use crate::table::Table;
use chrono::NaiveDate;
use clap::Args;
use eavesward_client::ForecastQuery;
use eavesward_client::contract::{DutyForecast, ForecastRequest, Lesson, Limit, SystemForecast};
use std::path::PathBuf;

/// Options of the forecast.
#[derive(Args)]
pub struct Forecast {
    /// A registered system
    #[arg(required_unless_present = "file", conflicts_with = "file")]
    system: Option<String>,
    /// A forecast request as JSON for a system that is not registered; - is standard input
    #[arg(long, value_name = "FILE")]
    file: Option<PathBuf>,
    /// The day of the forecast; it uses nothing later
    #[arg(long, value_name = "DATE", conflicts_with = "file")]
    as_of: Option<NaiveDate>,
    /// Explain each duty
    #[arg(long)]
    explain: bool,
}

impl Forecast {
    /// Prints the forecast.
    pub async fn run(self, app: &mut App<'_>) -> Result<(), Failure> {
        let forecast = match (&self.file, &self.system) {
            (Some(file), _) => {
                let request: ForecastRequest = app.read_json(file)?;
                app.client.forecast(&request).await?
            }
            (None, Some(system)) => {
                let id = app.system_id(system).await?;
                let query = ForecastQuery::builder().maybe_as_of(self.as_of).build();
                app.client.systems().forecast(id, &query).await?
            }
            (None, None) => return Err(Failure::usage("give a system or --file")),
        };
        if app.json {
            return app.print_json(&forecast);
        }
        head(app, &forecast)?;
        if forecast.duties.is_empty() {
            app.line("Nothing to forecast on that day.")?;
        } else {
            table(app, &forecast.duties)?;
        }
        if self.explain {
            forecast.duties.iter().try_for_each(|duty| explain(app, duty))?;
        }
        for advice in &forecast.climate.advice {
            app.line(format!("For better dates: {}", show::reason(advice, app.units)))?;
        }
        Ok(())
    }
}

fn head(app: &mut App<'_>, forecast: &SystemForecast) -> Result<(), Failure> {
    let roof = show::measure(forecast.roofs.iter().map(|roof| roof.plan_area_m2).sum(), "m2", app.units);
    let climate = &forecast.climate;
    let read = match (climate.rain_from, climate.rain_through) {
        (Some(from), Some(through)) => format!("readings {from} to {through}"),
        _ => "no readings".to_owned(),
    };
    app.line(format!(
        "As of {}. Roof of {roof}, {}. Rain: {}, {read}.",
        forecast.as_of,
        show::list(forecast.roofs.iter().map(|roof| show::words(&roof.surface))),
        show::words(&climate.basis)
    ))
}

fn table(app: &mut App<'_>, duties: &[DutyForecast]) -> Result<(), Failure> {
    let mut table = Table::new([
        "due",
        "component",
        "what to do",
        "early / likely / late",
        "accumulated / limit",
        "decided by",
        "past limit today",
        "in 30 days",
    ]);
    for duty in duties {
        table.row([
            show::date(duty.due_on),
            duty.component_name.clone(),
            duty.title.clone(),
            show::window(duty.window.as_ref()),
            show::accumulated_over_limit(duty.accumulated.as_ref(), duty.limit.as_ref(), app.units),
            show::decided_by(duty.decided_by),
            show::percent(duty.chance_past_limit.map(|chance| chance.today)),
            show::percent(duty.chance_past_limit.map(|chance| chance.in_30_days)),
        ]);
    }
    Ok(table.write(app.io.out)?)
}

/// How many of the latest findings to show. Twenty older ones of a screen would hide what the limit is now.
const LESSONS: usize = 5;

/// Prints what one finding taught.
fn taught(app: &mut App<'_>, lesson: &Lesson, limit: &Limit) -> Result<(), Failure> {
    // Write the unit only once, at the end.
    let figure = |value| show::number(show::quantity(value, &limit.unit, app.units).value);
    let mut line = format!(
        "  - Visit of {}: found {} after {}; the limit went from {} to {}.",
        lesson.visited_on,
        show::finding(&lesson.finding, app.units),
        figure(lesson.accumulated_value),
        figure(lesson.limit_before),
        show::measure_of(lesson.limit_after, &limit.unit, &limit.of, app.units)
    );
    if let Some(remark) = &lesson.remark {
        line.push(' ');
        line.push_str(&show::reason(remark, app.units));
    }
    app.line(line)
}

fn explain(app: &mut App<'_>, duty: &DutyForecast) -> Result<(), Failure> {
    app.line("")?;
    app.line(format!("{}: {} (since {})", duty.component_name, duty.title, duty.since))?;
    for reason in &duty.reasons {
        app.line(format!("  - {}", show::reason(reason, app.units)))?;
    }
    if let Some(accumulated) = &duty.accumulated {
        let stood = |value| show::measure_of(value, &accumulated.unit, &accumulated.of, app.units);
        let days = |number: u32| show::counted(number, "day", "days");
        let mut parts = Vec::new();
        if accumulated.days_read > 0 {
            let (amount, days) = (stood(accumulated.from_readings), days(accumulated.days_read));
            parts.push(format!("{amount} on {days} with a reading"));
        }
        if accumulated.days_unread > 0 {
            let (amount, days) = (stood(accumulated.from_climate), days(accumulated.days_unread));
            parts.push(format!("{amount} expected on {days} without a reading"));
        }
        if parts.is_empty() {
            parts.push(stood(accumulated.value));
        }
        app.line(format!("  - Accumulated: {}.", parts.join(", ")))?;
    }
    if let Some(limit) = &duty.limit {
        // Most sources that are judgement already say so.
        let kind = match limit.judgement {
            true if limit.source.starts_with("judgement") => "",
            true => " (judgement)",
            false => " (published)",
        };
        let basis = match limit.findings {
            0 => "no findings yet".to_owned(),
            findings => format!("based on {}", show::counted(findings, "finding", "findings")),
        };
        app.line(format!("  - Limit: {basis}; starting value{kind}: {}", limit.source))?;
        let earlier = duty.lessons.len().saturating_sub(LESSONS);
        if earlier > 0 {
            app.line(format!(
                "  - {} not shown; --json lists every finding.",
                show::counted(earlier as u32, "earlier finding is", "earlier findings are")
            ))?;
        }
        for lesson in &duty.lessons[earlier..] {
            taught(app, lesson, limit)?;
        }
    }
    if let Some(next) = &duty.next_finding {
        app.line(format!(
            "  - If you look today, the range of the limit will likely shrink to {} of its width.",
            show::percent(Some(next.range_ratio))
        ))?;
    }
    if let (Some(day), source) =
        (duty.longest_interval_on, duty.longest_interval_source.as_deref().unwrap_or("no source given"))
    {
        app.line(format!("  - Longest interval: until {day} ({source})."))?;
    }
    for (hazard, texts) in show::by_hazard(&duty.cautions) {
        app.line(format!("  - Careful, {}: {}", show::words(&hazard), texts.join(" ")))?;
    }
    Ok(())
}
