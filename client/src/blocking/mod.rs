//! The same calls for programs without an async runtime. Each call waits for its answer.
//!
//! ```no_run
//! # fn main() -> Result<(), eavesward_client::Error> {
//! use eavesward_client::{Client, TaskQuery, blocking};
//!
//! let client = Client::builder().base_url("https://eaves.example").key("ew_example").build()?;
//! let client = blocking::Client::new(client)?;
//! for task in client.tasks().list(&TaskQuery::builder().within_days(7).build()) {
//!     let task = task?;
//!     println!("{}: {}", task.component_name.as_deref().unwrap_or("-"), task.title);
//! }
//! // `wait` also runs calls that have no blocking method.
//! let account = client.wait(async |client| client.account().await)?;
//! # let _ = account;
//! # Ok(()) }
//! ```
//!
//! # Beside an async runtime
//!
//! In a program with a runtime, call from a thread that may block: one of your own, or one of
//! [`tokio::task::spawn_blocking`]. In the second case another thread makes the call, because a thread of one
//! runtime must not run another.
//!
//! Code inside a runtime's `block_on`, such as the body of an async `main`, must not make blocking calls. They
//! would stop the runtime, so they fail with [`crate::Error::is_usage`]. In a spawned async task the call works but
//! blocks the task's worker thread until the answer arrives. Async code uses [`crate::Client`].
//!
//! To add a call, add a line to the table in `handles`. A test lists the missing ones.

mod client;
mod handles;
mod items;
mod waiter;

pub use client::Client;
pub use handles::{
    Calendars, Components, Duties, Gauges, Keys, Properties, Reminders, Rounds, Skill, Subscriptions,
    Systems, Tasks, Visits,
};
pub use items::{Follow, Items};

#[cfg(test)]
mod tests {
    use super::Client;
    use crate::{Error, ReminderQuery, TaskQuery};
    use tokio::runtime::Builder;

    fn client() -> Client {
        // A port of the discard service, where nothing answers.
        let client = crate::Client::builder()
            .base_url("http://127.0.0.1:9")
            .key("k")
            .retry(crate::RetryPolicy::never());
        Client::new(client.build().expect("a client")).expect("a runtime")
    }

    #[test]
    fn a_call_within_a_runtime_is_an_error_and_no_panic() {
        let outside = client();
        assert!(outside.account().expect_err("nobody is there").is_connect());
        let runtime = Builder::new_multi_thread().worker_threads(1).build().expect("a runtime");
        runtime.block_on(async {
            let client = client();
            assert!(client.account().expect_err("inside").is_usage());
            let mut tasks = client.tasks().list(&TaskQuery::default());
            assert!(tasks.next().expect("an item").expect_err("inside").is_usage());
            drop((client, tasks));
            drop(outside);
        });
    }

    #[test]
    fn a_thread_that_may_wait_is_served_although_it_belongs_to_a_runtime() {
        for mut runtime in [Builder::new_multi_thread(), Builder::new_current_thread()] {
            let runtime = runtime.worker_threads(1).enable_all().build().expect("a runtime");
            runtime.block_on(async {
                let waits = || {
                    let client = client();
                    assert!(client.account().expect_err("nobody is there").is_connect());
                    let mut tasks = client.tasks().list(&TaskQuery::default());
                    assert!(tasks.next().expect("an item").expect_err("nobody is there").is_connect());
                    let mut entries = client.reminders().follow(&ReminderQuery::default());
                    assert!(entries.poll().expect_err("nobody is there").is_connect());
                };
                tokio::task::spawn_blocking(waits).await.expect("it may wait there");
                // A spawned task looks the same as `spawn_blocking`: a poor place for the call, but it works.
                tokio::spawn(async move { waits() }).await.expect("no panic");
            });
        }
    }

    #[test]
    fn a_panic_comes_up_where_the_call_was_made() {
        let runtime = Builder::new_current_thread().build().expect("a runtime");
        let panics = || client().wait(async |_| -> Result<(), Error> { panic!("as it was meant to") });
        let end = runtime.block_on(async { tokio::task::spawn_blocking(panics).await });
        let end = end.expect_err("it panicked");
        assert_eq!(end.into_panic().downcast_ref(), Some(&"as it was meant to"));
    }

    #[test]
    fn threads_may_share_it() {
        let client = client();
        std::thread::scope(|scope| {
            for _ in 0..4 {
                scope.spawn(|| assert!(client.account().expect_err("nobody is there").is_connect()));
            }
        });
    }
}
