//! From the command line to the exit code: sets up the client and hands over to the subcommand.

use crate::access::{self, Access, AccessFlags};
use crate::app::{App, Io};
use crate::args::{Cli, Command};
use crate::cmd::{account, system};
use crate::environment::Environment;
use crate::everywhere::Everywhere;
use crate::failure::Failure;
use crate::profiles::Profiles;
use crate::unanswered::Unanswered;
use clap::CommandFactory as _;
use eavesward_client::{Client, KeptKeys, RetryPolicy};
use std::sync::Arc;
use std::time::Duration;

/// Runs the command and gives the exit code. Failures go to standard error.
pub async fn run(cli: Cli, environment: &Environment, io: Io<'_>) -> u8 {
    // The service's address, for messages about failures.
    let mut url = access::USUAL_URL.to_owned();
    let mut unanswered = None;
    let Io { stdin, out, err } = io;
    let inner = Io { stdin, out: &mut *out, err: &mut *err };
    let done = hand_over(cli, environment, &mut url, &mut unanswered, inner).await;
    // A closed pipe may show only here, when buffered lines are written.
    let flushed = out.flush().map_err(Failure::from);
    if unanswered.as_ref().is_some_and(|keys| keys.went_on()) {
        // A failure to write to standard error cannot be reported anywhere.
        let _ = writeln!(
            err,
            "note: an earlier run of this command ended before its outcome was known; this run went on with it"
        );
    }
    match done.and_then(|code| flushed.map(|()| code)) {
        Ok(code) => code,
        Err(failure) => {
            let goes_on = unanswered.is_some_and(|keys| keys.is_waiting());
            // A failure to write to standard error cannot be reported anywhere.
            let _ = failure.report(&url, goes_on, err);
            failure.exit_code()
        }
    }
}

async fn hand_over(
    cli: Cli,
    environment: &Environment,
    url: &mut String,
    unanswered: &mut Option<Arc<Unanswered>>,
    mut io: Io<'_>,
) -> Result<u8, Failure> {
    let Cli { everywhere, command } = cli;
    // These subcommands ask no service and need no key.
    let command = match command {
        Command::System(system::System::Example) => return system::example(io.out).map(|()| 0),
        Command::Completions(completions) => return completions.run(Cli::command(), io.out).map(|()| 0),
        Command::Man(man) => return man.run(Cli::command(), io.out).map(|()| 0),
        Command::Profile(profile) => return profile.run(&everywhere, environment, &mut io).map(|()| 0),
        other => other,
    };
    let given = AccessFlags {
        url: everywhere.url.clone(),
        key: everywhere.key.clone(),
        key_file: everywhere.key_file.clone(),
        profile: everywhere.profile.clone(),
        units: everywhere.units,
    };
    let access = access::resolve(&given, environment, || Profiles::load(environment.profiles.as_deref()))?;
    access.url.clone_into(url);
    if let (Some(profiles), Some(key)) = (&environment.profiles, &access.key) {
        let folder = profiles.with_file_name("unanswered");
        *unanswered = Some(Arc::new(Unanswered::new(folder, &access.url, key)));
    }
    let mut app = App {
        client: client(&everywhere, &access, unanswered.clone())?,
        json: everywhere.json,
        units: access.units,
        colours: environment.colours(everywhere.color),
        progress: environment.progress(),
        io,
    };
    let app = &mut app;
    match command {
        Command::Due(due) => return due.run(app).await,
        Command::Digest(digest) => digest.run(app).await?,
        Command::Forecast(forecast) => forecast.run(app).await?,
        Command::Status(status) => status.run(app).await?,
        Command::Watch(watch) => watch.run(app).await?,
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
        Command::Audit(audit) => audit.run(app).await?,
        Command::Account => account::show(app).await?,
        // Handled above.
        Command::Profile(_) | Command::Completions(_) | Command::Man(_) => {}
    }
    Ok(0)
}

fn client(
    everywhere: &Everywhere,
    access: &Access,
    unanswered: Option<Arc<Unanswered>>,
) -> Result<Client, Failure> {
    let told = "a key is needed: put it in a file for --key-file, in EAVESWARD_KEY, or in a profile (`eavesward profile add`)";
    let key = access.key.as_deref().ok_or_else(|| Failure::usage(told))?;
    let timeout = Duration::from_secs(everywhere.timeout);
    // Leave time for one repetition after a time-out.
    let retry = RetryPolicy::default().deadline(timeout.saturating_mul(2));
    let kept = unanswered.map(|keys| keys as Arc<dyn KeptKeys>);
    let client = Client::builder().base_url(access.url.as_str()).key(key).timeout(timeout).retry(retry);
    Ok(client.maybe_kept_keys(kept).build()?)
}
