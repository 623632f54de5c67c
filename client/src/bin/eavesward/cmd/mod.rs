//! One file a subcommand. To add one: its arguments and `run` in a file here, a line in `args::Command`, an arm below.

pub mod calendar;
pub mod component;
pub mod digest;
pub mod due;
mod due_as_of;
pub mod duty;
pub mod forecast;
pub mod gauge;
pub mod key;
pub mod property;
pub mod rain;
pub mod reminders;
mod round_done;
pub mod rounds;
pub mod skill;
pub mod status;
pub mod subscription;
pub mod system;
pub mod visit;

use crate::app::{App, Io};
use crate::args::{Cli, Command};
use crate::failure::Failure;
use eavesward_client::{Client, RetryPolicy};
use std::time::Duration;

/// Runs the command and gives the exit code. What went wrong is written to standard error.
pub async fn run(cli: Cli, io: Io<'_>) -> u8 {
    let url = cli.url.clone();
    let Io { stdin, out, err } = io;
    let done = dispatch(cli, Io { stdin, out: &mut *out, err: &mut *err }).await;
    // Buffered lines may meet the closed pipe only here.
    let flushed = out.flush().map_err(Failure::from);
    match done.and_then(|code| flushed.map(|()| code)) {
        Ok(code) => code,
        Err(failure) => {
            // Nothing is left to tell of a standard error that cannot be written to.
            let _ = failure.report(&url, err);
            failure.exit_code()
        }
    }
}

async fn dispatch(cli: Cli, io: Io<'_>) -> Result<u8, Failure> {
    if let Command::System(system::System::Example) = cli.command {
        return system::example(io.out).map(|()| 0);
    }
    let client = client(&cli)?;
    let mut app = App { client, json: cli.json, units: cli.units, io };
    let app = &mut app;
    match cli.command {
        Command::Due(due) => return due.run(app).await,
        Command::Digest(digest) => digest.run(app).await?,
        Command::Forecast(forecast) => forecast.run(app).await?,
        Command::Status(status) => status.run(app).await?,
        Command::Rain(rain) => rain.run(app).await?,
        Command::Visit(visit) => visit.run(app).await?,
        Command::Duty(duty) => duty.run(app).await?,
        Command::Reminders(reminders) => reminders.run(app).await?,
        Command::Subscription(subscription) => subscription.run(app).await?,
        Command::Rounds(rounds) => rounds.run(app).await?,
        Command::Skill(skill) => skill.run(app).await?,
        Command::Property(property) => property.run(app).await?,
        Command::Gauge(gauge) => gauge.run(app).await?,
        Command::System(system) => system.run(app).await?,
        Command::Component(component) => component.run(app).await?,
        Command::Calendar(calendar) => calendar.run(app).await?,
        Command::Key(key) => key.run(app).await?,
        Command::Account => account(app).await?,
    }
    Ok(0)
}

fn client(cli: &Cli) -> Result<Client, Failure> {
    let key = match (&cli.key_file, &cli.key) {
        (Some(path), _) => std::fs::read_to_string(path)
            .map_err(|e| Failure::usage(format!("{} could not be read: {e}", path.display())))?
            .trim()
            .to_owned(),
        (None, Some(key)) => key.trim().to_owned(),
        (None, None) => {
            return Err(Failure::usage(
                "a key is needed: put it in a file for --key-file, or in EAVESWARD_KEY",
            ));
        }
    };
    let timeout = Duration::from_secs(cli.timeout);
    // Room for one repetition after a full time-out.
    let retry = RetryPolicy { deadline: timeout.saturating_mul(2), ..RetryPolicy::default() };
    Ok(Client::builder().base_url(cli.url.as_str()).key(key).timeout(timeout).retry(retry).build()?)
}

async fn account(app: &mut App<'_>) -> Result<(), Failure> {
    let account = app.client.account().await?;
    app.say(&account, format!("{}  {}", account.id, account.name))
}
