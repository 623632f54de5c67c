//! Leaves out of a file's code what is built under a condition alone: a feature, or tests.

use super::tokens::{Kind, Token};

/// Leaves out `#[cfg_attr(feature = "F", …)]` and whatever stands under `#[cfg(feature = "F")]`.
pub fn without_feature(tokens: &[Token], feature: &str) -> Vec<Token> {
    let mut kept = Vec::new();
    let mut at = 0;
    while at < tokens.len() {
        let gate = tokens.get(at + 2).and_then(Token::word).filter(|_| tokens[at].is('#'));
        let gated = tokens.get(at + 4).and_then(Token::word) == Some("feature")
            && tokens.get(at + 6).is_some_and(|token| token.kind == Kind::Text(feature.to_owned()));
        // Nothing but the feature alone may be the condition: `not(…)` and `any(…)` hold without it.
        let ends = |mark| tokens.get(at + 7).is_some_and(|token| token.is(mark));
        match gate {
            Some("cfg_attr") if gated && ends(',') => at = group_end(tokens, at + 1),
            Some("cfg") if gated && ends(')') => {
                at = group_end(tokens, at + 1);
                while tokens.get(at).is_some_and(|token| token.is('#')) {
                    at = group_end(tokens, at + 1);
                }
                at = item_end(tokens, at);
            }
            _ => {
                kept.push(tokens[at].clone());
                at += 1;
            }
        }
    }
    kept
}

/// Leaves out `mod tests` and whatever stands under `#[cfg(test)]`; the names are those of the modules left out that
/// have files of their own.
pub fn without_tests(tokens: &[Token]) -> (Vec<Token>, Vec<String>) {
    let word = |at: usize| tokens.get(at).and_then(Token::word);
    let mut kept = Vec::new();
    let mut files = Vec::new();
    let mut at = 0;
    while at < tokens.len() {
        let mut item = at;
        let gated = is_test_gate(tokens, at);
        while gated && tokens.get(item).is_some_and(|token| token.is('#')) {
            item = group_end(tokens, item + 1);
        }
        if gated || (word(at) == Some("mod") && word(at + 1) == Some("tests")) {
            let module = past_visibility(tokens, item);
            if word(module) == Some("mod") && tokens.get(module + 2).is_some_and(|token| token.is(';')) {
                files.extend(word(module + 1).map(str::to_owned));
            }
            at = item_end(tokens, item);
        } else {
            kept.push(tokens[at].clone());
            at += 1;
        }
    }
    (kept, files)
}

/// Whether `#[cfg(test)]` or `#[cfg(all(test, …))]` starts here.
fn is_test_gate(tokens: &[Token], at: usize) -> bool {
    let word = |ahead: usize| tokens.get(at + ahead).and_then(Token::word);
    let ends = |ahead: usize| tokens.get(at + ahead).is_some_and(|token| token.is(')') || token.is(','));
    if !tokens[at].is('#') || word(2) != Some("cfg") {
        return false;
    }
    match word(4) {
        Some("test") => ends(5),
        Some("all") => {
            let mut depth = 0_usize;
            tokens[at + 5..group_end(tokens, at + 5)].iter().any(|token| {
                match token.kind {
                    Kind::Mark('(') => depth += 1,
                    Kind::Mark(')') => depth = depth.saturating_sub(1),
                    _ => {}
                }
                depth == 1 && token.word() == Some("test")
            })
        }
        _ => false,
    }
}

/// The place after `pub` and `pub(…)`.
fn past_visibility(tokens: &[Token], at: usize) -> usize {
    if tokens.get(at).and_then(Token::word) != Some("pub") {
        return at;
    }
    if tokens.get(at + 1).is_some_and(|token| token.is('(')) { group_end(tokens, at + 1) } else { at + 1 }
}

/// The place after the bracket that closes the one at `at`.
fn group_end(tokens: &[Token], at: usize) -> usize {
    let mut depth = 0_usize;
    for (index, token) in tokens.iter().enumerate().skip(at) {
        match token.kind {
            Kind::Mark('(' | '[' | '{') => depth += 1,
            Kind::Mark(')' | ']' | '}') => {
                depth = depth.saturating_sub(1);
                if depth == 0 {
                    return index + 1;
                }
            }
            _ => {}
        }
    }
    tokens.len()
}

/// The place after the item, field or arm that starts at `at`.
fn item_end(tokens: &[Token], mut at: usize) -> usize {
    const ITEMS: [&str; 15] = [
        "fn",
        "struct",
        "enum",
        "union",
        "trait",
        "impl",
        "mod",
        "type",
        "const",
        "static",
        "async",
        "unsafe",
        "extern",
        "use",
        "macro_rules",
    ];
    let first = tokens.get(past_visibility(tokens, at)).and_then(Token::word);
    let import = first == Some("use");
    // The commas of its generics do not end an item.
    let item = first.is_some_and(|word| ITEMS.contains(&word));
    while let Some(token) = tokens.get(at) {
        match token.kind {
            Kind::Mark(';') => return at + 1,
            Kind::Mark(',') if !item => return at + 1,
            // The braces of an import do not end it.
            Kind::Mark('{') if !import => return group_end(tokens, at),
            Kind::Mark('(' | '[' | '{') => at = group_end(tokens, at),
            // The end of the list that holds the field.
            Kind::Mark('}' | ')') => return at,
            _ => at += 1,
        }
    }
    at
}

#[cfg(test)]
mod tests {
    use super::super::scanner::{Named, Place, named};
    use super::super::tokens::tokens;
    use super::*;

    #[test]
    fn code_under_a_feature_can_be_left_out() {
        let place = Place { without_feature: Some("openapi"), ..Place::of("lib.rs", "") };
        let left = |source: &str| named(source, &place).iter().map(Named::text).collect::<Vec<_>>();
        for source in [
            "#[cfg_attr(feature = \"openapi\", derive(utoipa::ToSchema))] struct A { b: x::Y }",
            "#[cfg(feature = \"openapi\")] impl utoipa::ToSchema for A { fn f() { utoipa::x() } } type B = x::Y;",
            "#[cfg(feature = \"openapi\")] #[doc(hidden)] use utoipa::{ToSchema, openapi}; use x::Y;",
            "struct A { #[cfg(feature = \"openapi\")] a: utoipa::A } type B = x::Y;",
        ] {
            assert_eq!(left(source), ["x::Y"], "{source}");
        }
        for source in [
            "#[derive(utoipa::ToSchema)] struct A;",
            "#[cfg_attr(feature = \"other\", derive(utoipa::ToSchema))] struct A;",
            "#[cfg_attr(not(feature = \"openapi\"), derive(utoipa::ToSchema))] struct A;",
            "#[cfg(any(feature = \"openapi\", test))] use utoipa::ToSchema;",
            "#[cfg(feature = \"openapi\")] use x::Y; use utoipa::ToSchema;",
        ] {
            assert_eq!(left(source), ["utoipa::ToSchema"], "{source}");
        }
    }

    #[test]
    fn tests_can_be_left_out() {
        let place = Place { without_tests: true, ..Place::of("lib.rs", "") };
        let left = |source: &str| named(source, &place).iter().map(Named::text).collect::<Vec<_>>();
        for source in [
            "mod tests { use a::B; } use x::Y;",
            "mod tests; use x::Y;",
            "#[cfg(test)] pub(crate) mod samples { use a::B; fn f() { a::c() } } use x::Y;",
            "#[cfg(test)] #[expect(dead_code)] fn f() -> Result<u8, u8> { a::b() } use x::Y;",
            "#[cfg(all(test, unix))] use a::{B, C}; use x::Y;",
            "struct A { #[cfg(test)] a: a::B, b: x::Y }",
        ] {
            assert_eq!(left(source), ["x::Y"], "{source}");
        }
        for source in [
            "#[cfg(not(test))] use x::Y;",
            "#[cfg(any(test, unix))] use x::Y;",
            "#[cfg(all(unix, not(test)))] use x::Y;",
            "mod testing { use x::Y; }",
            "fn tests() { x::Y }",
        ] {
            assert_eq!(left(source), ["x::Y"], "{source}");
        }
        let files = |source: &str| without_tests(&tokens(source)).1;
        assert_eq!(
            files(
                "#[cfg(test)] mod a; mod tests; #[cfg(test)] mod b { } #[cfg(test)] pub(crate) mod c; mod d;"
            ),
            ["a", "tests", "c"]
        );
    }
}
