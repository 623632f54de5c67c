//! The command `eavesward-service` under another name, for tests that start a process and kill it.

use clap::Parser;
use eavesward_service::server::{self, Command};

#[derive(Parser)]
struct Line {
    #[command(subcommand)]
    command: Command,
}

#[actix_web::main]
async fn main() -> std::process::ExitCode {
    match server::run(Line::parse().command).await {
        Ok(()) => std::process::ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("served: {error:#}");
            std::process::ExitCode::FAILURE
        }
    }
}
