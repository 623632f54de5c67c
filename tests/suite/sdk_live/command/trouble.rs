//! What goes wrong at a shell, and how it is told.

use super::super::lost_answers::bad_line;
use super::{Shell, daily, ran};
use std::io::{BufRead as _, BufReader, Read as _};
use std::net::TcpListener;
use std::process::Stdio;
use std::sync::atomic::Ordering;

#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn a_wrong_key_is_told_with_the_way_out() {
    let shell = Shell::start().await;
    let refusal = ran(shell.command(&["due"]).env("EAVESWARD_KEY", "ew_nonsense")).refused(3);
    assert!(refusal.starts_with("error: A valid key is needed\n"), "{refusal}");
    assert!(refusal.contains("--key-file") && refusal.contains("EAVESWARD_KEY"), "{refusal}");
    assert!(!refusal.contains("ew_nonsense"), "the key is not shown: {refusal}");
    let none = ran(shell.command(&["due"]).env_remove("EAVESWARD_KEY")).refused(2);
    assert!(none.contains("a key is needed"), "{none}");
    let broken = ran(shell.command(&["due"]).env("EAVESWARD_KEY", "two words")).refused(2);
    assert!(broken.contains("key") && !broken.contains("two words"), "{broken}");
    shell.app.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn a_service_that_is_down_is_told_with_its_address() {
    let shell = Shell::start().await;
    // A port that nobody listens on any more.
    let gone = TcpListener::bind("127.0.0.1:0").expect("a port").local_addr().expect("its address");
    let url = format!("http://{gone}");
    let failure = ran(shell.command(&["due", "--timeout", "1"]).env("EAVESWARD_URL", &url)).refused(1);
    assert!(
        failure.contains("no connection to the service") && failure.contains("\n  because: "),
        "{failure}"
    );
    assert!(failure.contains(&format!("Does the service run at {url}?")), "{failure}");
    let nonsense = ran(shell.command(&["due"]).env("EAVESWARD_URL", "alder-row")).refused(2);
    assert!(nonsense.contains("absolute"), "{nonsense}");
    shell.app.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn a_command_whose_answers_were_lost_goes_on_when_it_is_run_again() {
    let shell = Shell::start().await;
    let line = bad_line(&shell.app, usize::MAX);
    let add = |name: &str| {
        let place = ["--latitude", "48.0", "--longitude", "0.5", "--time-zone", "Europe/London"];
        let add = [&["property", "add", "--timeout", "1", "--name", name][..], &place[..]].concat();
        ran(shell.command(&add).env("EAVESWARD_URL", &line.url))
    };
    let lost = add("orchard").refused(1);
    assert!(lost.contains("Run the same command again"), "{lost}");
    line.lost.store(0, Ordering::SeqCst);
    // Another command is not taken for the same one.
    assert_eq!(add("terrace").err, "");
    let again = add("orchard");
    assert_eq!(again.code, 0, "{}", again.err);
    assert!(again.err.starts_with("note: an earlier run of this command"), "{}", again.err);
    let count = || shell.json(&["property", "list"]).as_array().expect("a list").len();
    assert_eq!(count(), 2, "nothing was done twice");
    // Now the outcome is known, so a third run is a command of its own.
    assert_eq!((add("orchard").err.as_str(), count()), ("", 3));
    shell.app.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn what_is_typed_wrong_exits_with_2_and_what_is_refused_with_3() {
    let shell = Shell::start().await;
    shell.greenhouse();
    let unknown = shell.run(&["forecast", "greenhouse of glass"]).refused(2);
    assert!(unknown.contains("`eavesward system list`"), "{unknown}");
    let absent = shell.run(&["rain", "import", "orchard gauge", "no-such-file.csv"]).refused(2);
    assert!(absent.contains("no-such-file.csv could not be read"), "{absent}");
    shell.write(
        "wrong.json",
        r#"{"name": "x", "installed_on": "2026-01-10", "part": {"kind": "pump", "mians": 1}}"#,
    );
    let wrong = shell.run(&["component", "add", "seedling house", "--file", "wrong.json"]).refused(2);
    assert!(wrong.contains("wrong.json") && wrong.contains("mians"), "{wrong}");
    assert_eq!(shell.run(&["due", "--within", "soon"]).code, 2);
    assert_eq!(shell.run(&["--help"]).code, 0);
    let as_of = shell.run(&["due", "--help"]).ok();
    assert!(as_of.contains("--as-of") && as_of.contains("one forecast per system"), "{as_of}");
    let place = ["--latitude", "91", "--longitude", "0.5", "--time-zone", "Alder/Row"];
    let refused = shell.run(&[&["property", "add", "--name", "x"], &place[..]].concat()).refused(3);
    assert!(refused.contains("\n  latitude_deg: ") && refused.contains("\n  time_zone: "), "{refused}");
    // A file that is refused as a whole leaves nothing behind.
    shell.write("rain.csv", "date,mm\n2026-01-01,1\n2026-01-02,-4\n");
    let strict = ["rain", "import", "orchard gauge", "rain.csv", "--all-or-nothing"];
    let refused = shell.run(&strict).refused(3);
    assert!(refused.contains("-4"), "it names the reading: {refused}");
    assert!(shell.run(&["rain", "show", "orchard gauge"]).ok().starts_with("No readings found."));
    let mended = shell.run(&strict[..4]).ok();
    assert!(mended.contains("1 new") && mended.contains("line 3 (2026-01-02): "), "{mended}");
    shell.app.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn a_reader_that_has_seen_enough_is_no_trouble() {
    let shell = Shell::start().await;
    shell.greenhouse();
    // Several times what a pipe holds, so that the writer meets the closed end.
    let days = super::super::day("1990-01-01").iter_days().take(9000).map(|date| format!("{date},1\n"));
    shell.write("rain.csv", format!("date,mm\n{}", days.collect::<String>()));
    shell.run(&["rain", "import", "orchard gauge", "rain.csv"]).ok();
    for list in [&["rain", "show", "orchard gauge"][..], &["rain", "show", "orchard gauge", "--json"]] {
        let mut child =
            shell.command(list).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("a process");
        let mut line = String::new();
        BufReader::new(child.stdout.take().expect("its output")).read_line(&mut line).expect("a line");
        assert!(line.starts_with("DATE") || line.starts_with('['), "{line}");
        let mut err = String::new();
        child.stderr.take().expect("its complaints").read_to_string(&mut err).expect("UTF-8");
        let code = child.wait().expect("its end").code();
        assert_eq!((code, err.as_str()), (Some(0), ""), "{list:?}");
    }
    shell.app.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn files_may_come_from_standard_input() {
    let shell = Shell::start().await;
    shell.greenhouse();
    shell.write("rain.csv", daily());
    let file = std::fs::File::open(shell.folder.path().join("rain.csv")).expect("the file");
    let mut import = shell.command(&["rain", "import", "orchard gauge", "-"]);
    let said = ran(import.stdin(file)).ok();
    assert!(said.starts_with("421 new"), "{said}");
    // The example is a file for `system add`.
    shell.write("example.json", shell.run(&["system", "example"]).ok());
    let there = ["--property", "School greenhouse", "--gauge", "orchard gauge"];
    let made = shell.run(&[&["system", "add", "--file", "example.json"], &there[..]].concat()).ok();
    assert!(made.contains("  orchard shed\n") && made.contains("north screen"), "{made}");
    shell.app.stop().await;
}
