//! `eavesward duty`: what falls due when, and the account's own figures.

use crate::app::App;
use crate::failure::Failure;
use crate::table::Table;
use crate::{parse, show};
use clap::Subcommand;
use eavesward_client::contract::{self, DutySettings, DutySettingsRequest};

/// What to do with duties.
#[derive(Subcommand)]
pub enum Duty {
    /// List every duty with the longest time to leave it and the chance of being past the limit at which it falls due;
    /// the account's own figures have a star
    List {
        /// Say where each figure comes from
        #[arg(long)]
        explain: bool,
    },
    /// Set the account's own figures for a duty, for all of its systems; what is not given stays as it is
    Set {
        /// The duty, such as clean-screen
        #[arg(value_parser = parse::duty)]
        duty: contract::Duty,
        /// Longest time to leave it, in months since it was last done, 1 to 240
        #[arg(long, value_name = "MONTHS", required_unless_present_any = ["tolerance", "lead_days", "move_days"])]
        ceiling_months: Option<u32>,
        /// Chance of being past the limit at which it falls due: 0.01 to 0.99, or 1% to 99%
        #[arg(long, value_name = "CHANCE", value_parser = parse::share)]
        tolerance: Option<f64>,
        /// Days before the due date from which reminders tell of it, 0 to 365
        #[arg(long, value_name = "DAYS", value_parser = parse::days)]
        lead_days: Option<u32>,
        /// Days by which a date that was told has to move to be told of again, 1 to 365
        #[arg(long, value_name = "DAYS", value_parser = parse::days)]
        move_days: Option<u32>,
    },
    /// Go back to the defaults of a duty: all of them, or those that are named
    Reset {
        /// The duty, such as clean-screen
        #[arg(value_parser = parse::duty)]
        duty: contract::Duty,
        /// The ceiling
        #[arg(long)]
        ceiling: bool,
        /// The tolerance
        #[arg(long)]
        tolerance: bool,
        /// The lead time
        #[arg(long)]
        lead_days: bool,
        /// The days of a move
        #[arg(long)]
        move_days: bool,
    },
}

impl Duty {
    /// Does it.
    pub async fn run(self, app: &mut App<'_>) -> Result<(), Failure> {
        match self {
            Self::List { explain } => list(app, explain).await,
            Self::Set { duty, ceiling_months, tolerance, lead_days, move_days } => {
                change(app, duty, |known| DutySettingsRequest {
                    ceiling_months: ceiling_months.or(known.ceiling_months),
                    tolerance: tolerance.or(known.tolerance),
                    lead_days: lead_days.or(known.lead_days),
                    move_days: move_days.or(known.move_days),
                })
                .await
            }
            Self::Reset { duty, ceiling, tolerance, lead_days, move_days } => {
                let all = !(ceiling || tolerance || lead_days || move_days);
                change(app, duty, |known| DutySettingsRequest {
                    ceiling_months: known.ceiling_months.filter(|_| !all && !ceiling),
                    tolerance: known.tolerance.filter(|_| !all && !tolerance),
                    lead_days: known.lead_days.filter(|_| !all && !lead_days),
                    move_days: known.move_days.filter(|_| !all && !move_days),
                })
                .await
            }
        }
    }
}

async fn change(
    app: &mut App<'_>,
    duty: contract::Duty,
    to: impl FnOnce(&DutySettings) -> DutySettingsRequest,
) -> Result<(), Failure> {
    let known = app.client.duties().get(duty).await?;
    let now = app.client.duties().set(duty, known.version, &to(&known)).await?;
    let text = format!(
        "{}: longest {}, falls due at {}, told {}.",
        show::words(&now.duty),
        longest(&now),
        chance(&now),
        lead(&now)
    );
    app.say(&now, text)
}

/// The longest time to leave a duty; a star marks the account's own.
fn longest(duty: &DutySettings) -> String {
    let months = |months: u32| if months == 1 { "1 month".to_owned() } else { format!("{months} months") };
    match (duty.ceiling_months, &duty.default_ceiling) {
        (Some(own), _) => format!("{}*", months(own)),
        (None, Some(default)) => months(default.months),
        (None, None) => "-".to_owned(),
    }
}

/// The chance at which a duty falls due; a star marks the account's own.
fn chance(duty: &DutySettings) -> String {
    let percent = |chance: f64| format!("{} %", show::number(chance * 100.0));
    match (duty.tolerance, &duty.default_tolerance) {
        (Some(own), _) => format!("{}*", percent(own)),
        (None, Some(default)) => percent(default.chance),
        (None, None) => "-".to_owned(),
    }
}

/// How long ahead a duty is told of; a star marks the account's own.
fn lead(duty: &DutySettings) -> String {
    let star = if duty.lead_days.is_some() { "*" } else { "" };
    match duty.lead_days.unwrap_or(duty.default_lead_days) {
        0 => format!("on the day{star}"),
        1 => format!("1 day{star} ahead"),
        days => format!("{days} days{star} ahead"),
    }
}

async fn list(app: &mut App<'_>, explain: bool) -> Result<(), Failure> {
    let duties = app.client.duties().list().all().await?;
    if app.json {
        return app.print_json(&duties);
    }
    let mut table = Table::new(["duty", "longest", "falls due at", "told", "what to do"]);
    for duty in &duties {
        table.row([show::words(&duty.duty), longest(duty), chance(duty), lead(duty), duty.title.clone()]);
    }
    table.write(app.io.out)?;
    if !explain {
        return Ok(());
    }
    for duty in &duties {
        app.line("")?;
        app.line(show::words(&duty.duty))?;
        match (&duty.ceiling_months, &duty.default_ceiling) {
            (Some(_), _) => app.line("  - Longest: the account's own figure")?,
            (None, Some(default)) => app.line(format!("  - Longest: {}", default.source))?,
            (None, None) => {}
        }
        match (&duty.tolerance, &duty.default_tolerance) {
            (Some(_), _) => app.line("  - Falls due at: the account's own figure")?,
            (None, Some(default)) => app.line(format!("  - Falls due at: {}", default.why))?,
            (None, None) => app.line("  - No date is predicted from a limit.")?,
        }
    }
    Ok(())
}
