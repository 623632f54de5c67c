//! Options of every subcommand.

use crate::environment::Colour;
use crate::show::Units;
use clap::Args;
use std::path::PathBuf;

/// The heading of the common options.
const EVERYWHERE: &str = "Everywhere";

/// Options of every subcommand.
#[derive(Args)]
pub struct Everywhere {
    /// The service's address; http://127.0.0.1:8750 by default
    #[arg(long, global = true, help_heading = EVERYWHERE)]
    pub url: Option<String>,
    /// The bearer key; other users of this machine can see it on the command line, so prefer a file or a profile
    #[arg(long, global = true, help_heading = EVERYWHERE)]
    pub key: Option<String>,
    /// A file that holds the bearer key and that only you can read; overrides --key
    #[arg(long, global = true, help_heading = EVERYWHERE, value_name = "FILE")]
    pub key_file: Option<PathBuf>,
    /// The profile to use; see `eavesward profile`
    #[arg(long, global = true, help_heading = EVERYWHERE, value_name = "NAME")]
    pub profile: Option<String>,
    /// Print JSON as the service sends it, always in SI units
    #[arg(long, global = true, help_heading = EVERYWHERE)]
    pub json: bool,
    /// Units of figures, si by default; files and the service's own sentences always use SI
    #[arg(long, global = true, help_heading = EVERYWHERE, value_enum)]
    pub units: Option<Units>,
    /// Whether to colour states; the words are always there
    #[arg(long, global = true, help_heading = EVERYWHERE, value_enum, default_value_t = Colour::Auto, value_name = "WHEN")]
    pub color: Colour,
    /// Longest time for one attempt, in seconds; a request ends after twice as long, repetitions included
    #[arg(long, global = true, help_heading = EVERYWHERE, value_name = "SECONDS", default_value_t = 60,
        value_parser = clap::value_parser!(u64).range(1..=3600))]
    pub timeout: u64,
}
