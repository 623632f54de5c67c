//! Prints what is due within a week, what to bring and what to be careful of.
//!
//! `EAVESWARD_URL=http://127.0.0.1:8750 EAVESWARD_KEY=… cargo run -p eavesward-client --example weekly_list`
#![expect(clippy::print_stdout, reason = "an example talks to a terminal")]

use eavesward_client::{Client, TaskQuery};
use std::collections::BTreeSet;

#[tokio::main]
async fn main() -> Result<(), Box<dyn std::error::Error>> {
    let client = Client::builder()
        .base_url(std::env::var("EAVESWARD_URL")?)
        .key(std::env::var("EAVESWARD_KEY")?)
        .build()?;

    let mut tasks = client.tasks().list(&TaskQuery::builder().within_days(7).build());
    let (mut bring, mut cautions) = (BTreeSet::new(), BTreeSet::new());
    while let Some(task) = tasks.next().await {
        let task = task?;
        let due = task.due_on.map_or_else(|| "undated".to_owned(), |day| day.to_string());
        let names: Vec<String> = [task.property_name, task.component_name].into_iter().flatten().collect();
        println!("{due}  {}: {}", names.join(", "), task.title);
        bring.extend(task.bring);
        cautions.extend(task.cautions.into_iter().map(|caution| caution.text));
    }
    println!("\nBring:");
    for thing in bring {
        println!("  {thing}");
    }
    println!("\nBe careful:");
    for text in cautions {
        println!("  {text}");
    }
    Ok(())
}
