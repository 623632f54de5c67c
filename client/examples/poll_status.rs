//! Watches a system's status. An unchanged one costs the service next to nothing.
//!
//! `EAVESWARD_URL=… EAVESWARD_KEY=… cargo run -p eavesward-client --example poll_status -- SYSTEM_ID`
#![expect(clippy::print_stdout, reason = "an example talks to a terminal")]

use eavesward_client::{Client, StatusChange};
use std::time::Duration;

#[tokio::main]
async fn main() -> Result<(), Box<dyn std::error::Error>> {
    let client = Client::builder()
        .base_url(std::env::var("EAVESWARD_URL")?)
        .key(std::env::var("EAVESWARD_KEY")?)
        .build()?;
    let system = std::env::args().nth(1).ok_or("give the id of a system")?.parse()?;

    let mut known = None;
    loop {
        match client.systems().status_if_changed(system, known.as_deref()).await? {
            StatusChange::Unchanged => {}
            StatusChange::Fresh { status, etag } => {
                println!("{} on {}: {:?}", status.system_name, status.as_of, status.state);
                for next in &status.next {
                    println!("  {}  {}: {}", next.due_on, next.component_name, next.title);
                }
                known = Some(etag);
            }
        }
        tokio::time::sleep(Duration::from_mins(5)).await;
    }
}
