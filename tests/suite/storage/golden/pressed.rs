//! The packed forecasts, opened without the service.

use base64::{Engine as _, engine::general_purpose::STANDARD};
use lz4_flex::block::decompress_size_prepended_with_dict;
use serde::{Deserialize, Serialize};
use serde_json::value::{RawValue, to_raw_value};
use std::path::Path;

/// The one column that is packed.
pub(super) const COLUMN: &str = "packed";

/// What stands in a golden file of packed bytes.
#[derive(Deserialize, Serialize)]
pub(super) struct Pressed {
    /// The file of common words that they were packed with.
    text: String,
    /// What is inside, line by line.
    lines: Vec<Box<RawValue>>,
    /// The bytes as they were when the golden file was written, in Base64.
    bytes: String,
}

/// Packed bytes as they stand in a golden file.
pub(super) fn opened(packed: &[u8]) -> Box<RawValue> {
    let (with, rest) = packed.split_first().expect("a byte that names the text");
    let text = format!("{}.txt", u32::from(*with) + 1);
    let words = Path::new(env!("CARGO_MANIFEST_DIR")).join("../service/src/storage/packed").join(&text);
    let words = std::fs::read(words).expect("the text that it was packed with");
    let inside = decompress_size_prepended_with_dict(rest, &words).expect("packed with that text");
    let inside = String::from_utf8(inside).expect("UTF-8");
    let lines =
        inside.split('\n').map(|line| RawValue::from_string(line.to_owned()).expect("a line of JSON"));
    to_raw_value(&Pressed { text, lines: lines.collect(), bytes: STANDARD.encode(packed) }).expect("JSON")
}

fn read(written: &RawValue) -> Pressed {
    serde_json::from_str(written.get()).expect("packed bytes as a golden file has them")
}

/// The committed bytes.
pub(super) fn bytes(written: &RawValue) -> Vec<u8> {
    STANDARD.decode(read(written).bytes).expect("Base64")
}

/// What counts when it is written: everything but the bytes.
pub(super) fn inside(written: &RawValue) -> String {
    let Pressed { text, lines, .. } = read(written);
    lines.iter().fold(format!("packed with {text}"), |shown, line| shown + "\n    " + line.get())
}

/// Line by line, for a golden file; `margin` is what every line begins with.
pub(super) fn printed(written: &RawValue, margin: &str) -> String {
    let Pressed { text, lines, bytes } = read(written);
    let lines: Vec<String> = lines.iter().map(|line| format!("{margin}    {}", line.get())).collect();
    format!(
        "{{\n{margin}  \"text\": \"{text}\",\n{margin}  \"lines\": [\n{}\n{margin}  ],\n{margin}  \"bytes\": \
         \"{bytes}\"\n{margin}}}",
        lines.join(",\n")
    )
}
