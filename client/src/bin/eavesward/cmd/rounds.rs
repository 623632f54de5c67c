//! `eavesward rounds`: tasks put together into trips, kept, and done.

use crate::app::App;
use crate::cmd::round_done::Done;
use crate::failure::Failure;
use crate::show;
use crate::table::Table;
use chrono::{NaiveDate, Weekday};
use clap::{Args, Subcommand};
use eavesward_client::contract::{
    Caution, ProposedRound, Round, RoundProposal, RoundRequest, RoundState, RoundTask,
};
use eavesward_client::{KeptRoundQuery, RoundQuery};
use uuid::Uuid;

/// What to do with rounds.
#[derive(Subcommand)]
pub enum Rounds {
    /// Put what falls due together into few trips; nothing is kept unless --keep says so
    Propose(Box<Propose>),
    /// Keep a round of your own as planned
    Keep {
        /// The day
        #[arg(long, value_name = "DATE")]
        on: NaiveDate,
        /// The tasks by id, as `due --json` and `rounds propose --json` show them
        #[arg(required = true, value_name = "TASK")]
        tasks: Vec<Uuid>,
        /// Anything worth keeping
        #[arg(long, value_name = "TEXT")]
        note: Option<String>,
    },
    /// List the rounds that are planned
    List {
        /// Those that were done too
        #[arg(long)]
        all: bool,
        /// Planned for this day or later
        #[arg(long, value_name = "DATE")]
        from: Option<NaiveDate>,
        /// Planned for this day or earlier
        #[arg(long, value_name = "DATE")]
        to: Option<NaiveDate>,
    },
    /// Show a kept round: what to do, what to bring, what to be careful of
    Show {
        /// The round's id
        id: Uuid,
    },
    /// Call a planned round off; its tasks are proposed again
    CallOff {
        /// The round's id
        id: Uuid,
    },
    /// Report a round as done: one visit a system is logged
    Done(Done),
}

/// What to put together, and what things cost, in any unit: only the ratios count.
#[derive(Args)]
pub struct Propose {
    /// The first day; today if not given
    #[arg(long, value_name = "DATE")]
    from: Option<NaiveDate>,
    /// The last day; four weeks in all if not given
    #[arg(long, value_name = "DATE")]
    to: Option<NaiveDate>,
    /// Only at this property
    #[arg(long, value_name = "PROPERTY")]
    property: Option<String>,
    /// Only of this system
    #[arg(long, value_name = "SYSTEM")]
    system: Option<String>,
    /// Days of the week on which nobody works, such as sat,sun
    #[arg(long, value_name = "DAYS", value_delimiter = ',', value_parser = weekday)]
    off: Vec<Weekday>,
    /// Dates on which nobody works, set apart by commas
    #[arg(long, value_name = "DATES", value_delimiter = ',')]
    off_date: Vec<NaiveDate>,
    /// What a trip costs
    #[arg(long, value_name = "COST")]
    trip_cost: Option<f64>,
    /// What each property of a trip beyond the first costs
    #[arg(long, value_name = "COST")]
    stop_cost: Option<f64>,
    /// What a day early costs
    #[arg(long, value_name = "COST")]
    early_cost: Option<f64>,
    /// What a day late costs
    #[arg(long, value_name = "COST")]
    late_cost: Option<f64>,
    /// The most minutes of work of a trip
    #[arg(long, value_name = "MINUTES")]
    most_minutes: Option<u32>,
    /// Let properties within so many km of each other share a trip
    #[arg(long, value_name = "KM")]
    near_km: Option<f64>,
    /// Put tasks of rounds that are planned already into rounds as well
    #[arg(long)]
    include_planned: bool,
    /// Keep these of the rounds that come out, by their number: all of them in one call, for the next plan is without what
    /// is kept and counts anew
    #[arg(long, value_name = "NUMBERS", value_delimiter = ',')]
    keep: Vec<usize>,
}

fn weekday(text: &str) -> Result<Weekday, String> {
    text.trim().parse().map_err(|_| format!("{text:?} is not one of mon, tue, wed, thu, fri, sat, sun"))
}

impl Rounds {
    /// Does it.
    pub async fn run(self, app: &mut App<'_>) -> Result<(), Failure> {
        match self {
            Self::Propose(asked) => asked.run(app).await,
            Self::Keep { on, tasks, note } => {
                let round = app.client.rounds().keep(&RoundRequest { on, task_ids: tasks, note }).await?;
                let text = kept_line(&round);
                app.say(&round, text)
            }
            Self::List { all, from, to } => {
                let mut query = KeptRoundQuery::builder().build();
                (query.from, query.to) = (from, to);
                query.state = (!all).then_some(RoundState::Planned);
                let rounds = app.client.rounds().list(&query).all().await?;
                list(app, &rounds)
            }
            Self::Show { id } => {
                let round = app.client.rounds().get(id).await?;
                if app.json { app.print_json(&round) } else { show_round(app, &round) }
            }
            Self::CallOff { id } => {
                let round = app.client.rounds().get(id).await?;
                app.client.rounds().call_off(id, round.version).await?;
                app.done(format!("Round {id} is called off; its tasks are proposed again."))
            }
            Self::Done(done) => done.run(app).await,
        }
    }
}

impl Propose {
    async fn run(&self, app: &mut App<'_>) -> Result<(), Failure> {
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
            print(app, &proposal)?;
        } else if chosen.is_empty() {
            return app.print_json(&proposal);
        }
        if chosen.is_empty() {
            return self.say_how_to_keep(app, proposal.rounds.len());
        }
        let mut kept = Vec::new();
        for round in chosen {
            let task_ids = round.tasks.iter().map(|task| task.task_id).collect();
            let request = RoundRequest { on: round.on, task_ids, note: None };
            match app.client.rounds().keep(&request).await {
                Ok(round) if app.json => kept.push(round),
                Ok(round) => app.line(kept_line(&round))?,
                Err(error) => {
                    // What is kept already is said before what went wrong.
                    if app.json {
                        app.print_json(&kept)?;
                    }
                    return Err(error.into());
                }
            }
        }
        if app.json { app.print_json(&kept) } else { Ok(()) }
    }

    /// The same call again, with the numbers of all rounds that came out.
    fn say_how_to_keep(&self, app: &mut App<'_>, rounds: usize) -> Result<(), Failure> {
        if rounds == 0 {
            return Ok(());
        }
        let numbers: Vec<String> = (1..=rounds).map(|number| number.to_string()).collect();
        app.line("")?;
        app.line(
            "To keep them, all in one call since the next plan counts anew; leave out what you do not mean",
        )?;
        app.line(format!("  eavesward rounds propose{} --keep {}", self.flags(), numbers.join(",")))
    }

    /// What was asked for, as it is typed.
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

    /// The rounds to be kept.
    fn chosen<'a>(&self, proposal: &'a RoundProposal) -> Result<Vec<&'a ProposedRound>, Failure> {
        let mut chosen = Vec::new();
        for (index, number) in self.keep.iter().enumerate() {
            if self.keep[..index].contains(number) {
                return Err(Failure::usage(format!("--keep names round {number} twice")));
            }
            let round = number.checked_sub(1).and_then(|number| proposal.rounds.get(number));
            let told = || format!("there is no round {number} to keep; {} came out", proposal.rounds.len());
            chosen.push(round.ok_or_else(|| Failure::usage(told()))?);
        }
        Ok(chosen)
    }
}

fn kept_line(round: &Round) -> String {
    let tasks =
        if round.tasks.len() == 1 { "1 task".to_owned() } else { format!("{} tasks", round.tasks.len()) };
    format!("Kept round {} for {} with {tasks}.", round.id, round.on)
}

fn print(app: &mut App<'_>, proposal: &RoundProposal) -> Result<(), Failure> {
    if proposal.rounds.is_empty() && proposal.unplaced.is_empty() {
        app.line(format!("Nothing falls due up to {}, so there is no trip to make.", proposal.to))?;
        return planned(app, proposal);
    }
    for (index, round) in proposal.rounds.iter().enumerate() {
        let properties =
            if round.properties == 1 { String::new() } else { format!(", {} properties", round.properties) };
        app.line(format!("Round {} on {}: {} minutes{properties}", index + 1, round.on, round.minutes))?;
        tasks(app, &round.tasks, proposal.from)?;
        round.reasons.iter().try_for_each(|reason| app.line(format!("  {reason}")))?;
        bring(app, "  ", &round.bring)?;
        if !round.may_join.is_empty() {
            app.line("  Falls due later and may be done already:")?;
            tasks(app, &round.may_join, proposal.from)?;
        }
        app.line("")?;
    }
    if !proposal.unplaced.is_empty() {
        app.line("Without a day")?;
        for task in &proposal.unplaced {
            let (name, duty) = (&task.component_name, show::words(&task.duty));
            app.line(format!(
                "  - {}, {}, {name}, {duty}: {}",
                task.property_name, task.system_name, task.because
            ))?;
        }
        app.line("")?;
    }
    cautions(app, proposal.rounds.iter().flat_map(|round| &round.cautions))?;
    costs(app, proposal)?;
    planned(app, proposal)
}

fn bring(app: &mut App<'_>, indent: &str, things: &[String]) -> Result<(), Failure> {
    if things.is_empty() { Ok(()) } else { app.line(format!("{indent}Bring {}.", things.join(", "))) }
}

/// `from` is the first day of the plan: what fell due before is to be done first, whatever is late or not from then on.
fn tasks(app: &mut App<'_>, tasks: &[RoundTask], from: NaiveDate) -> Result<(), Failure> {
    let mut table = Table::new(["due", "early / late", "property", "system", "component", "what to do"]);
    for task in tasks {
        let off = match (task.days_early, task.days_late) {
            (0, 0) => "on the day".to_owned(),
            (0, late) => format!("{late} d late"),
            (early, _) => format!("{early} d early"),
        };
        let off = match task.due_on.filter(|due| *due < from) {
            Some(since) => format!("due since {since}"),
            None => off,
        };
        table.row([
            show::date(task.due_on),
            off,
            task.property_name.clone(),
            task.system_name.clone(),
            task.component_name.clone(),
            task.title.clone(),
        ]);
    }
    Ok(table.write(app.io.out)?)
}

/// What it costs, and how near that is to the least that it can cost.
fn costs(app: &mut App<'_>, proposal: &RoundProposal) -> Result<(), Failure> {
    let parts = proposal.costs;
    let trips = show::number(parts.trips);
    let (stops, early, late) =
        (show::number(parts.stops), show::number(parts.early), show::number(parts.late));
    app.line(format!(
        "Cost {}: trips {trips}, further properties {stops}, days early {early}, days late {late}.",
        show::number(proposal.cost)
    ))?;
    app.line(if proposal.proven {
        "No plan costs less.".to_owned()
    } else {
        format!("No plan can cost less than {}.", show::number(proposal.lower_bound))
    })?;
    if !proposal.figures.judgement.is_empty() {
        let left: Vec<String> =
            proposal.figures.judgement.iter().map(|name| name.replace('_', " ")).collect();
        app.line(format!("Judgement, unless you say otherwise: {}.", left.join(", ")))?;
    }
    Ok(())
}

fn planned(app: &mut App<'_>, proposal: &RoundProposal) -> Result<(), Failure> {
    for round in &proposal.overdue_rounds {
        let (id, on) = (round.id, round.on);
        let tasks = if round.tasks == 1 { "1 task".to_owned() } else { format!("{} tasks", round.tasks) };
        app.line(format!(
            "Round {id} was planned for {on}, and nobody has closed it; its {tasks} are proposed again. Report it with \
             `eavesward rounds done {id}`, or call it off with `eavesward rounds call-off {id}`."
        ))?;
    }
    if proposal.already_planned > 0 {
        let number = proposal.already_planned;
        app.line(format!("{number} more stand in planned rounds: `eavesward rounds list` shows them."))?;
    }
    if proposal.more_may_join {
        app.line("More tasks may join than were looked at; narrow it down with --property or --system.")?;
    }
    Ok(())
}

fn cautions<'a>(app: &mut App<'_>, all: impl IntoIterator<Item = &'a Caution>) -> Result<(), Failure> {
    let hazards = show::by_hazard(all);
    if hazards.is_empty() {
        return Ok(());
    }
    app.line("Be careful")?;
    for (hazard, texts) in hazards {
        app.line(format!("  - {}: {}", show::words(&hazard), texts.join(" ")))?;
    }
    app.line("")
}

fn list(app: &mut App<'_>, rounds: &[Round]) -> Result<(), Failure> {
    if app.json {
        return app.print_json(&rounds);
    }
    if rounds.is_empty() {
        return app
            .line("No rounds there. `eavesward rounds propose --keep 1` keeps the first that comes out.");
    }
    let mut table = Table::new(["round", "on", "state", "tasks", "minutes", "properties", "note"]);
    for round in rounds {
        let mut places: Vec<&str> = round.tasks.iter().map(|task| task.property_name.as_str()).collect();
        places.dedup();
        table.row([
            round.id.to_string(),
            round.on.to_string(),
            show::words(&round.state),
            round.tasks.iter().filter(|task| !task.done_elsewhere).count().to_string(),
            round.minutes.to_string(),
            places.join(", "),
            round.note.clone().unwrap_or_default(),
        ]);
    }
    Ok(table.write(app.io.out)?)
}

/// Shows a kept round in full.
pub fn show_round(app: &mut App<'_>, round: &Round) -> Result<(), Failure> {
    app.line(format!(
        "Round {} on {}, {}: {} minutes",
        round.id,
        round.on,
        show::words(&round.state),
        round.minutes
    ))?;
    if let Some(note) = &round.note {
        app.line(format!("Note: {note}"))?;
    }
    let mut table = Table::new(["due", "property", "system", "component", "what to do", "what became of it"]);
    for task in &round.tasks {
        let became = match (&task.visit_id, &task.skipped_because) {
            (Some(visit), _) if task.done_elsewhere => format!("done before, visit {visit}"),
            (Some(visit), _) => format!("visit {visit}"),
            (None, Some(because)) => format!("skipped: {because}"),
            (None, None) => if task.skipped { "skipped" } else { "-" }.to_owned(),
        };
        table.row([
            show::date(task.due_on),
            task.property_name.clone(),
            task.system_name.clone(),
            task.component_name.clone(),
            task.title.clone(),
            became,
        ]);
    }
    table.write(app.io.out)?;
    if round.done_on.is_some() {
        return Ok(());
    }
    if round.tasks.iter().all(|task| task.done_elsewhere) {
        app.line("Other visits did all of it. Call it off")?;
        return app.line(format!("  eavesward rounds call-off {}", round.id));
    }
    bring(app, "", &round.bring)?;
    app.line("")?;
    cautions(app, &round.cautions)?;
    app.line("When it is done")?;
    app.line(format!("  eavesward rounds done {} --on {}", round.id, round.on))
}
