//! Readers of another ecosystem: scripts that run on the Python which `tests/run` sets up.

use serde_json::Value;
use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};

/// What a script of `tests/contract` makes of a text, as JSON.
///
/// # Panics
/// When there is no Python of the tests', and when the script fails: both say so in a line.
pub fn read_with(script: &str, text: &str) -> Value {
    let python = std::env::var_os("EAVESWARD_TESTS_PYTHON").expect(
        "EAVESWARD_TESTS_PYTHON names no Python with the tests' packages: run ./tests/run, with or without words, which makes one",
    );
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("contract").join(script);
    let mut child = Command::new(python)
        .arg("-B")
        .arg(&script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the Python of the tests starts");
    let mut input = child.stdin.take().expect("its input");
    // Written beside reading, or a long text and a long answer would wait for each other.
    let writing = std::thread::spawn({
        let text = text.to_owned();
        move || input.write_all(text.as_bytes())
    });
    let output = child.wait_with_output().expect("its output");
    let written = writing.join().expect("writing");
    let told = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success() && written.is_ok(), "{}: {told}", script.display());
    serde_json::from_slice(&output.stdout).expect("JSON")
}
