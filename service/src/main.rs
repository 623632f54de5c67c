//! The command `eavesward-service`.

use clap::Parser;
use eavesward_service::server::{self, Command};

/// Tells people who look after rainwater systems what falls due, when and why.
#[derive(Parser)]
#[command(version, about)]
struct Line {
    #[command(subcommand)]
    command: Command,
}

#[actix_web::main]
async fn main() -> std::process::ExitCode {
    match server::run(Line::parse().command).await {
        Ok(()) => std::process::ExitCode::SUCCESS,
        Err(error) => {
            // The operator reads this chain of causes. It names settings and files, never secrets.
            eprintln!("eavesward-service: {error:#}");
            std::process::ExitCode::FAILURE
        }
    }
}
