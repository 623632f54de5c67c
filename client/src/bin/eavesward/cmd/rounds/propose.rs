//! `eavesward rounds propose`: asks for a plan, and keeps the rounds that `--keep` names.

use super::print::kept_line;
use super::show_plan;
use crate::app::App;
use crate::failure::Failure;
use crate::show;
use chrono::{NaiveDate, Weekday};
use clap::Args;
use eavesward_client::RoundQuery;
use eavesward_client::contract::{ProposedRound, RoundProposal, RoundRequest};

/// Which tasks to group, and the costs. Costs may be in any unit, because only their ratios count.
#[derive(Args)]
pub struct Propose {
    /// The first day; today by default
    #[arg(long, value_name = "DATE")]
    from: Option<NaiveDate>,
    /// The last day; four weeks in all by default
    #[arg(long, value_name = "DATE")]
    to: Option<NaiveDate>,
    /// Only at this property
    #[arg(long, value_name = "PROPERTY")]
    property: Option<String>,
    /// Only of this system
    #[arg(long, value_name = "SYSTEM")]
    system: Option<String>,
    /// Days of the week without work, such as sat,sun
    #[arg(long, value_name = "DAYS", value_delimiter = ',', value_parser = weekday)]
    off: Vec<Weekday>,
    /// Dates without work, separated by commas
    #[arg(long, value_name = "DATES", value_delimiter = ',')]
    off_date: Vec<NaiveDate>,
    /// The cost of a trip
    #[arg(long, value_name = "COST")]
    trip_cost: Option<f64>,
    /// The cost of each property of a trip after the first
    #[arg(long, value_name = "COST")]
    stop_cost: Option<f64>,
    /// The cost of doing a task one day early
    #[arg(long, value_name = "COST")]
    early_cost: Option<f64>,
    /// The cost of doing a task one day late
    #[arg(long, value_name = "COST")]
    late_cost: Option<f64>,
    /// The most minutes of work on one trip
    #[arg(long, value_name = "MINUTES")]
    most_minutes: Option<u32>,
    /// Let properties share a trip if they are at most this many km apart
    #[arg(long, value_name = "KM")]
    near_km: Option<f64>,
    /// Include tasks that are already in planned rounds
    #[arg(long)]
    include_planned: bool,
    /// Keep these proposed rounds, by number. Name all that you want in one call: the numbers change once one is
    /// kept
    #[arg(long, value_name = "NUMBERS", value_delimiter = ',')]
    keep: Vec<usize>,
}

fn weekday(text: &str) -> Result<Weekday, String> {
    text.trim().parse().map_err(|_| format!("{text:?} is not one of mon, tue, wed, thu, fri, sat, sun"))
}

impl Propose {
    /// Asks for the plan, prints it, and keeps the chosen rounds.
    pub async fn run(&self, app: &mut App<'_>) -> Result<(), Failure> {
        let mut query =
            RoundQuery::builder().off_weekdays(self.off.clone()).off_dates(self.off_date.clone()).build();
        if let Some(given) = &self.property {
            query.property_id = Some(app.property_id(given).await?);
        }
        if let Some(given) = &self.system {
            query.system_id = Some(app.system_id(given).await?);
        }
        (query.from, query.to, query.include_planned) = (self.from, self.to, self.include_planned);
        (query.trip_cost, query.stop_cost) = (self.trip_cost, self.stop_cost);
        (query.cost_per_day_early, query.cost_per_day_late) = (self.early_cost, self.late_cost);
        (query.most_minutes, query.nearby_km) = (self.most_minutes, self.near_km);
        let proposal = app.client.rounds().propose(&query).await?;
        let chosen = self.chosen(&proposal)?;
        if !app.json {
            show_plan::print(app, &proposal)?;
        } else if chosen.is_empty() {
            return app.print_json(&proposal);
        }
        if chosen.is_empty() {
            return self.say_how_to_keep(app, proposal.rounds.len());
        }
        let mut kept = Vec::new();
        for round in chosen {
            let task_ids: Vec<_> = round.tasks.iter().map(|task| task.task_id).collect();
            let request = RoundRequest::new(round.on, task_ids);
            match app.client.rounds().keep(&request).await {
                Ok(round) if app.json => kept.push(round),
                Ok(round) => app.line(kept_line(&round))?,
                Err(error) => {
                    // Print the rounds that are kept before the error.
                    if app.json {
                        app.print_json(&kept)?;
                    }
                    return Err(error.into());
                }
            }
        }
        if app.json { app.print_json(&kept) } else { Ok(()) }
    }

    /// Prints the same call with `--keep` and the numbers of all proposed rounds.
    fn say_how_to_keep(&self, app: &mut App<'_>, rounds: usize) -> Result<(), Failure> {
        if rounds == 0 {
            return Ok(());
        }
        let numbers: Vec<String> = (1..=rounds).map(|number| number.to_string()).collect();
        app.line("")?;
        app.line(
            "To keep rounds, name all that you want in one call, because the numbers change once one is kept",
        )?;
        app.line(format!("  eavesward rounds propose{} --keep {}", self.flags(), numbers.join(",")))
    }

    /// The options of this call, quoted for a shell.
    fn flags(&self) -> String {
        let mut flags = String::new();
        let mut put = |name: &str, value: Option<String>| {
            if let Some(value) = value {
                flags.extend([" --", name, " ", &show::quoted(&value)]);
            }
        };
        let joined = |all: Vec<String>| (!all.is_empty()).then(|| all.join(","));
        put("from", self.from.map(|day| day.to_string()));
        put("to", self.to.map(|day| day.to_string()));
        put("property", self.property.clone());
        put("system", self.system.clone());
        put("off", joined(self.off.iter().map(|day| day.to_string().to_lowercase()).collect()));
        put("off-date", joined(self.off_date.iter().map(ToString::to_string).collect()));
        for (name, figure) in [
            ("trip-cost", self.trip_cost),
            ("stop-cost", self.stop_cost),
            ("early-cost", self.early_cost),
            ("late-cost", self.late_cost),
            ("near-km", self.near_km),
        ] {
            put(name, figure.map(|figure| figure.to_string()));
        }
        put("most-minutes", self.most_minutes.map(|minutes| minutes.to_string()));
        if self.include_planned {
            flags.push_str(" --include-planned");
        }
        flags
    }

    /// The rounds that `--keep` names.
    fn chosen<'a>(&self, proposal: &'a RoundProposal) -> Result<Vec<&'a ProposedRound>, Failure> {
        let mut chosen = Vec::new();
        for (index, number) in self.keep.iter().enumerate() {
            if self.keep[..index].contains(number) {
                return Err(Failure::usage(format!("--keep names round {number} twice")));
            }
            let round = number.checked_sub(1).and_then(|number| proposal.rounds.get(number));
            let told = || {
                format!(
                    "there is no round {number} to keep; the number of proposed rounds is {}",
                    proposal.rounds.len()
                )
            };
            chosen.push(round.ok_or_else(|| Failure::usage(told()))?);
        }
        Ok(chosen)
    }
}
