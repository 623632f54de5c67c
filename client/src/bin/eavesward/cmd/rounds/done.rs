//! `eavesward rounds done`: how a round went.

use crate::app::App;
use crate::failure::Failure;
use crate::parse::{self, ComponentDuty};
use chrono::NaiveDate;
use clap::Args;
use eavesward_client::contract::{Finding, KeptTask, Round, RoundDoneRequest, RoundItem, SkippedTask};
use uuid::Uuid;

/// How a round went. What nothing is said of was done.
#[derive(Args)]
pub struct Done {
    /// The round's id
    id: Uuid,
    /// The day; the one it was planned for if not given
    #[arg(long, value_name = "DATE")]
    on: Option<NaiveDate>,
    /// Who went
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
    /// What was found before it was done: nothing, light, half, heavy, blocked, a share such as 0.35, a depth such as
    /// 40mm; can be repeated
    #[arg(long, value_name = "COMPONENT:DUTY=FINDING", value_parser = parse::found)]
    found: Vec<(ComponentDuty, Finding)>,
    /// The same of what was looked at and not done; can be repeated
    #[arg(long, value_name = "COMPONENT:DUTY=FINDING", value_parser = parse::found)]
    looked: Vec<(ComponentDuty, Finding)>,
    /// How full a partial cleaning left it, such as 0.2 or 20%; can be repeated
    #[arg(long, value_name = "COMPONENT:DUTY=SHARE", value_parser = parse::left)]
    left: Vec<(ComponentDuty, f64)>,
    /// Somebody is believed to have cleaned it since the last logged service; can be repeated
    #[arg(long, value_name = "COMPONENT:DUTY", value_parser = parse::item)]
    cleaned_meanwhile: Vec<ComponentDuty>,
    /// A task that was left out; it is proposed again; can be repeated
    #[arg(long, value_name = "COMPONENT:DUTY", value_parser = parse::item)]
    skip: Vec<ComponentDuty>,
    /// Why they were left out
    #[arg(long, value_name = "TEXT", requires = "skip")]
    because: Option<String>,
    /// Anything worth keeping, with every visit
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
}

impl Done {
    /// Reports it.
    pub async fn run(self, app: &mut App<'_>) -> Result<(), Failure> {
        let round = app.client.rounds().get(self.id).await?;
        let report = self.report(&round)?;
        let done = app.client.rounds().finish(self.id, &report).await?;
        if app.json {
            return app.print_json(&done);
        }
        let on = done.round.done_on.unwrap_or(done.round.on);
        app.line(if done.reported_before {
            format!("Round {} was reported as done on {on} before; nothing was changed.", self.id)
        } else {
            format!("Round {} was done on {on}.", self.id)
        })?;
        for visit in &done.visits {
            let task = done.round.tasks.iter().find(|task| task.visit_id == Some(visit.id));
            let system = task.map_or_else(|| visit.system_id.to_string(), |task| task.system_name.clone());
            let items = if visit.items.len() == 1 {
                "1 item".to_owned()
            } else {
                format!("{} items", visit.items.len())
            };
            app.line(format!("  visit {} to {system} with {items}", visit.id))?;
        }
        let elsewhere = done.round.tasks.iter().filter(|task| task.done_elsewhere).count();
        if elsewhere > 0 {
            app.line(format!(
                "  {elsewhere} not logged again: other visits did them since the round was kept"
            ))?;
        }
        let skipped = done.round.tasks.iter().filter(|task| task.skipped).count();
        if skipped > 0 { app.line(format!("  {skipped} skipped, to be proposed again")) } else { Ok(()) }
    }

    fn report(&self, round: &Round) -> Result<RoundDoneRequest, Failure> {
        let mut items: Vec<RoundItem> = Vec::new();
        let found = self.found.iter().map(|given| (given, true));
        for ((item, finding), done) in found.chain(self.looked.iter().map(|given| (given, false))) {
            let task_id = task(item, round)?.task_id;
            if items.iter().any(|known| known.task_id == task_id) {
                return Err(Failure::usage(format!("two findings for {:?} and one duty", item.component)));
            }
            let said = RoundItem::found(task_id, *finding);
            items.push(RoundItem { done, ..said });
        }
        let left = self.left.iter().map(|(item, share)| (item, Some(*share)));
        for (item, left) in left.chain(self.cleaned_meanwhile.iter().map(|item| (item, None))) {
            let said = said(&mut items, task(item, round)?.task_id);
            match left {
                Some(_) => said.left_fraction = left,
                None => said.cleaned_meanwhile = true,
            }
        }
        let skipped = self.skip.iter().map(|item| {
            let task_id = task(item, round)?.task_id;
            Ok(SkippedTask { task_id, because: self.because.clone() })
        });
        Ok(RoundDoneRequest {
            visited_on: self.on,
            visited_by: self.by.clone(),
            note: self.note.clone(),
            items,
            skipped: skipped.collect::<Result<_, Failure>>()?,
        })
    }
}

/// What is said of a task so far; that it was done, if nothing was.
fn said(items: &mut Vec<RoundItem>, task_id: Uuid) -> &mut RoundItem {
    let index = items.iter().position(|known| known.task_id == task_id).unwrap_or_else(|| {
        let (finding, left_fraction, note) = (None, None, None);
        items.push(RoundItem { task_id, done: true, finding, left_fraction, cleaned_meanwhile: false, note });
        items.len() - 1
    });
    &mut items[index]
}

/// The task of a round that a component, by id or name, and a duty stand for.
fn task<'a>(given: &ComponentDuty, round: &'a Round) -> Result<&'a KeptTask, Failure> {
    let named = |task: &&KeptTask| {
        let is_id = Uuid::parse_str(&given.component).is_ok_and(|id| id == task.component_id);
        task.duty == given.duty && (is_id || task.component_name.eq_ignore_ascii_case(&given.component))
    };
    let found: Vec<&KeptTask> = round.tasks.iter().filter(named).collect();
    match found.as_slice() {
        [task] => Ok(task),
        [] => {
            let told = "the round has no such task of";
            Err(Failure::usage(format!("{told} {:?}; `eavesward rounds show` lists them", given.component)))
        }
        several => {
            let ids: Vec<String> =
                several.iter().map(|task| format!("{} ({})", task.component_id, task.system_name)).collect();
            let told = format!(
                "several components are called {:?}; give one of {}",
                given.component,
                ids.join(", ")
            );
            Err(Failure::usage(told))
        }
    }
}
