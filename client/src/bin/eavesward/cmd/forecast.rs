//! `eavesward forecast`: one system explained in full.

use crate::app::App;
use crate::failure::Failure;
use crate::show;
use crate::table::Table;
use chrono::NaiveDate;
use clap::Args;
use eavesward_client::contract::{DutyForecast, ForecastRequest, Lesson, SystemForecast};
use std::path::PathBuf;

/// Of which system and for which day.
#[derive(Args)]
pub struct Forecast {
    /// A registered system
    #[arg(required_unless_present = "file", conflicts_with = "file")]
    system: Option<String>,
    /// A forecast request as JSON for a system that nobody has registered; - is standard input
    #[arg(long, value_name = "FILE")]
    file: Option<PathBuf>,
    /// The day the forecast is made for; nothing later is used
    #[arg(long, value_name = "DATE", conflicts_with = "file")]
    as_of: Option<NaiveDate>,
    /// Say why, duty by duty
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
                app.client.systems().forecast(id, self.as_of).await?
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
            app.line(format!("To know more: {advice}"))?;
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
        "past it today",
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

/// The latest findings, which say where the limit stands now; a screen's twenty of before would hide them.
const LESSONS: usize = 5;

/// What one finding taught.
fn taught(app: &mut App<'_>, lesson: &Lesson, unit: &str) -> Result<(), Failure> {
    // The unit once, at the end.
    let figure = |value| show::number(show::quantity(value, unit, app.units).value);
    let mut line = format!(
        "  - Visit of {}: found {} after {}; the limit went from {} to {}.",
        lesson.visited_on,
        show::finding(lesson.finding, app.units),
        figure(lesson.accumulated),
        figure(lesson.limit_before),
        show::measure(lesson.limit_after, unit, app.units)
    );
    if let Some(remark) = &lesson.remark {
        line.push(' ');
        line.push_str(remark);
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
        let stood = |value| show::measure(value, &accumulated.unit, app.units);
        let line = format!(
            "  - Accumulated: {} on {} with a reading, {} expected on {} without.",
            stood(accumulated.from_readings),
            show::counted(accumulated.days_read, "day", "days"),
            stood(accumulated.from_climate),
            show::counted(accumulated.days_unread, "day", "days")
        );
        app.line(line)?;
    }
    if let Some(limit) = &duty.limit {
        // Most sources that are judgement say so themselves.
        let kind = match limit.judgement {
            true if limit.source.starts_with("judgement") => "",
            true => " (judgement)",
            false => " (published)",
        };
        app.line(format!(
            "  - Limit: based on {}; prior{kind}: {}",
            show::counted(limit.findings, "finding", "findings"),
            limit.source
        ))?;
        let earlier = duty.lessons.len().saturating_sub(LESSONS);
        if earlier > 0 {
            app.line(format!(
                "  - {} not shown; --json lists every finding.",
                show::counted(earlier as u32, "earlier finding is", "earlier findings are")
            ))?;
        }
        for lesson in &duty.lessons[earlier..] {
            taught(app, lesson, &limit.unit)?;
        }
    }
    if let Some(next) = &duty.next_finding {
        app.line(format!(
            "  - A look today would likely narrow the range of the limit to {} of its width.",
            show::percent(Some(next.range_ratio))
        ))?;
    }
    if let (Some(day), source) =
        (duty.ceiling_on, duty.ceiling_source.as_deref().unwrap_or("no source given"))
    {
        app.line(format!("  - Longest time to leave it: until {day} ({source})."))?;
    }
    for (hazard, texts) in show::by_hazard(&duty.cautions) {
        app.line(format!("  - Careful, {}: {}", show::words(&hazard), texts.join(" ")))?;
    }
    Ok(())
}
