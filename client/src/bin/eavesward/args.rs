//! The command line: the common options and the list of subcommands.

use crate::cmd::{
    audit, calendar, component, digest, due, duty, forecast, gauge, key, manual, profile, property, rain,
    reminders, rounds, skill, status, subscription, system, visit, watch,
};
use crate::everywhere::Everywhere;
use clap::{Parser, Subcommand};

const AFTER_HELP: &str = "\
First steps: property add, gauge add, rain import, system example, system add.
Then due, forecast --explain, visit log.

For PROPERTY, GAUGE and SYSTEM give an id or the exact name.
Quantities may have a unit, such as \"1200 gal\", \"0.5 in\" or \"50 m2\". Write numbers with a point and no commas.

The service's address and key come from the first of these that you give:
  --url, --key-file and --key
  the profile of --profile or EAVESWARD_PROFILE
  EAVESWARD_URL and EAVESWARD_KEY
  the profile that you chose with `eavesward profile use`
EAVESWARD_UNITS is us or si. NO_COLOR turns colours off.

Exit codes:
  0  done
  1  the service or the network failed
  2  the command line or a file given on it cannot be used
  3  the service refused the request
  4  `due --fail-if-late` found something late";

/// Says when the parts of rainwater systems need care, and why.
#[derive(Parser)]
#[command(name = "eavesward", version, after_help = AFTER_HELP)]
pub struct Cli {
    /// Options of every subcommand
    #[command(flatten)]
    pub everywhere: Everywhere,
    /// What to do
    #[command(subcommand)]
    pub command: Command,
}

/// The subcommands.
#[derive(Subcommand)]
pub enum Command {
    /// List what is due, what to bring and what to be careful of
    Due(due::Due),
    /// List what happened to tasks, one entry each: coming, due, late, moved, done, withdrawn
    Reminders(reminders::Reminders),
    /// Print what is due, by property, for paper, a mail or a spreadsheet
    Digest(digest::Digest),
    /// Subscriptions: reminders and digests sent to a URL
    #[command(subcommand)]
    Subscription(subscription::Subscription),
    /// Forecast a system in full
    Forecast(forecast::Forecast),
    /// Show the status of a system in a few lines
    Status(status::Status),
    /// Watch the status of a system until you stop it
    Watch(watch::Watch),
    /// Readings of a rain gauge
    #[command(subcommand)]
    Rain(rain::Rain),
    /// Visits: what was done and what was found
    #[command(subcommand)]
    Visit(visit::Visit),
    /// Duties: the figures that decide when they fall due
    #[command(subcommand)]
    Duty(duty::Duty),
    /// Rounds: trips with several tasks, proposed, kept as planned, and done
    #[command(subcommand)]
    Rounds(rounds::Rounds),
    /// Compare past forecasts with what visits found, to see how far to trust the dates
    Skill(skill::Skill),
    /// Properties: the places where systems are
    #[command(subcommand)]
    Property(property::Property),
    /// Rain gauges: where rain is measured
    #[command(subcommand)]
    Gauge(gauge::Gauge),
    /// Systems: one roof, one rain gauge and the parts between roof and tap
    #[command(subcommand)]
    System(system::System),
    /// Components: the parts that need care
    #[command(subcommand)]
    Component(component::Component),
    /// Calendar feeds
    #[command(subcommand)]
    Calendar(calendar::Calendar),
    /// Keys of the account
    #[command(subcommand)]
    Key(key::Key),
    /// List who changed what, newest first
    Audit(audit::Audit),
    /// Show the account that the key belongs to, and how much of its quotas is used
    Account,
    /// Profiles: several services by name
    #[command(subcommand)]
    Profile(profile::Profile),
    /// Print completions for a shell
    Completions(manual::Completions),
    /// Print the manual page
    Man(manual::Man),
}
