//! What a source file gives to others and takes from them, tests left out.

use std::collections::{BTreeMap, BTreeSet};

use super::gates::without_tests;
use super::scanner::{Named, Place, Way, named};
use super::tokens::{Kind, Token, tokens};

pub struct Outline {
    /// Names of the file's own items, modules in files of their own excepted.
    pub defined: BTreeSet<String>,
    /// Paths that the file names, and its imports.
    pub named: Vec<Named>,
    /// Words that may stand for an imported name, outside `use`, with the line where each first stands.
    pub words: BTreeMap<String, usize>,
    /// Child modules that are tests and have files of their own.
    pub tests: Vec<String>,
}

impl Outline {
    pub fn of(source: &str, place: &Place<'_>) -> Self {
        let place = Place { module: place.module.clone(), without_tests: true, ..*place };
        let (kept, tests) = without_tests(&tokens(source));
        Self { defined: defined(&kept), named: named(source, &place), words: words(&kept), tests }
    }

    /// What a `use` of this file binds to the name, for whoever may see it.
    pub fn imported(&self, name: &str) -> Option<&Named> {
        let binds =
            |way: &Way| matches!(way, Way::Import { name: bound, outermost: true, .. } if bound == name);
        self.named.iter().find(|named| binds(&named.way))
    }

    /// Paths whose names are all brought in by a glob, for whoever may see them.
    pub fn globs(&self) -> impl Iterator<Item = &Named> {
        self.named
            .iter()
            .filter(|named| matches!(&named.way, Way::Import { name, outermost: true, .. } if name == "*"))
    }
}

fn defined(tokens: &[Token]) -> BTreeSet<String> {
    const ITEMS: [&str; 10] =
        ["fn", "struct", "enum", "union", "trait", "type", "const", "static", "mod", "macro_rules"];
    let mut depth = 0_usize;
    let mut names = BTreeSet::new();
    for (at, token) in tokens.iter().enumerate() {
        match &token.kind {
            Kind::Mark('(' | '[' | '{') => depth += 1,
            Kind::Mark(')' | ']' | '}') => depth = depth.saturating_sub(1),
            Kind::Word(word) if depth == 0 && ITEMS.contains(&word.as_str()) => {
                let name = at + if word == "macro_rules" { 2 } else { 1 };
                let elsewhere = word == "mod" && tokens.get(at + 2).is_some_and(|token| token.is(';'));
                if !elsewhere {
                    names.extend(tokens.get(name).and_then(Token::word).map(str::to_owned));
                }
            }
            _ => {}
        }
    }
    names
}

fn words(tokens: &[Token]) -> BTreeMap<String, usize> {
    let bound = variables(tokens);
    let mut found = BTreeMap::new();
    let mut at = 0;
    while let Some(token) = tokens.get(at) {
        let followed_by = |mark: char| tokens.get(at + 1).is_some_and(|next| next.is(mark));
        match token.word() {
            // `use<'a>` in a type is not an import.
            Some("use") if !followed_by('<') => {
                while tokens.get(at).is_some_and(|token| !token.is(';')) {
                    at += 1;
                }
            }
            Some(word) => {
                let variable = is_variable(tokens, at)
                    || (bound.contains(word) && !followed_by('(') && !followed_by('!'));
                if !variable && !is_own_name(tokens, at) {
                    found.entry(word.to_owned()).or_insert(token.line);
                }
            }
            None => {}
        }
        at += 1;
    }
    found
}

/// Names of variables, parameters and fields. Where one of them stands, no imported function of the same name is
/// meant unless it is called.
fn variables(tokens: &[Token]) -> BTreeSet<&str> {
    (0..tokens.len()).filter(|at| is_variable(tokens, *at)).filter_map(|at| tokens[at].word()).collect()
}

/// Whether a variable, parameter or field is bound or filled at this place.
fn is_variable(tokens: &[Token], at: usize) -> bool {
    let small = tokens[at].word().is_some_and(|word| word.starts_with(char::is_lowercase));
    let bound = matches!(word_before(tokens, at), Some("let" | "mut" | "ref" | "for"));
    // `x: T` binds or fills x, while `T: Trait` speaks of a type.
    small && (bound || tokens.get(at + 1).is_some_and(|token| token.is(':')))
}

/// Whether the word at this place is the name of a field, method or item, or goes on a path: then it stands for no
/// import.
fn is_own_name(tokens: &[Token], at: usize) -> bool {
    const ITEMS: [&str; 7] = ["fn", "struct", "enum", "trait", "mod", "const", "static"];
    let before = at.checked_sub(1).map(|before| &tokens[before]);
    before.is_some_and(|token| token.is('.') || token.kind == Kind::Join)
        || word_before(tokens, at).is_some_and(|word| ITEMS.contains(&word))
}

fn word_before(tokens: &[Token], at: usize) -> Option<&str> {
    at.checked_sub(1).and_then(|before| tokens[before].word())
}
