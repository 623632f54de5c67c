//! What holds for every subcommand.

use crate::environment::Colour;
use crate::show::Units;
use clap::Args;
use std::path::PathBuf;

/// Heads the options that every subcommand has.
const EVERYWHERE: &str = "Everywhere";

/// What holds for every subcommand.
#[derive(Args)]
pub struct Everywhere {
    /// Where the service is; http://127.0.0.1:8750 when nothing says so
    #[arg(long, global = true, help_heading = EVERYWHERE)]
    pub url: Option<String>,
    /// The bearer key; other users of the machine can see it here, so prefer a file or a profile
    #[arg(long, global = true, help_heading = EVERYWHERE)]
    pub key: Option<String>,
    /// A file that holds the bearer key and that only you can read; goes before --key
    #[arg(long, global = true, help_heading = EVERYWHERE, value_name = "FILE")]
    pub key_file: Option<PathBuf>,
    /// The profile to use, see `eavesward profile`
    #[arg(long, global = true, help_heading = EVERYWHERE, value_name = "NAME")]
    pub profile: Option<String>,
    /// Print JSON as the service sends it, always in SI
    #[arg(long, global = true, help_heading = EVERYWHERE)]
    pub json: bool,
    /// Units of figures, si when nothing says so; files and the service's own sentences are SI whatever this says
    #[arg(long, global = true, help_heading = EVERYWHERE, value_enum)]
    pub units: Option<Units>,
    /// Whether states have a colour; words say it all the same
    #[arg(long, global = true, help_heading = EVERYWHERE, value_enum, default_value_t = Colour::Auto, value_name = "WHEN")]
    pub color: Colour,
    /// Longest time for one attempt, in seconds
    #[arg(long, global = true, help_heading = EVERYWHERE, value_name = "SECONDS", default_value_t = 60,
        value_parser = clap::value_parser!(u64).range(1..=3600))]
    pub timeout: u64,
}
