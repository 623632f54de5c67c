//! A system as it changes, at a shell.

use super::Shell;
use std::io::{BufRead as _, BufReader};
use std::process::Stdio;

#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn a_change_is_printed_when_it_comes() {
    let shell = Shell::start().await;
    let system = shell.greenhouse();
    shell.app.refresh().await;
    for ways in [&["--at-most", "1"][..], &["--connected"]] {
        let args = [&["watch", &system, "--count", "2"], ways].concat();
        let mut child = shell.command(&args).stdout(Stdio::piped()).spawn().expect("a process");
        let mut lines = BufReader::new(child.stdout.take().expect("its output")).lines();
        let mut line = || lines.next().expect("a line").expect("UTF-8");
        let first = line();
        assert!(first.starts_with("seedling house on 2026-03-01: "), "{first}");
        // Its first status is out before anything else happens.
        let rain = if ways.len() == 1 { "0.5 in" } else { "10 mm" };
        shell.run(&["rain", "add", "orchard gauge", "2026-02-27", rain]).ok();
        shell.app.refresh().await;
        let told = std::iter::from_fn(|| Some(line()))
            .take(40)
            .find(|line| line.starts_with("  runoff of 7 days: "));
        let told = told.expect("what changed");
        // 0.9 of what comes after the first 0.5 mm.
        assert!(told.contains(if ways.len() == 1 { "11 mm" } else { "8.55 mm" }), "{told}");
        assert_eq!(child.wait().expect("its end").code(), Some(0));
    }
    shell.app.stop().await;
}
