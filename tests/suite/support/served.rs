//! The service as a process of its own, for tests that kill it, stop it or take its disk away.

use std::io::{BufRead as _, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};

/// A running process, killed when it is dropped.
pub struct Served {
    /// The process.
    pub child: Child,
    /// `http://127.0.0.1:PORT`.
    pub url: String,
    /// What it printed before it listened.
    pub printed: String,
    /// What it logged since.
    pub logged: Arc<Mutex<String>>,
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Served {
    /// Starts a command that becomes the service, and waits until it listens. What it prints goes to the file `out` in
    /// the folder.
    pub fn start(command: &mut Command, folder: &Path) -> Self {
        let mut child = command
            .stdout(Stdio::from(std::fs::File::create(folder.join("out")).expect("a file")))
            .stderr(Stdio::piped())
            .spawn()
            .expect("a process");
        let mut log = BufReader::new(child.stderr.take().expect("its log")).lines();
        let mut said = String::new();
        let address = log
            .by_ref()
            .map_while(Result::ok)
            .find_map(|line| {
                said.extend([line.as_str(), "\n"]);
                let (_, rest) = line.split_once("listening on ")?;
                Some(rest.chars().take_while(|c| c.is_ascii_digit() || ".:".contains(*c)).collect::<String>())
            })
            .unwrap_or_else(|| panic!("it does not say where it listens: {said}"));
        // Its log has to be read on, or it would stop at a full pipe.
        let logged = Arc::<Mutex<String>>::default();
        let page = logged.clone();
        std::thread::spawn(move || {
            for line in log.map_while(Result::ok) {
                page.lock().expect("a log").extend([line.as_str(), "\n"]);
            }
        });
        let printed = std::fs::read_to_string(folder.join("out")).expect("what it printed");
        Self { child, url: format!("http://{address}"), printed, logged }
    }

    /// The key that it printed on its first start.
    pub fn key(&self) -> Option<&str> {
        self.printed.split_whitespace().find(|word| word.starts_with("ew_"))
    }
}
