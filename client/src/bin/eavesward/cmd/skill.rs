//! `eavesward skill`: how far to trust the dates.

use crate::app::App;
use crate::failure::Failure;
use crate::table::Table;
use crate::{parse, show};
use chrono::NaiveDate;
use clap::Args;
use eavesward_client::contract::{self, AnsweredForecast};
use eavesward_client::{AnswerQuery, SkillQuery};

/// Options of the comparison.
#[derive(Args)]
pub struct Skill {
    /// Only findings on this system
    #[arg(long)]
    system: Option<String>,
    /// Only visits on this day or later
    #[arg(long, value_name = "DATE")]
    from: Option<NaiveDate>,
    /// Only visits on this day or earlier
    #[arg(long, value_name = "DATE")]
    to: Option<NaiveDate>,
    /// List each forecast beside what was found, latest visit first
    #[arg(long)]
    answers: bool,
    /// With --answers: only forecasts of this duty, such as clean-screen
    #[arg(long, value_parser = parse::duty, requires = "answers")]
    duty: Option<contract::Duty>,
}

impl Skill {
    /// Prints the comparison.
    pub async fn run(self, app: &mut App<'_>) -> Result<(), Failure> {
        let system = match &self.system {
            Some(system) => Some(app.system_id(system).await?),
            None => None,
        };
        if self.answers {
            let query = AnswerQuery::builder().maybe_system_id(system).maybe_duty(self.duty);
            let query = query.maybe_from(self.from).maybe_to(self.to).limit(500).build();
            let answers = app.client.skill().answers(&query).all().await?;
            return list(app, &answers);
        }
        let query = SkillQuery::builder().maybe_system_id(system).maybe_from(self.from).maybe_to(self.to);
        let duties = app.client.skill().by_duty(&query.build()).await?;
        if app.json {
            return app.print_json(&duties);
        }
        if duties.is_empty() {
            return app.line(
                "No finding has answered a forecast yet. When you log what you find on visits, this shows how far to trust \
                 the dates.",
            );
        }
        let mut table =
            Table::new(["duty", "findings", "in range", "emptier", "fuller", "found / expected", "meaning"]);
        for duty in &duties {
            table.row([
                show::words(&duty.duty),
                duty.answered.to_string(),
                format!(
                    "{} ± {}",
                    show::percent(Some(duty.coverage)),
                    show::percent(Some(duty.coverage_standard_error))
                ),
                show::percent(Some(duty.emptier)),
                show::percent(Some(duty.fuller)),
                duty.found_to_expected.map_or_else(|| "-".to_owned(), show::number),
                show::reason(&duty.reading, app.units),
            ]);
        }
        table.write(app.io.out)?;
        app.line("If the forecasts are right, 80 % of findings lie in the predicted range, 10 % are emptier and 10 % fuller.")
    }
}

fn list(app: &mut App<'_>, answers: &[AnsweredForecast]) -> Result<(), Failure> {
    if app.json {
        return app.print_json(&answers);
    }
    if answers.is_empty() {
        return app.line("No findings match these filters.");
    }
    let mut table =
        Table::new(["visited", "component", "duty", "predicted on", "expected (10 / 50 / 90 %)", "found"]);
    for answer in answers {
        let full = |share: f64| format!("{:.0} %", share * 100.0);
        let expected = &answer.expected;
        table.row([
            answer.visited_on.to_string(),
            answer.component_name.clone(),
            show::words(&answer.duty),
            answer.made_on.to_string(),
            format!("{} / {} / {} full", full(expected.low), full(expected.likely), full(expected.high)),
            show::finding(&answer.finding, app.units),
        ]);
    }
    Ok(table.write(app.io.out)?)
}
