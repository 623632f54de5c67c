//! Logs a visit: the debris screens of a system were found half full and were cleaned.
//!
//! `EAVESWARD_URL=… EAVESWARD_KEY=… cargo run -p eavesward-client --example log_visit -- SYSTEM_ID 2031-04-12`
#![expect(clippy::print_stdout, reason = "an example talks to a terminal")]

use eavesward_client::Client;
use eavesward_client::contract::{Duty, Finding, FoundClass, Part, VisitItem, VisitRequest};

#[tokio::main]
async fn main() -> Result<(), Box<dyn std::error::Error>> {
    let client = Client::builder()
        .base_url(std::env::var("EAVESWARD_URL")?)
        .key(std::env::var("EAVESWARD_KEY")?)
        .build()?;
    let system_id = std::env::args().nth(1).ok_or("give the id of a system")?.parse()?;
    let visited_on = std::env::args().nth(2).ok_or("give the day of the visit")?.parse()?;

    let system = client.systems().get(system_id).await?;
    let screens = system.components.iter().filter(|c| matches!(c.part, Part::DebrisScreen { .. }));
    let half = Finding::class(FoundClass::Half);
    let items = screens.map(|screen| VisitItem::done(screen.id, Duty::CleanScreen).finding(half.clone()));
    let visit = VisitRequest::new(system_id, visited_on, items.collect::<Vec<_>>());

    match client.visits().log(&visit).await {
        Ok(logged) => println!("logged visit {}; items: {}", logged.id, logged.items.len()),
        Err(error) if error.is_invalid() => println!("not accepted: {error}"),
        Err(error) => return Err(error.into()),
    }
    Ok(())
}
