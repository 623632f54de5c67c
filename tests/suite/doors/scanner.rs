//! Finds the paths that a Rust source file names, for the door tests.
//!
//! It reads tokens, not types: comments and strings are no code, `use` trees are spread out, `self`, `super`, child
//! modules and imported names are followed, so that `use crate::{http::Page, storage}` and a bare `s::Row` after
//! `use crate::storage as s` both come out in full. What a macro builds from pieces stays unseen.

use std::collections::BTreeMap;

use super::gates::{without_feature, without_tests};
use super::tokens::{Kind, Token, tokens};

/// A path named in a file, from the crate's root (`crate::…`) or from another crate (`sqlx::…`).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Named {
    pub line: usize,
    pub path: Vec<String>,
    /// Whether all that lies below the path comes into reach: a glob import, or a new name for it.
    pub open: bool,
    pub way: Way,
}

/// How a file comes to name a path.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Way {
    Code,
    /// In an attribute's string, where a module may stand for what is in it.
    Attribute,
    /// By a `use`, which binds this name: `*` for a glob, `_` for none.
    Import {
        name: String,
        /// Whether the name is the file's own, to be had from other files, and not that of a block or inline module.
        outermost: bool,
        public: bool,
    },
}

impl Named {
    /// Whether this gives access to `target`, written `a::b`.
    pub fn reaches(&self, target: &str) -> bool {
        let target: Vec<&str> = target.split("::").collect();
        let shared = self.path.iter().zip(&target).take_while(|(here, there)| here == *there).count();
        shared == target.len() || (self.open && shared == self.path.len())
    }

    /// Whether this ends in `tail`, written `Type::function`, wherever `Type` was imported from.
    pub fn ends_in(&self, tail: &str) -> bool {
        let tail: Vec<&str> = tail.split("::").collect();
        self.path.len() >= tail.len() && self.path[self.path.len() - tail.len()..] == tail
    }

    /// Whether this is a `use` that hands on what it imports.
    pub fn is_public(&self) -> bool {
        matches!(self.way, Way::Import { public: true, .. })
    }

    pub fn text(&self) -> String {
        let text = self.path.join("::");
        if self.open { format!("{text}::*") } else { text }
    }
}

/// Where a file stands in its crate.
pub struct Place<'a> {
    /// The module that the file is, such as `["crate", "domain", "clock"]`.
    pub module: Vec<String>,
    /// The name under which the crate's own binaries see its library; read as `crate`.
    pub library: &'a str,
    /// A feature whose code is left out of the scan.
    pub without_feature: Option<&'a str>,
    /// Whether tests are left out of the scan.
    pub without_tests: bool,
}

impl<'a> Place<'a> {
    /// The place of a file given by its path below `src`.
    pub fn of(file: &str, library: &'a str) -> Self {
        let stem = file.strip_suffix(".rs").unwrap_or(file);
        let mut module = vec!["crate".to_owned()];
        module.extend(stem.split('/').map(str::to_owned));
        if matches!(module.last().map(String::as_str), Some("mod" | "lib" | "main")) {
            module.pop();
        }
        Self { module, library, without_feature: None, without_tests: false }
    }
}

/// Every path of two or more parts that the file names, and every import.
pub fn named(source: &str, place: &Place<'_>) -> Vec<Named> {
    let mut tokens = tokens(source);
    if let Some(feature) = place.without_feature {
        tokens = without_feature(&tokens, feature);
    }
    if place.without_tests {
        tokens = without_tests(&tokens).0;
    }
    let mut walk = Walk {
        place,
        tokens: &tokens,
        at: 0,
        module: place.module.clone(),
        depth: 0,
        public: false,
        opened: Vec::new(),
        names: BTreeMap::new(),
        raw: Vec::new(),
    };
    walk.run();
    let Walk { names, raw, .. } = walk;
    raw.into_iter()
        .map(|(module, named)| Named { path: resolve(&named.path, &module, place.library, &names), ..named })
        .collect()
}

/// Lines that pull in a source file by its place on disk, past every door.
pub fn pulled_in(source: &str) -> Vec<usize> {
    let tokens = tokens(source);
    tokens
        .windows(4)
        .filter(|four| {
            let path =
                four[0].is('#') && four[1].is('[') && four[2].word() == Some("path") && four[3].is('=');
            path || (four[0].word() == Some("include") && four[1].is('!'))
        })
        .map(|four| four[0].line)
        .collect()
}

/// Turns a path as written into one from the crate's root or from another crate.
fn resolve(
    path: &[String],
    module: &[String],
    library: &str,
    names: &BTreeMap<String, Vec<String>>,
) -> Vec<String> {
    let mut base = module.to_vec();
    let mut rest = path;
    match path.first().map(String::as_str) {
        Some("crate") => return path.to_vec(),
        Some(first) if first == library => base.truncate(1),
        Some("self" | "super") => {
            while let Some("self" | "super") = rest.first().map(String::as_str) {
                if rest[0] == "super" && base.len() > 1 {
                    base.pop();
                }
                rest = &rest[1..];
            }
            return [&base, rest].concat();
        }
        Some(first) => match names.get(first) {
            Some(full) => base.clone_from(full),
            None => return path.to_vec(),
        },
        None => return base,
    }
    rest = &rest[1..];
    [&base, rest].concat()
}

struct Walk<'a> {
    place: &'a Place<'a>,
    tokens: &'a [Token],
    at: usize,
    /// The module at this point of the file.
    module: Vec<String>,
    depth: usize,
    /// Whether the `use` at this point hands on what it imports.
    public: bool,
    /// Depths at which inline modules were opened.
    opened: Vec<usize>,
    /// What imported names and child modules of this file stand for. Scopes are not told apart: a name that means
    /// two things in one file is better read as both than missed.
    names: BTreeMap<String, Vec<String>>,
    /// Paths as written, with the module they were written in.
    raw: Vec<(Vec<String>, Named)>,
}

impl Walk<'_> {
    fn run(&mut self) {
        while let Some(token) = self.tokens.get(self.at) {
            let line = token.line;
            match &token.kind {
                Kind::Mark('{') => self.depth += 1,
                Kind::Mark('}') => {
                    if self.opened.last() == Some(&self.depth) {
                        self.opened.pop();
                        self.module.pop();
                    }
                    self.depth = self.depth.saturating_sub(1);
                }
                Kind::Text(text) if self.holds_a_path() => {
                    let path: Vec<String> = text.split("::").map(|part| part.trim().to_owned()).collect();
                    if path.len() > 1 {
                        self.keep(line, path, false, Way::Attribute);
                    }
                }
                Kind::Word(word) => match word.as_str() {
                    "mod" => self.module_item(),
                    // `use<'a>` in a type is not an import.
                    "use" if !self.mark_follows('<') => {
                        // `pub use`, or the bracket of `pub(…) use`.
                        self.public = self.at > 0
                            && (self.word_at(self.at - 1) == Some("pub") || self.tokens[self.at - 1].is(')'));
                        self.at += 1;
                        self.tree(Vec::new());
                        continue;
                    }
                    "extern" if self.word_at(self.at + 1) == Some("crate") => {
                        self.at += 2;
                        self.tree(Vec::new());
                        continue;
                    }
                    _ => {
                        self.inline(line);
                        continue;
                    }
                },
                Kind::Mark(_) | Kind::Join | Kind::Text(_) => {}
            }
            self.at += 1;
        }
    }

    fn word_at(&self, at: usize) -> Option<&str> {
        self.tokens.get(at).and_then(Token::word)
    }

    fn mark_follows(&self, mark: char) -> bool {
        self.tokens.get(self.at + 1).is_some_and(|token| token.is(mark))
    }

    fn keep(&mut self, line: usize, path: Vec<String>, open: bool, way: Way) {
        self.raw.push((self.module.clone(), Named { line, path, open, way }));
    }

    fn keep_import(&mut self, line: usize, path: Vec<String>, open: bool, name: &str) {
        let way = Way::Import { name: name.to_owned(), outermost: self.depth == 0, public: self.public };
        self.keep(line, path, open, way);
    }

    /// Whether the string at this point is an attribute's path, as in `#[serde(with = "crate::storage::day")]`.
    fn holds_a_path(&self) -> bool {
        const KEYS: [&str; 10] = [
            "with",
            "default",
            "serialize_with",
            "deserialize_with",
            "skip_serializing_if",
            "from",
            "into",
            "try_from",
            "remote",
            "crate",
        ];
        self.at >= 2
            && self.tokens[self.at - 1].is('=')
            && self.word_at(self.at - 2).is_some_and(|word| KEYS.contains(&word))
    }

    fn module_item(&mut self) {
        let Some(name) = self.word_at(self.at + 1).map(str::to_owned) else { return };
        let mut full = self.module.clone();
        full.push(name.clone());
        self.names.insert(name.clone(), full);
        self.at += 1;
        if self.mark_follows('{') {
            self.at += 1;
            self.depth += 1;
            self.opened.push(self.depth);
            self.module.push(name);
        }
    }

    /// One path written in code, which starts at this word.
    fn inline(&mut self, line: usize) {
        let field = self.at > 0 && self.tokens[self.at - 1].is('.');
        let mut path = Vec::new();
        while let Some(word) = self.word_at(self.at) {
            path.push(word.to_owned());
            self.at += 1;
            let joined = self.tokens.get(self.at).is_some_and(|token| token.kind == Kind::Join);
            if !joined || self.word_at(self.at + 1).is_none() {
                break;
            }
            self.at += 1;
        }
        if path.len() > 1 && !field {
            self.keep(line, path, false, Way::Code);
        }
    }

    /// One `use` tree below `prefix`; stops before the `,`, `}` or `;` that ends it.
    fn tree(&mut self, prefix: Vec<String>) {
        let mut path = prefix;
        while let Some(token) = self.tokens.get(self.at) {
            let line = token.line;
            match &token.kind {
                Kind::Join => self.at += 1,
                Kind::Word(word) if word == "as" => {
                    let name = self.word_at(self.at + 1).unwrap_or("_").to_owned();
                    self.at += 2;
                    self.import(line, path, Some(name));
                    return;
                }
                Kind::Word(word) => {
                    // `a::{self}` is `a`; a leading `self` is the module.
                    if word != "self" || path.is_empty() {
                        path.push(word.clone());
                    }
                    self.at += 1;
                }
                Kind::Mark('*') => {
                    self.at += 1;
                    self.keep_import(line, path, true, "*");
                    return;
                }
                Kind::Mark('{') => {
                    self.at += 1;
                    while let Some(inner) = self.tokens.get(self.at) {
                        match inner.kind {
                            Kind::Mark('}') => {
                                self.at += 1;
                                return;
                            }
                            Kind::Mark(',') => self.at += 1,
                            _ => {
                                let before = self.at;
                                self.tree(path.clone());
                                // Broken source must not hold the walk up.
                                self.at = self.at.max(before + 1);
                            }
                        }
                    }
                    return;
                }
                _ => {
                    self.import(line, path, None);
                    return;
                }
            }
        }
    }

    fn import(&mut self, line: usize, path: Vec<String>, new_name: Option<String>) {
        let full = resolve(&path, &self.module, self.place.library, &self.names);
        let open = new_name.is_some();
        let Some(name) = new_name.or_else(|| path.last().cloned()) else { return };
        self.keep_import(line, path, open, &name);
        // `use x::x` must not make `x` stand for `x::x`'s own parent.
        if full.first() != Some(&name) {
            self.names.insert(name, full);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The paths that `source` names when it is the file `domain/clock.rs`, each as `line text`.
    fn read(source: &str) -> Vec<String> {
        read_at("domain/clock.rs", source)
    }

    fn read_at(file: &str, source: &str) -> Vec<String> {
        let place = Place::of(file, "eavesward_service");
        named(source, &place).iter().map(|named| format!("{} {}", named.line, named.text())).collect()
    }

    #[test]
    fn comments_strings_and_lifetimes_are_no_code() {
        let source = r##"
            // crate::a::b
            /* crate::a /* nested crate::b */ crate::c */
            //! crate::d::e
            const A: &str = "crate::f::g \" crate::h";
            const B: &str = r#"crate::i " crate::j"#;
            const C: &[u8] = b"crate::k";
            const D: (char, char, u8) = ('"', '\'', b'"');
            fn e<'a>(x: &'a str) -> &'a str { x }
            static F: real::Path = 1;
        "##;
        assert_eq!(read(source), ["10 real::Path"]);
    }

    #[test]
    fn use_trees_are_spread_out() {
        let source =
            "use crate::{http::{Page, self as web}, storage,\n jobs::*};\npub(crate) use ::sqlx::Row as _;";
        assert_eq!(
            read(source),
            [
                "1 crate::http::Page",
                "1 crate::http::*",
                "1 crate::storage",
                "2 crate::jobs::*",
                "3 sqlx::Row::*"
            ]
        );
    }

    #[test]
    fn relative_paths_are_followed() {
        assert_eq!(read("use super::super::storage::Row;"), ["1 crate::storage::Row"]);
        assert_eq!(
            read("fn f() { self::now(); super::x::y() }"),
            ["1 crate::domain::clock::now", "1 crate::domain::x::y"]
        );
        assert_eq!(
            read_at("domain/mod.rs", "mod tests { use super::storage::X; }"),
            ["1 crate::domain::storage::X"]
        );
        assert_eq!(
            read_at("domain/mod.rs", "mod tests { fn f() {} } use super::storage::X;"),
            ["1 crate::storage::X"]
        );
        assert_eq!(read_at("lib.rs", "mod storage; pub use storage::Pool;"), ["1 crate::storage::Pool"]);
        assert_eq!(read_at("main.rs", "use eavesward_service::server;"), ["1 crate::server"]);
    }

    #[test]
    fn imported_names_are_followed() {
        assert_eq!(
            read("use chrono::Utc as U; fn f() { U::now() }"),
            ["1 chrono::Utc::*", "1 chrono::Utc::now"]
        );
        assert_eq!(
            read("use std::time; fn f() { time::SystemTime::now() }"),
            ["1 std::time", "1 std::time::SystemTime::now"]
        );
        assert_eq!(read("extern crate sqlx as db; type A = db::Pool;"), ["1 sqlx::*", "1 sqlx::Pool"]);
    }

    #[test]
    fn code_paths_are_seen_wherever_they_stand() {
        for source in [
            "#[derive(sqlx::FromRow)] struct A;",
            "fn f(x: Vec<sqlx::FromRow>) {}",
            "fn f() { sqlx::FromRow::<u8>() }",
            "m!(x, ::sqlx::FromRow);",
            "impl<T: sqlx::FromRow> A for T {}",
            "#[serde(with = \"sqlx::FromRow\")] a: u8,",
        ] {
            assert_eq!(read(source), ["1 sqlx::FromRow"], "{source}");
        }
        assert_eq!(read("macro_rules! m { () => { $crate::storage::x() } }"), ["1 crate::storage::x"]);
        assert!(read("#[expect(dead_code, reason = \"sqlx::FromRow\")] fn f() { a.b }").is_empty());
    }

    #[test]
    fn reach_is_judged_by_whole_parts() {
        let place = Place::of("domain/clock.rs", "");
        let reaches =
            |source: &str, target: &str| named(source, &place).iter().any(|named| named.reaches(target));
        assert!(reaches("use std::fs::File;", "std::fs"));
        assert!(reaches("use std::*;", "std::fs"));
        assert!(reaches("use std as s;", "std::fs"));
        assert!(!reaches("use std::fmt::*;", "std::fs"));
        assert!(!reaches("use crate::storage_like::X;", "crate::storage"));
        assert!(named("fn f() { chrono::offset::Utc::now }", &place)[0].ends_in("Utc::now"));
        assert!(!named("fn f() { MyUtc::now() }", &place)[0].ends_in("Utc::now"));
    }

    #[test]
    fn files_pulled_in_by_place_are_seen() {
        assert_eq!(pulled_in("\n#[path = \"../storage/x.rs\"]\nmod x;\ninclude!(\"y.rs\");"), [2, 4]);
        assert!(
            pulled_in("const A: &str = include_str!(\"y.sql\"); #[get(path = \"x\")] fn f() {}").is_empty()
        );
    }
}
