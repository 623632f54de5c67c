//! `eavesward duty`: the figures that decide when duties fall due.

use crate::app::App;
use crate::failure::Failure;
use crate::table::Table;
use crate::{parse, show};
use clap::Subcommand;
use eavesward_client::DutyQuery;
use eavesward_client::contract::{self, DutySettings, DutySettingsRequest};

/// Subcommands for duties.
#[derive(Subcommand)]
pub enum Duty {
    /// List every duty with its longest interval, the chance at which it falls due, and its notice. A star marks
    /// the account's own figures
    List {
        /// Show where each figure comes from
        #[arg(long)]
        explain: bool,
    },
    /// Set the account's own figures for a duty, for all systems of the account; figures that you do not give stay
    Set {
        /// The duty, such as clean-screen
        #[arg(value_parser = parse::duty)]
        duty: contract::Duty,
        /// Longest interval in months since it was last done, 1 to 240
        #[arg(long, value_name = "MONTHS", required_unless_present_any = ["tolerance", "lead_days", "move_days"])]
        longest_interval_months: Option<u32>,
        /// It falls due when the chance of being past the limit reaches this: 0.01 to 0.99, or 1% to 99%
        #[arg(long, value_name = "CHANCE", value_parser = parse::share)]
        tolerance: Option<f64>,
        /// Notice: how many days before the due date the reminder is sent, 0 to 365
        #[arg(long, value_name = "DAYS", value_parser = parse::days)]
        lead_days: Option<u32>,
        /// How many days a reported date must move to be reported again, 1 to 365
        #[arg(long, value_name = "DAYS", value_parser = parse::days)]
        move_days: Option<u32>,
    },
    /// Go back to all defaults of a duty, or only to those that you name
    Reset {
        /// The duty, such as clean-screen
        #[arg(value_parser = parse::duty)]
        duty: contract::Duty,
        /// The longest interval
        #[arg(long)]
        longest_interval: bool,
        /// The chance at which it falls due
        #[arg(long)]
        tolerance: bool,
        /// The notice
        #[arg(long)]
        lead_days: bool,
        /// The days by which a date must move to be reported again
        #[arg(long)]
        move_days: bool,
    },
}

impl Duty {
    /// Runs the subcommand.
    pub async fn run(self, app: &mut App<'_>) -> Result<(), Failure> {
        match self {
            Self::List { explain } => list(app, explain).await,
            Self::Set { duty, longest_interval_months, tolerance, lead_days, move_days } => {
                change(app, duty, |known| {
                    DutySettingsRequest::new()
                        .longest_interval_months(longest_interval_months.or(known.longest_interval_months))
                        .tolerance(tolerance.or(known.tolerance))
                        .lead_days(lead_days.or(known.lead_days))
                        .move_days(move_days.or(known.move_days))
                })
                .await
            }
            Self::Reset { duty, longest_interval, tolerance, lead_days, move_days } => {
                let all = !(longest_interval || tolerance || lead_days || move_days);
                let kept = |named: bool| !all && !named;
                change(app, duty, |known| {
                    DutySettingsRequest::new()
                        .longest_interval_months(
                            known.longest_interval_months.filter(|_| kept(longest_interval)),
                        )
                        .tolerance(known.tolerance.filter(|_| kept(tolerance)))
                        .lead_days(known.lead_days.filter(|_| kept(lead_days)))
                        .move_days(known.move_days.filter(|_| kept(move_days)))
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
    let known = app.client.duties().get(&duty).await?;
    let now = app.client.duties().set(&duty, known.version, &to(&known)).await?;
    let text = format!(
        "{}: max. interval {}, due at a chance of {}, notice {}.",
        show::words(&now.duty),
        longest(&now),
        chance(&now),
        lead(&now)
    );
    app.say(&now, text)
}

/// The longest interval of a duty; a star marks the account's own.
fn longest(duty: &DutySettings) -> String {
    let months = |months: u32| show::counted(months, "month", "months");
    match (duty.longest_interval_months, &duty.default_longest_interval) {
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

/// The notice of a duty's reminder; a star marks the account's own.
fn lead(duty: &DutySettings) -> String {
    let star = if duty.lead_days.is_some() { "*" } else { "" };
    match duty.lead_days.unwrap_or(duty.default_lead_days) {
        0 => format!("on the day{star}"),
        days => format!("{}{star}", show::counted(days, "day", "days")),
    }
}

async fn list(app: &mut App<'_>, explain: bool) -> Result<(), Failure> {
    let duties = app.client.duties().list(&DutyQuery::default()).all().await?;
    if app.json {
        return app.print_json(&duties);
    }
    let mut table = Table::new(["duty", "max. interval", "due at chance", "notice", "what to do"]);
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
        match (&duty.longest_interval_months, &duty.default_longest_interval) {
            (Some(_), _) => app.line("  - Max. interval: the account's own figure")?,
            (None, Some(default)) => app.line(format!("  - Max. interval: {}", default.source))?,
            (None, None) => {}
        }
        match (&duty.tolerance, &duty.default_tolerance) {
            (Some(_), _) => app.line("  - Due at chance: the account's own figure")?,
            (None, Some(default)) => app.line(format!("  - Due at chance: {}", default.source))?,
            (None, None) => app.line("  - Due at chance: none, because no limit predicts the date.")?,
        }
    }
    Ok(())
}
