//! `eavesward rounds done`: reports a round as done.

use crate::app::App;
use crate::failure::Failure;
use crate::parse::{self, ComponentDuty};
use crate::show;
use chrono::NaiveDate;
use clap::Args;
use eavesward_client::contract::{Finding, KeptTask, Round, RoundDoneRequest, RoundItem, SkippedTask};
use uuid::Uuid;

/// What was done on a round. A task that no option names counts as done.
#[derive(Args)]
pub struct Done {
    /// The round's id
    id: Uuid,
    /// The day; the planned day by default
    #[arg(long, value_name = "DATE")]
    on: Option<NaiveDate>,
    /// Who went
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
    /// What was found before the task was done: nothing, light, half, heavy, blocked, a share such as 0.35, a depth
    /// such as 40mm; can be repeated
    #[arg(long, value_name = "COMPONENT:DUTY=FINDING", value_parser = parse::found)]
    found: Vec<(ComponentDuty, Finding)>,
    /// What was found on a task that was not done, only looked at; can be repeated
    #[arg(long, value_name = "COMPONENT:DUTY=FINDING", value_parser = parse::found)]
    looked: Vec<(ComponentDuty, Finding)>,
    /// How full it still was after a partial cleaning, such as 0.2 or 20%; can be repeated
    #[arg(long, value_name = "COMPONENT:DUTY=SHARE", value_parser = parse::left)]
    left: Vec<(ComponentDuty, f64)>,
    /// Someone has probably cleaned it since the last logged service; can be repeated
    #[arg(long, value_name = "COMPONENT:DUTY", value_parser = parse::item)]
    cleaned_meanwhile: Vec<ComponentDuty>,
    /// A task that was not done; it is proposed again; can be repeated
    #[arg(long, value_name = "COMPONENT:DUTY", value_parser = parse::item)]
    skip: Vec<ComponentDuty>,
    /// Why these tasks were not done
    #[arg(long, value_name = "TEXT", requires = "skip")]
    because: Option<String>,
    /// A note for every visit of the round
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
}

impl Done {
    /// Reports the round.
    pub async fn run(self, app: &mut App<'_>) -> Result<(), Failure> {
        let round = app.client.rounds().get(self.id).await?;
        let report = self.report(&round)?;
        let done = app.client.rounds().finish(self.id, &report).await?;
        if app.json {
            return app.print_json(&done);
        }
        let on = done.round.done_on.unwrap_or(done.round.on);
        app.line(if done.reported_before {
            format!("Round {} was already reported as done on {on}; nothing was changed.", self.id)
        } else {
            format!("Round {} was done on {on}.", self.id)
        })?;
        for visit in &done.visits {
            let task = done.round.tasks.iter().find(|task| task.visit_id == Some(visit.id));
            let system = task.and_then(|task| task.system_name.clone());
            let system = system.unwrap_or_else(|| visit.system_id.to_string());
            let items = show::counted(visit.items.len() as u64, "item", "items");
            app.line(format!("  visit {} to {system} with {items}", visit.id))?;
        }
        let elsewhere = done.round.tasks.iter().filter(|task| task.done_elsewhere).count();
        if elsewhere > 0 {
            let tasks = show::counted(elsewhere as u64, "task was", "tasks were");
            app.line(format!("  {tasks} already done by other visits and not logged again"))?;
        }
        let skipped = done.round.tasks.iter().filter(|task| task.skipped).count();
        if skipped == 0 {
            return Ok(());
        }
        let tasks = show::counted(skipped as u64, "task was skipped and is", "tasks were skipped and are");
        app.line(format!("  {tasks} proposed again"))
    }

    fn report(&self, round: &Round) -> Result<RoundDoneRequest, Failure> {
        let mut items: Vec<RoundItem> = Vec::new();
        let found = self.found.iter().map(|given| (given, true));
        for ((item, finding), done) in found.chain(self.looked.iter().map(|given| (given, false))) {
            let task_id = task(item, round)?.task_id;
            if items.iter().any(|known| known.task_id == task_id) {
                return Err(Failure::usage(format!(
                    "{:?} has two findings for one duty; give one",
                    item.component
                )));
            }
            let mut item = RoundItem::looked(task_id, finding.clone());
            item.done = done;
            items.push(item);
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
            let mut skipped = SkippedTask::new(task(item, round)?.task_id);
            skipped.because.clone_from(&self.because);
            Ok(skipped)
        });
        let skipped = skipped.collect::<Result<Vec<_>, Failure>>()?;
        let mut report = RoundDoneRequest::new().visited_on(self.on).items(items).skipped(skipped);
        report.visited_by.clone_from(&self.by);
        report.note.clone_from(&self.note);
        Ok(report)
    }
}

/// The item of a task. A task without an item gets one that says it was done.
fn said(items: &mut Vec<RoundItem>, task_id: Uuid) -> &mut RoundItem {
    let index = items.iter().position(|known| known.task_id == task_id).unwrap_or_else(|| {
        items.push(RoundItem::done(task_id));
        items.len() - 1
    });
    &mut items[index]
}

/// The task of a round with this duty and this component, by id or name.
fn task<'a>(given: &ComponentDuty, round: &'a Round) -> Result<&'a KeptTask, Failure> {
    let named = |task: &&KeptTask| {
        let is_id = Uuid::parse_str(&given.component).is_ok_and(|id| Some(id) == task.component_id);
        let name = task.component_name.as_deref();
        let is_named = name.is_some_and(|name| name.eq_ignore_ascii_case(&given.component));
        task.duty == given.duty && (is_id || is_named)
    };
    let found: Vec<&KeptTask> = round.tasks.iter().filter(named).collect();
    match found.as_slice() {
        [task] => Ok(task),
        [] => {
            let told = "the round has no such task for";
            Err(Failure::usage(format!("{told} {:?}; `eavesward rounds show` lists them", given.component)))
        }
        several => {
            let ids = several.iter().filter_map(|task| {
                Some(format!("{} ({})", task.component_id?, show::name(task.system_name.as_ref())))
            });
            let ids: Vec<String> = ids.collect();
            let told = format!(
                "several components are called {:?}; give one of {}",
                given.component,
                ids.join(", ")
            );
            Err(Failure::usage(told))
        }
    }
}
