//! Prints kept rounds, with helpers that proposed rounds use too.

use crate::app::App;
use crate::failure::Failure;
use crate::show;
use crate::table::Table;
use eavesward_client::contract::{Caution, Round};

/// A line about a round that was just kept.
pub fn kept_line(round: &Round) -> String {
    let tasks = show::counted(round.tasks.len() as u64, "task", "tasks");
    format!("Kept round {} for {} with {tasks}.", round.id, round.on)
}

/// Prints what to bring, if anything.
pub fn bring(app: &mut App<'_>, indent: &str, things: &[String]) -> Result<(), Failure> {
    if things.is_empty() { Ok(()) } else { app.line(format!("{indent}Bring {}.", things.join(", "))) }
}

/// Prints what to be careful of, if anything.
pub fn cautions<'a>(app: &mut App<'_>, all: impl IntoIterator<Item = &'a Caution>) -> Result<(), Failure> {
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

/// Prints the table of rounds.
pub fn list(app: &mut App<'_>, rounds: &[Round]) -> Result<(), Failure> {
    if app.json {
        return app.print_json(&rounds);
    }
    if rounds.is_empty() {
        return app.line(
            "No rounds found. `eavesward rounds propose --keep 1` keeps the first round that is proposed.",
        );
    }
    let mut table = Table::new(["round", "on", "state", "tasks", "minutes", "properties", "note"]);
    for round in rounds {
        let mut places: Vec<&str> =
            round.tasks.iter().map(|task| task.property_name.as_deref().unwrap_or("-")).collect();
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

/// Prints a kept round in full.
pub fn show_round(app: &mut App<'_>, round: &Round) -> Result<(), Failure> {
    app.line(format!(
        "Round {} on {}, {}: {}",
        round.id,
        round.on,
        show::words(&round.state),
        show::counted(round.minutes, "minute", "minutes")
    ))?;
    if let Some(note) = &round.note {
        app.line(format!("Note: {note}"))?;
    }
    let mut table = Table::new(["due", "property", "system", "component", "what to do", "outcome"]);
    for task in &round.tasks {
        let became = match (&task.visit_id, &task.skipped_because) {
            (Some(visit), _) if task.done_elsewhere => format!("done by another visit, {visit}"),
            (Some(visit), _) => format!("visit {visit}"),
            (None, Some(because)) => format!("skipped: {because}"),
            (None, None) => if task.skipped { "skipped" } else { "-" }.to_owned(),
        };
        table.row([
            show::date(task.due_on),
            show::name(task.property_name.as_ref()),
            show::name(task.system_name.as_ref()),
            show::name(task.component_name.as_ref()),
            task.title.clone(),
            became,
        ]);
    }
    table.write(app.io.out)?;
    if round.done_on.is_some() {
        return Ok(());
    }
    if round.tasks.iter().all(|task| task.done_elsewhere) {
        app.line("Other visits did all of its tasks. Cancel it")?;
        return app.line(format!("  eavesward rounds cancel {}", round.id));
    }
    bring(app, "", &round.bring)?;
    app.line("")?;
    cautions(app, &round.cautions)?;
    app.line("When it is done")?;
    app.line(format!("  eavesward rounds done {} --on {}", round.id, round.on))
}
