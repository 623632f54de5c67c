//! Prints a proposed plan.

use super::print::{bring, cautions};
use crate::app::App;
use crate::failure::Failure;
use crate::show;
use crate::table::Table;
use chrono::NaiveDate;
use eavesward_client::contract::{RoundProposal, RoundTask};

/// Prints the rounds, the tasks without a day, what to be careful of, and the cost.
pub fn print(app: &mut App<'_>, proposal: &RoundProposal) -> Result<(), Failure> {
    if proposal.rounds.is_empty() && proposal.unplaced.is_empty() {
        app.line(format!("Nothing falls due up to {}, so no trip is needed.", proposal.to))?;
        return planned(app, proposal);
    }
    for (index, round) in proposal.rounds.iter().enumerate() {
        let properties = match round.properties {
            1 => String::new(),
            several => format!(", {}", show::counted(several, "property", "properties")),
        };
        let minutes = show::counted(round.minutes, "minute", "minutes");
        app.line(format!("Round {} on {}: {minutes}{properties}", index + 1, round.on))?;
        tasks(app, &round.tasks, proposal.from)?;
        for reason in &round.reasons {
            app.line(format!("  {}", show::reason(reason, app.units)))?;
        }
        bring(app, "  ", &round.bring)?;
        if !round.may_join.is_empty() {
            app.line("  Due later, but can be done on this trip:")?;
            tasks(app, &round.may_join, proposal.from)?;
        }
        app.line("")?;
    }
    if !proposal.unplaced.is_empty() {
        app.line("Tasks without a day")?;
        for task in &proposal.unplaced {
            let names = [&task.property_name, &task.system_name, &task.component_name];
            let mut place: Vec<String> = names.into_iter().flatten().cloned().collect();
            place.push(show::words(&task.duty));
            app.line(format!("  - {}: {}", place.join(", "), show::reason(&task.why, app.units)))?;
        }
        app.line("")?;
    }
    cautions(app, proposal.rounds.iter().flat_map(|round| &round.cautions))?;
    costs(app, proposal)?;
    planned(app, proposal)
}

/// Prints tasks. `from` is the plan's first day; a task that was due before it shows since when it is due.
fn tasks(app: &mut App<'_>, tasks: &[RoundTask], from: NaiveDate) -> Result<(), Failure> {
    let mut table = Table::new(["due", "early / late", "property", "system", "component", "what to do"]);
    for task in tasks {
        let off = match (task.days_early, task.days_late) {
            (0, 0) => "on the day".to_owned(),
            (0, late) => show::counted(late.unsigned_abs(), "day late", "days late"),
            (early, _) => show::counted(early.unsigned_abs(), "day early", "days early"),
        };
        let off = match task.due_on.filter(|due| *due < from) {
            Some(since) => format!("due since {since}"),
            None => off,
        };
        table.row([
            show::date(task.due_on),
            off,
            show::name(task.property_name.as_ref()),
            show::name(task.system_name.as_ref()),
            show::name(task.component_name.as_ref()),
            task.title.clone(),
        ]);
    }
    Ok(table.write(app.io.out)?)
}

/// Prints the cost, and the lowest cost that any plan could have.
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
        app.line(format!("Default figures, set by judgement: {}. You may give your own.", left.join(", ")))?;
    }
    Ok(())
}

fn planned(app: &mut App<'_>, proposal: &RoundProposal) -> Result<(), Failure> {
    for round in &proposal.overdue_rounds {
        let (id, on) = (round.id, round.on);
        let tasks = show::counted(round.tasks, "task is", "tasks are");
        app.line(format!(
            "Round {id} was planned for {on} and is still open; its {tasks} proposed again. Report it with \
             `eavesward rounds done {id}`, or cancel it with `eavesward rounds cancel {id}`."
        ))?;
    }
    if proposal.already_planned > 0 {
        let tasks = show::counted(proposal.already_planned, "more task is", "more tasks are");
        app.line(format!("{tasks} in planned rounds; `eavesward rounds list` shows them."))?;
    }
    if proposal.more_may_join {
        app.line("The plan did not check every task that could join a trip; choose fewer tasks with --property or --system.")?;
    }
    Ok(())
}
