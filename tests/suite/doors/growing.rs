//! Responses may grow: every struct of the contract either refuses unknown fields, as requests do, or is marked so that
//! a new field breaks no user of the SDK.

use super::{assert_none, sources};

const CLOSED: &str = "deny_unknown_fields";
const OPEN: &str = "#[cfg_attr(not(feature = \"service\"), non_exhaustive)]";
/// What makes requests, from fields that nobody else sees.
const MAKERS: &str = "component/parts.rs";

#[test]
fn responses_may_grow() {
    let files = sources("openapi/src");
    let (mut count, mut faults) = (0, Vec::new());
    for (file, source) in files.iter().filter(|(file, _)| *file != MAKERS) {
        count += source.lines().filter(|line| line.starts_with("pub struct ")).count();
        faults.extend(growing_faults(source).into_iter().map(|fault| format!("openapi/src/{file}:{fault}")));
    }
    assert!(count > 50, "only {count} structs were found");
    assert_none(&faults);
}

fn growing_faults(source: &str) -> Vec<String> {
    let (mut faults, mut closed, mut open) = (Vec::new(), false, false);
    for (at, line) in source.lines().enumerate() {
        if line.starts_with("#[") {
            closed |= line.contains(CLOSED);
            open |= line == OPEN;
            continue;
        }
        if let Some(rest) = line.strip_prefix("pub struct ") {
            let name = rest.split(|c: char| !c.is_alphanumeric()).next().unwrap_or(rest);
            match (closed, open) {
                (false, false) => faults.push(format!("{}: {name} is a response and lacks {OPEN}", at + 1)),
                (true, true) => {
                    faults.push(format!("{}: {name} is a request: callers have to make it", at + 1));
                }
                _ => {}
            }
        }
        // Attributes belong to what follows them; a comment may stand between.
        if !line.starts_with("//") {
            (closed, open) = (false, false);
        }
    }
    faults
}

mod can_fail {
    use super::*;

    #[test]
    fn growing() {
        let faults = |attributes: &str| growing_faults(&format!("{attributes}\npub struct A {{\n}}\n")).len();
        assert_eq!(faults("#[derive(Debug)]\n#[serde(deny_unknown_fields)]"), 0);
        assert_eq!(faults(&format!("{OPEN}\n/// A comment.")), 0);
        assert_eq!(faults("#[derive(Debug)]"), 1);
        assert_eq!(faults(&format!("#[serde(deny_unknown_fields)]\n{OPEN}")), 1);
        assert_eq!(faults(&format!("{OPEN}\npub struct B {{\n}}")), 1);
    }
}
