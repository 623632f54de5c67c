//! The command `eavesward`: the whole job by hand, over the SDK.
//!
//! `args` and `everywhere` are the command line, `dispatch` hands over to `cmd`, which has one file or folder a
//! subcommand (arguments, what it does, what it prints). `app` is what they share, `environment` what is found around the
//! command, `access` and `profiles` say which service is asked, `failure` turns what went wrong into words and an exit
//! code, `files` writes files as a whole.

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
            // Nothing is left to tell of a standard error that cannot be written to.
            let _ = writeln!(stderr, "error: the runtime could not be started: {e}");
            return ExitCode::from(failure::FAILED);
        }
    };
    let io = Io { stdin: &mut stdin, out: &mut stdout, err: &mut stderr };
    ExitCode::from(runtime.block_on(dispatch::run(cli, &environment, io)))
}
