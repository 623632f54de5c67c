//! `eavesward visit`: what was done and found.

use crate::app::{App, PAGE};
use crate::failure::Failure;
use crate::parse::{self, ComponentDuty};
use crate::show;
use crate::table::Table;
use chrono::NaiveDate;
use clap::{Args, Subcommand};
use eavesward_client::contract::{
    self, Component, Finding, VisitItem, VisitItemAnswer, VisitRequest, WithdrawRequest,
};
use eavesward_client::{ComponentQuery, RevisionQuery, VisitQuery};
use uuid::Uuid;

/// Subcommands for visits.
#[derive(Subcommand)]
pub enum Visit {
    /// Log a visit
    Log {
        /// The system
        system: String,
        /// The day of the visit
        #[arg(long, value_name = "DATE")]
        on: NaiveDate,
        /// What was done and found
        #[command(flatten)]
        report: VisitReport,
    },
    /// Correct a visit; what you give replaces what was logged, the rest stays
    Correct {
        /// The visit's id
        id: Uuid,
        /// The day of the visit
        #[arg(long, value_name = "DATE")]
        on: Option<NaiveDate>,
        /// What was done and found; if you give any item, give all of them
        #[command(flatten)]
        report: VisitReport,
    },
    /// List visits without withdrawn ones
    List {
        /// Only visits to this system
        #[arg(long, value_name = "SYSTEM")]
        system: Option<String>,
        /// On this day or later
        #[arg(long, value_name = "DATE")]
        from: Option<NaiveDate>,
        /// On this day or earlier
        #[arg(long, value_name = "DATE")]
        to: Option<NaiveDate>,
        /// Include withdrawn visits
        #[arg(long)]
        include_withdrawn: bool,
    },
    /// Show a visit
    Show {
        /// The visit's id
        id: Uuid,
        /// Show the versions before each correction instead
        #[arg(long)]
        revisions: bool,
    },
    /// Withdraw a visit that did not happen as logged; it stays stored, but forecasts ignore it
    Withdraw {
        /// The visit's id
        id: Uuid,
        /// Why
        #[arg(long, value_name = "TEXT")]
        because: String,
    },
}

/// What was done and found.
#[derive(Args)]
pub struct VisitReport {
    /// Who went
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
    /// A duty that was done, such as "north screen:clean-screen"; can be repeated
    #[arg(long, value_name = "COMPONENT:DUTY", value_parser = parse::item)]
    done: Vec<ComponentDuty>,
    /// What was found before anything was done: nothing, light, half, heavy, blocked, a share such as 0.35, a depth
    /// such as 40mm; can be repeated
    #[arg(long, value_name = "COMPONENT:DUTY=FINDING", value_parser = parse::found)]
    found: Vec<(ComponentDuty, Finding)>,
    /// How full it still was after a partial cleaning, as a share of its limit, such as 0.2 or 20%. Only for --done
    /// on a screen, a weep-hole diverter, sediment, a gutter or a roof; can be repeated
    #[arg(long, value_name = "COMPONENT:DUTY=SHARE", value_parser = parse::left)]
    left: Vec<(ComponentDuty, f64)>,
    /// Someone has probably cleaned it since the last logged service, on an unknown day; needs --done or --found
    /// for the same duty; can be repeated
    #[arg(long, value_name = "COMPONENT:DUTY", value_parser = parse::item)]
    cleaned_meanwhile: Vec<ComponentDuty>,
    /// A note
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
}

impl Visit {
    /// Runs the subcommand.
    pub async fn run(self, app: &mut App<'_>) -> Result<(), Failure> {
        match self {
            Self::Log { system, on, report } => {
                let system_id = app.system_id(&system).await?;
                let items = report.items(&components(app, system_id).await?)?;
                if items.is_empty() {
                    return Err(Failure::usage("a visit needs at least one --done or --found"));
                }
                let mut request = VisitRequest::new(system_id, on, items);
                (request.visited_by, request.note) = (report.by, report.note);
                let visit = app.client.visits().log(&request).await?;
                let items = show::counted(visit.items.len() as u64, "item", "items");
                let text = format!("Logged visit {} with {items}.", visit.id);
                app.say(&visit, text)
            }
            Self::Correct { id, on, report } => correct(app, id, on, report).await,
            Self::List { system, from, to, include_withdrawn } => {
                let mut query =
                    VisitQuery::builder().include_withdrawn(include_withdrawn).limit(PAGE).build();
                (query.from, query.to) = (from, to);
                if let Some(system) = &system {
                    query.system_id = Some(app.system_id(system).await?);
                }
                let visits = app.client.visits().list(&query).all().await?;
                list(app, &visits)
            }
            Self::Show { id, revisions: true } => {
                let revisions = app.client.visits().revisions(id, &RevisionQuery::default()).all().await?;
                if app.json {
                    return app.print_json(&revisions);
                }
                if revisions.is_empty() {
                    return app.line("It was never corrected.");
                }
                for revision in &revisions {
                    app.line(format!("Version {}, until {}", revision.version, revision.replaced_at))?;
                    show_visit(app, &revision.visit).await?;
                }
                Ok(())
            }
            Self::Show { id, revisions: false } => {
                let visit = app.client.visits().get(id).await?;
                if app.json { app.print_json(&visit) } else { show_visit(app, &visit).await }
            }
            Self::Withdraw { id, because } => {
                let visit = app.client.visits().withdraw(id, &WithdrawRequest::new(because)).await?;
                app.say(&visit, format!("Visit {id} is withdrawn; forecasts ignore it."))
            }
        }
    }
}

impl VisitReport {
    /// What was done and found: one item for each component and duty, in the order of the command line.
    fn items(&self, components: &[Component]) -> Result<Vec<VisitItem>, Failure> {
        let mut items: Vec<VisitItem> = Vec::new();
        let place = |items: &[VisitItem], component_id, duty: &contract::Duty| {
            items.iter().position(|known| known.component_id == component_id && known.duty == *duty)
        };
        for item in &self.done {
            let component_id = component(&item.component, components)?;
            if place(&items, component_id, &item.duty).is_none() {
                items.push(VisitItem::done(component_id, item.duty.clone()));
            }
        }
        for (item, finding) in &self.found {
            let component_id = component(&item.component, components)?;
            match place(&items, component_id, &item.duty) {
                None => items.push(VisitItem::looked(component_id, item.duty.clone(), finding.clone())),
                Some(known) if items[known].finding.is_some() => {
                    let told = format!("{:?} has two findings for one duty; give one", item.component);
                    return Err(Failure::usage(told));
                }
                Some(known) => items[known].finding = Some(finding.clone()),
            }
        }
        let left = self.left.iter().map(|(item, share)| (item, Some(*share)));
        for (item, left) in left.chain(self.cleaned_meanwhile.iter().map(|item| (item, None))) {
            let component_id = component(&item.component, components)?;
            let Some(known) = place(&items, component_id, &item.duty) else {
                let told = format!("{:?} needs --done or --found for the same duty", item.component);
                return Err(Failure::usage(told));
            };
            match left {
                Some(_) => items[known].left_fraction = left,
                None => items[known].cleaned_meanwhile = true,
            }
        }
        Ok(items)
    }
}

/// The component with this id or name. A component in service comes before removed ones.
fn component(given: &str, components: &[Component]) -> Result<Uuid, Failure> {
    if let Ok(id) = Uuid::parse_str(given) {
        return Ok(id);
    }
    let named: Vec<&Component> = components.iter().filter(|c| c.name.eq_ignore_ascii_case(given)).collect();
    let in_service: Vec<&&Component> = named.iter().filter(|c| c.retired_on.is_none()).collect();
    match (in_service.as_slice(), named.as_slice()) {
        ([one], _) => Ok(one.id),
        ([], [one]) => Ok(one.id),
        ([], []) => {
            let names: Vec<&str> = components.iter().map(|c| c.name.as_str()).collect();
            let told = format!("no component is called {given:?}; the system has {}", names.join(", "));
            Err(Failure::usage(told))
        }
        _ => {
            let ids: Vec<String> = named.iter().map(|c| c.id.to_string()).collect();
            Err(Failure::usage(format!(
                "several components are called {given:?}; give one of {}",
                ids.join(", ")
            )))
        }
    }
}

/// Every component of a system, including removed ones: a visit may be logged after its part was replaced.
async fn components(app: &App<'_>, system: Uuid) -> Result<Vec<Component>, Failure> {
    let query = ComponentQuery::builder().include_retired(true).build();
    Ok(app.client.systems().components(system, &query).all().await?)
}

async fn correct(
    app: &mut App<'_>,
    id: Uuid,
    on: Option<NaiveDate>,
    report: VisitReport,
) -> Result<(), Failure> {
    let visit = app.client.visits().get(id).await?;
    let mut items = report.items(&components(app, visit.system_id).await?)?;
    if items.is_empty() {
        let kept = visit.items.iter().map(VisitItemAnswer::to_request).collect::<Option<_>>();
        items = kept.ok_or_else(|| {
            Failure::usage("this version cannot send back every entry of the visit; give all of its items")
        })?;
    }
    let mut request = VisitRequest::new(visit.system_id, on.unwrap_or(visit.visited_on), items);
    request.visited_by = report.by.or(visit.visited_by);
    request.note = report.note.or(visit.note);
    let visit = app.client.visits().correct(id, visit.version, &request).await?;
    let text = format!("Corrected visit {id}; it is now version {}.", visit.version);
    app.say(&visit, text)
}

fn list(app: &mut App<'_>, visits: &[contract::Visit]) -> Result<(), Failure> {
    if app.json {
        return app.print_json(&visits);
    }
    if visits.is_empty() {
        return app.line(
            "No visits found. Log one with `eavesward visit log SYSTEM --on DATE --done COMPONENT:DUTY`.",
        );
    }
    let mut table = Table::new(["visit", "on", "system", "by", "items", "note"]);
    for visit in visits {
        let note = match &visit.withdrawn_because {
            Some(because) => format!("withdrawn: {because}"),
            None => visit.note.clone().unwrap_or_default(),
        };
        table.row([
            visit.id.to_string(),
            visit.visited_on.to_string(),
            visit.system_id.to_string(),
            visit.visited_by.clone().unwrap_or_else(|| "-".to_owned()),
            visit.items.len().to_string(),
            note,
        ]);
    }
    Ok(table.write(app.io.out)?)
}

async fn show_visit(app: &mut App<'_>, visit: &contract::Visit) -> Result<(), Failure> {
    let components = components(app, visit.system_id).await?;
    let by = visit.visited_by.as_deref().map(|by| format!(" by {by}")).unwrap_or_default();
    app.line(format!("Visit {} on {}{by}, version {}", visit.id, visit.visited_on, visit.version))?;
    if let Some(because) = &visit.withdrawn_because {
        app.line(format!("Withdrawn: {because}"))?;
    }
    if let Some(note) = &visit.note {
        app.line(format!("Note: {note}"))?;
    }
    let mut table = Table::new(["component", "duty", "done", "found", "note"]);
    for item in &visit.items {
        let name = item.component_id.map(|id| {
            let known = components.iter().find(|component| component.id == id);
            known.map_or_else(|| id.to_string(), |component| component.name.clone())
        });
        table.row([
            show::name(name.as_ref()),
            item.duty.as_ref().map_or_else(|| "-".to_owned(), show::words),
            done(item),
            seen(item, app),
            item.note.clone().unwrap_or_default(),
        ]);
    }
    Ok(table.write(app.io.out)?)
}

/// Whether the duty was done, and how full it still was.
fn done(item: &VisitItemAnswer) -> String {
    match (item.left_fraction, item.done) {
        (Some(left), _) => format!("in part, {} left", show::percent(Some(left))),
        (None, Some(true)) => "yes".to_owned(),
        (None, Some(false)) => "looked only".to_owned(),
        (None, None) => "-".to_owned(),
    }
}

/// What was found, and whether someone cleaned it before.
fn seen(item: &VisitItemAnswer, app: &App<'_>) -> String {
    let found =
        item.finding.as_ref().map_or_else(|| "-".to_owned(), |finding| show::finding(finding, app.units));
    if item.cleaned_meanwhile { format!("{found}, cleaned meanwhile") } else { found }
}
