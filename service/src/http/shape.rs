//! Whether a body has the shape that it was taken for.
//!
//! The reader takes more than the document shows. It takes a list of bare values for the fields of an object in their
//! order, an object with one empty field for a word, and the number of a kind for its word. So the text that was sent is
//! compared with the text of what was read, level by level. Trees of both would take much memory.

use serde_json::value::RawValue;
use std::collections::BTreeMap;

/// A place where something was sent in another shape than it was taken for.
pub struct Mismatch {
    /// The path of the field.
    pub path: String,
    /// The shape that is right.
    pub expected: &'static str,
}

/// The first place where the shapes differ, in the order of the fields' names.
pub fn mismatch(sent: &RawValue, meant: &RawValue) -> Option<Mismatch> {
    below(sent, meant, "")
}

fn below(sent: &RawValue, meant: &RawValue, path: &str) -> Option<Mismatch> {
    let expected = |expected| Some(Mismatch { path: path.to_owned(), expected });
    match (first(sent), first(meant)) {
        (b'{', b'{') => {
            let meant = fields(meant);
            fields(sent).into_iter().find_map(|(name, sent)| {
                let path = if path.is_empty() { name.clone() } else { format!("{path}.{name}") };
                below(sent, meant.get(&name)?, &path)
            })
        }
        (b'[', b'[') => {
            let mut pairs = entries(sent).into_iter().zip(entries(meant)).enumerate();
            pairs.find_map(|(index, (sent, meant))| below(sent, meant, &format!("{path}[{index}]")))
        }
        (b'n', _) => None,
        (_, b'{') => expected("an object"),
        (_, b'[') => expected("a list"),
        (b'{' | b'[', _) => expected("a single value"),
        (b'"', _) => None,
        (_, b'"') => expected("a text"),
        _ => None,
    }
}

/// The first byte of a value tells its sort. White space is not a part of it.
fn first(value: &RawValue) -> u8 {
    value.get().bytes().next().unwrap_or_default()
}

fn fields(object: &RawValue) -> BTreeMap<String, &RawValue> {
    serde_json::from_str(object.get()).unwrap_or_default()
}

fn entries(list: &RawValue) -> Vec<&RawValue> {
    serde_json::from_str(list.get()).unwrap_or_default()
}
