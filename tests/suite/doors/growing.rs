//! The contract may grow: every struct, every enum and every variant with fields is marked, so that a new field or word
//! breaks no user of the SDK.

use super::{assert_none, sources};

const OPEN: &str = "#[cfg_attr(not(feature = \"service\"), non_exhaustive)]";
/// What makes requests, from fields that nobody else sees.
const MAKERS: &str = "component/parts.rs";

#[test]
fn the_contract_may_grow() {
    let files = sources("openapi/src");
    let (mut count, mut faults) = (0, Vec::new());
    for (file, source) in files.iter().filter(|(file, _)| *file != MAKERS) {
        count += source
            .lines()
            .filter(|line| line.starts_with("pub struct ") || line.starts_with("pub enum "))
            .count();
        faults.extend(growing_faults(source).into_iter().map(|fault| format!("openapi/src/{file}:{fault}")));
    }
    assert!(count > 100, "only {count} types were found");
    assert_none(&faults);
}

fn growing_faults(source: &str) -> Vec<String> {
    let (mut faults, mut open, mut in_enum) = (Vec::new(), false, false);
    for (at, line) in source.lines().enumerate() {
        let text = line.trim_start();
        if text.starts_with("#[") {
            open |= text == OPEN;
            continue;
        }
        let is_type = line.starts_with("pub struct ") || line.starts_with("pub enum ");
        // A variant stands four blanks in, and its fields eight.
        let with_fields = in_enum
            && line.len() - text.len() == 4
            && text.starts_with(char::is_uppercase)
            && text.contains(['{', '(']);
        if (is_type || with_fields) && !open {
            faults.push(format!("{}: {} lacks {OPEN}", at + 1, text.trim_end_matches(" {")));
        }
        in_enum = if is_type { line.starts_with("pub enum ") } else { in_enum && line != "}" };
        // Attributes belong to what follows them; a comment may stand between.
        if !text.starts_with("//") {
            open = false;
        }
    }
    faults
}

mod can_fail {
    use super::*;

    #[test]
    fn growing() {
        let faults = |attributes: &str| growing_faults(&format!("{attributes}\npub struct A {{\n}}\n")).len();
        assert_eq!(faults(&format!("{OPEN}\n/// A comment.")), 0);
        assert_eq!(faults("#[derive(Debug)]"), 1);
        assert_eq!(faults(&format!("{OPEN}\npub struct B {{\n}}")), 1);
        let faults = |variant: &str| growing_faults(&format!("{OPEN}\npub enum A {{\n{variant}\n}}\n")).len();
        assert_eq!(faults("    B,"), 0);
        assert_eq!(faults("    B { c: f64 },"), 1);
        assert_eq!(faults(&format!("    {OPEN}\n    B {{\n        c: C,\n    }},")), 0);
        assert_eq!(growing_faults("pub enum A {\n    B,\n}\n").len(), 1);
    }
}
