//! Several services by name, as somebody would keep them.

use super::{Shell, ran};
use std::os::unix::fs::PermissionsExt as _;

#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn a_profile_takes_the_place_of_the_environment() {
    let shell = Shell::start().await;
    let bare = |args: &[&str]| {
        let mut command = shell.command(args);
        ran(command.env_remove("EAVESWARD_URL").env_remove("EAVESWARD_KEY"))
    };
    shell.write_private("key", &shell.app.key);
    let url = shell.app.url.clone();
    let said = bare(&["profile", "add", "greenhouse", "--url", &url, "--key-file", "key"]).ok();
    assert!(said.contains("profiles.toml"), "{said}");
    assert!(bare(&["account"]).ok().contains("first account"));
    let mode = std::fs::metadata(shell.folder.path().join("profiles.toml")).expect("it").permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
    let json = bare(&["--json", "profile", "list"]).json();
    let file = json[0]["key_file"].as_str().expect("a file");
    assert!(std::path::Path::new(file).is_absolute(), "it is found from any folder: {file}");
    // A profile that is named goes before the environment, which points elsewhere.
    let mut command = shell.command(&["account", "--profile", "greenhouse"]);
    ran(command.env("EAVESWARD_URL", "http://127.0.0.1:9").env("EAVESWARD_KEY", "ew_other")).ok();
    let mut command = shell.command(&["account"]);
    command.env("EAVESWARD_URL", "http://127.0.0.1:9").env("EAVESWARD_KEY", "ew_other");
    ran(command.env("EAVESWARD_PROFILE", "greenhouse")).ok();
    // Nobody's colours in a pipe, whatever the environment.
    let list =
        ran(shell.command(&["profile", "list"]).env("CLICOLOR_FORCE", "1").env_remove("NO_COLOR")).ok();
    assert!(list.contains("greenhouse*") && !list.contains('\u{1b}'), "{list}");
    shell.app.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn a_key_of_one_system_serves_a_display() {
    let shell = Shell::start().await;
    let system = shell.greenhouse();
    shell.app.refresh().await;
    let made = shell.json(&["key", "add", "--name", "hall display", "--system", "seedling house"]);
    assert_eq!(made["key"]["system_id"].as_str(), Some(system.as_str()));
    let listed = shell.run(&["key", "list"]).ok();
    assert!(listed.contains(&system) && listed.contains("all"), "{listed}");
    let secret = made["secret"].as_str().expect("a secret");
    let display = |args: &[&str]| ran(shell.command(args).env("EAVESWARD_KEY", secret));
    assert!(display(&["status", &system]).ok().starts_with("seedling house on "));
    assert!(display(&["forecast", &system]).ok().contains("north screen"));
    let refusal = display(&["system", "list"]).refused(3);
    assert!(refusal.starts_with("error: The key reads one system only\n"), "{refusal}");
    shell.app.stop().await;
}
