//! A home dashboard: shows a system's status, and shows it again when it changes.
//!
//! `EAVESWARD_URL=… EAVESWARD_KEY=… cargo run -p eavesward-client --example poll_status -- [SYSTEM_ID [ETAG]]`
//!
//! Without an id it shows the first system. With an id, a key that reads only this system is enough. After a
//! restart, pass the tag of the last status as ETAG; then that status is not shown again.
#![expect(clippy::print_stdout, reason = "an example talks to a terminal")]

use eavesward_client::{Client, SystemQuery, WatchOptions};

#[tokio::main]
async fn main() -> Result<(), Box<dyn std::error::Error>> {
    let client = Client::builder()
        .base_url(std::env::var("EAVESWARD_URL")?)
        .key(std::env::var("EAVESWARD_KEY")?)
        .build()?;
    let system = match std::env::args().nth(1) {
        Some(id) => id.parse()?,
        None => client.systems().list(&SystemQuery::default()).next().await.ok_or("there is no system")??.id,
    };
    let options = WatchOptions::builder().maybe_known(std::env::args().nth(2)).build();

    // `watch` asks as often as the service recommends. Use `events` instead to stay connected.
    let mut watch = client.systems().watch(system, &options);
    while let Some(seen) = watch.next().await {
        match seen {
            Ok(seen) => {
                let status = seen.status;
                println!(
                    "{} on {}: {:?}  (tag {})",
                    status.system_name, status.as_of, status.state, seen.etag
                );
                for next in &status.next {
                    let component = next.component_name.as_deref().unwrap_or("-");
                    println!("  {}  {component}: {}", next.due_on, next.title);
                }
            }
            Err(error) if error.is_transient() => println!("no news: {error}"),
            Err(error) => return Err(error.into()),
        }
    }
    Ok(())
}
