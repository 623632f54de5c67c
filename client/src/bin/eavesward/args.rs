//! The command line: what holds for every subcommand, and the list of them.

use crate::cmd::{
    calendar, component, digest, due, duty, forecast, gauge, key, manual, profile, property, rain, reminders,
    rounds, skill, status, subscription, system, visit, watch,
};
use crate::everywhere::Everywhere;
use clap::{Parser, Subcommand};

const AFTER_HELP: &str = "\
First steps: property add, gauge add, rain import, system example, system add.
Then due, forecast --explain, visit log.

Wherever PROPERTY, GAUGE or SYSTEM is asked for, an id or the exact name will do.
Quantities may have a unit, such as \"1200 gal\", \"0.5 in\" or \"50 m2\"; numbers have a point and no commas.

The service and its key are taken from the first of these that is given:
  --url, --key-file and --key
  the profile of --profile or EAVESWARD_PROFILE
  EAVESWARD_URL and EAVESWARD_KEY
  the profile that `eavesward profile use` chose
EAVESWARD_UNITS is us or si. NO_COLOR keeps the output plain.

Exit codes:
  0  done
  1  the service or the network failed
  2  the command line or a file given on it cannot be used
  3  the service refused the request
  4  `due --fail-if-late` found something late";

/// When the parts of rainwater systems want care, and why.
#[derive(Parser)]
#[command(name = "eavesward", version, after_help = AFTER_HELP)]
pub struct Cli {
    /// What holds for every subcommand
    #[command(flatten)]
    pub everywhere: Everywhere,
    /// What to do
    #[command(subcommand)]
    pub command: Command,
}

/// What to do.
#[derive(Subcommand)]
pub enum Command {
    /// What is due, what to bring, what to be careful of
    Due(due::Due),
    /// What became of tasks, as an entry each: coming, due, late, moved, done, withdrawn
    Reminders(reminders::Reminders),
    /// What is due in one piece, by property: to be printed, mailed or opened in a spreadsheet
    Digest(digest::Digest),
    /// Subscriptions: reminders and digests, posted to an address
    #[command(subcommand)]
    Subscription(subscription::Subscription),
    /// A system explained in full
    Forecast(forecast::Forecast),
    /// A system in a few lines
    Status(status::Status),
    /// A system as it changes, until you stop it
    Watch(watch::Watch),
    /// Rain of a gauge
    #[command(subcommand)]
    Rain(rain::Rain),
    /// Visits: what was done and what was found
    #[command(subcommand)]
    Visit(visit::Visit),
    /// Duties: what falls due when, and the account's own figures
    #[command(subcommand)]
    Duty(duty::Duty),
    /// Rounds: tasks put together into trips, kept as planned, and done
    #[command(subcommand)]
    Rounds(rounds::Rounds),
    /// How well past forecasts met what visits found: how far to trust the dates
    Skill(skill::Skill),
    /// Properties: the places that systems stand at
    #[command(subcommand)]
    Property(property::Property),
    /// Gauges: where rain is measured
    #[command(subcommand)]
    Gauge(gauge::Gauge),
    /// Systems: one roof, one gauge and what is between them and the tap
    #[command(subcommand)]
    System(system::System),
    /// Components: the parts that want care
    #[command(subcommand)]
    Component(component::Component),
    /// Feeds for people's calendars
    #[command(subcommand)]
    Calendar(calendar::Calendar),
    /// Keys of the account
    #[command(subcommand)]
    Key(key::Key),
    /// The account that the key belongs to
    Account,
    /// Several services by name
    #[command(subcommand)]
    Profile(profile::Profile),
    /// Print completions for a shell
    Completions(manual::Completions),
    /// Print the manual page
    Man(manual::Man),
}
