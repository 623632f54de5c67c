//! The command `eavesward` as a process, against a service on SQLite: by hand what the SDK does by program.
//!
//! A test waits for each process and blocks its own thread; the worker thread of its runtime meanwhile gives back the
//! database connections that [`App::refresh`] borrowed.

mod as_of;
mod job;
mod outputs;
mod profiles;
mod reminders;
mod rounds;
mod trouble;
mod watch;

use crate::support::app::{App, Kind};
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};

/// What came of a command.
struct Ran {
    code: i32,
    out: String,
    err: String,
}

impl Ran {
    /// What it printed, if all was well and nothing was complained of.
    #[track_caller]
    fn ok(self) -> String {
        assert_eq!((self.code, self.err.as_str()), (0, ""), "{}", self.out);
        self.out
    }

    /// The same as JSON.
    #[track_caller]
    fn json(self) -> Value {
        let out = self.ok();
        serde_json::from_str(&out).unwrap_or_else(|error| panic!("{error}: {out}"))
    }

    /// What it complained of, if it gave up with this code and printed nothing.
    #[track_caller]
    fn refused(self, code: i32) -> String {
        assert_eq!((self.code, self.out.as_str()), (code, ""), "{}", self.err);
        assert!(self.err.starts_with("error: "), "{}", self.err);
        assert!(!self.err.contains("panicked"), "{}", self.err);
        self.err
    }
}

/// Somebody at a shell, with a folder of files.
struct Shell {
    app: App,
    folder: tempfile::TempDir,
}

impl Shell {
    async fn start() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        Self { app: App::start(Kind::Sqlite).await, folder }
    }

    /// The command as that person would type it, with nothing else of this machine's settings.
    fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_by_hand"));
        command.args(args).current_dir(self.folder.path()).stdin(Stdio::null());
        command
            .env("EAVESWARD_URL", &self.app.url)
            .env("EAVESWARD_KEY", &self.app.key)
            .env("NO_PROXY", "127.0.0.1")
            .env_remove("EAVESWARD_PROFILE")
            .env("EAVESWARD_PROFILES", self.folder.path().join("profiles.toml"));
        command
    }

    fn run(&self, args: &[&str]) -> Ran {
        let ran = ran(&mut self.command(args));
        assert!(
            !format!("{}{}", ran.out, ran.err).contains(&self.app.key),
            "the key is never shown: {args:?}"
        );
        ran
    }

    fn json(&self, args: &[&str]) -> Value {
        self.run(&[&["--json"], args].concat()).json()
    }

    fn write(&self, name: &str, text: impl AsRef<[u8]>) {
        std::fs::write(Path::new(self.folder.path()).join(name), text).expect("a file");
    }

    /// A file that its owner alone can read.
    fn write_private(&self, name: &str, text: impl AsRef<[u8]>) {
        use std::os::unix::fs::PermissionsExt as _;
        self.write(name, text);
        let private = std::fs::Permissions::from_mode(0o600);
        std::fs::set_permissions(self.folder.path().join(name), private).expect("its owner may");
    }

    /// The school greenhouse with a screen, a diverter emptied by hand and a tank; its system's id.
    fn greenhouse(&self) -> String {
        let place = ["--latitude", "48.0", "--longitude", "0.5"];
        let zone = ["--time-zone", "Europe/London", "--elevation", "52"];
        self.run(&[&["property", "add", "--name", "School greenhouse"], &place[..], &zone[..]].concat()).ok();
        self.run(&[&["gauge", "add", "--name", "orchard gauge"], &place[..]].concat()).ok();
        self.write("greenhouse.json", greenhouse().to_string());
        let add = ["system", "add", "--file", "greenhouse.json"];
        let there = ["--property", "School greenhouse", "--gauge", "orchard gauge"];
        id(&self.json(&[&add[..], &there[..]].concat()))
    }
}

fn ran(command: &mut Command) -> Ran {
    let output = command.output().expect("a process");
    Ran {
        code: output.status.code().expect("it ended by itself"),
        out: String::from_utf8(output.stdout).expect("UTF-8"),
        err: String::from_utf8(output.stderr).expect("UTF-8"),
    }
}

fn id(value: &Value) -> String {
    value["id"].as_str().unwrap_or_else(|| panic!("no id in {value}")).to_owned()
}

/// A file for `system add` that leaves property and gauge to the command line.
fn greenhouse() -> Value {
    // Everything but the diverter was seen to a month before the day that the tests play on.
    let part = |name: &str, part: Value| {
        let served = (name != "first flush").then_some("2026-02-01");
        json!({"name": name, "installed_on": "2025-01-01", "last_served_on": served, "part": part})
    };
    json!({
        "name": "seedling house", "commissioned_on": "2025-01-01", "demand_l_per_day": 100.0,
        "roof": {"plan_area_m2": 50.0, "surface": "metal", "runoff_coefficient": 0.9, "wetting_loss_mm": 0.5},
        "components": [
            part("north screen", json!({"kind": "debris_screen", "area_m2": 0.2})),
            // 50 L off 50 m2 are 1 mm of runoff.
            part("first flush", json!({"kind": "first_flush_diverter", "chamber_volume_l": 50.0, "emptying": {"by": "hand"}})),
            part("tank", json!({"kind": "tank", "capacity_l": 3000.0, "floor_area_m2": 1.5, "outlet_height_mm": 100.0})),
        ]
    })
}

/// A file of daily rain: dry from the beginning of 2025, and 2 mm on 25 February 2026, which fill the diverter.
fn daily() -> String {
    let mut text = "date,mm\n".to_owned();
    for date in super::day("2025-01-01").iter_days().take(421) {
        let mm = if date == super::day("2026-02-25") { 2 } else { 0 };
        writeln!(text, "{date},{mm}").expect("memory takes anything");
    }
    text
}
