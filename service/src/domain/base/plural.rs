//! Numbers with their nouns.

/// A number with its noun.
pub(crate) fn counted(number: u64, one: &str, many: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { many })
}
