//! The command `eavesward`: everything that the service offers, through the SDK.
//!
//! - `args` and `everywhere` define the command line. `dispatch` calls the subcommand.
//! - `cmd` has one file or folder per subcommand: its arguments, what it does, what it prints.
//! - `app` holds what subcommands share, `environment` the variables and terminals.
//! - `access` and `profiles` choose the service and the key.
//! - `failure` turns failures into messages and exit codes. `files` replaces files as a whole.
//! - `unanswered` keeps the idempotency keys of commands whose outcome is not known.
#![deny(clippy::incompatible_msrv)]

mod access;
mod app;
mod args;
mod cmd;
mod dispatch;
mod environment;
mod everywhere;
mod failure;
mod files;
mod parse;
mod profiles;
mod progress;
mod quantity;
mod show;
mod table;
#[cfg(test)]
mod tests;
mod unanswered;

use app::Io;
use args::Cli;
use clap::Parser;
use environment::Environment;
use std::io::{BufWriter, Write};
use std::process::ExitCode;

fn main() -> ExitCode {
    let cli = Cli::parse();
    let environment = Environment::of_process();
    let (mut stdin, mut stderr) = (std::io::stdin().lock(), std::io::stderr().lock());
    let mut stdout = BufWriter::new(std::io::stdout().lock());
    let runtime = match tokio::runtime::Builder::new_current_thread().enable_all().build() {
        Ok(runtime) => runtime,
        Err(e) => {
            // A failure to write to standard error cannot be reported anywhere.
            let _ = writeln!(stderr, "error: the runtime could not be started: {e}");
            return ExitCode::from(failure::FAILED);
        }
    };
    let io = Io { stdin: &mut stdin, out: &mut stdout, err: &mut stderr };
    ExitCode::from(runtime.block_on(dispatch::run(cli, &environment, io)))
}
