//! No file needs, by way of others, a file that needs it.
//!
//! A circle is reported with the arrows that tie it. To break one, move what two files need of each other into a file
//! below both.

use std::collections::{BTreeMap, BTreeSet};

use super::graph::{Arrow, arrows};
use super::{assert_none, sources};

/// The sources of each crate, and the name under which its binaries see its library.
const CRATES: [(&str, &str); 4] = [
    ("service/src", "eavesward_service"),
    ("service/engine/src", "eavesward_engine"),
    ("openapi/src", "eavesward_contract"),
    ("client/src", "eavesward_client"),
];

/// An arrow that may close a circle, between files given by their paths from the workspace's root.
struct Allowed {
    from: &'static str,
    to: &'static str,
    why: &'static str,
}

/// May only shrink.
const ALLOWED: [Allowed; 0] = [];

#[test]
fn no_files_need_each_other_in_a_circle() {
    let mut all = Vec::new();
    for (dir, library) in CRATES {
        let files = sources(dir);
        let found = arrows(&files, library);
        assert!(!found.is_empty(), "{dir}: no file was found to name another");
        let placed = |file: &str| format!("{dir}/{file}");
        all.extend(found.into_iter().map(|arrow| Arrow {
            from: placed(&arrow.from),
            to: placed(&arrow.to),
            ..arrow
        }));
    }
    assert_none(&circle_faults(&all, &ALLOWED));
}

/// The circles that stay when the allowed arrows are cut, and the exceptions that cut none.
fn circle_faults(arrows: &[Arrow], allowed: &[Allowed]) -> Vec<String> {
    let is = |arrow: &Arrow, exception: &Allowed| arrow.from == exception.from && arrow.to == exception.to;
    let left_by = |cut: &dyn Fn(&Arrow) -> bool| -> Vec<Arrow> {
        arrows.iter().filter(|arrow| !cut(arrow)).cloned().collect()
    };
    let left = left_by(&|arrow| allowed.iter().any(|exception| is(arrow, exception)));
    let mut faults: Vec<String> = circles(&left).iter().map(|circle| describe(circle, &left)).collect();
    for (at, exception) in allowed.iter().enumerate() {
        let others = |arrow: &Arrow| {
            allowed.iter().enumerate().any(|(other, exception)| other != at && is(arrow, exception))
        };
        let closes = circles(&left_by(&others))
            .iter()
            .any(|circle| circle.contains(exception.from) && circle.contains(exception.to));
        if !closes {
            let Allowed { from, to, why } = exception;
            faults.push(format!("{from} -> {to} closes no circle: strike the exception ({why})"));
        }
    }
    faults
}

/// Groups of two and more files each of which is reached from each.
fn circles(arrows: &[Arrow]) -> Vec<BTreeSet<String>> {
    let mut next: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for arrow in arrows {
        next.entry(&arrow.from).or_default().insert(&arrow.to);
    }
    let reached: BTreeMap<&str, BTreeSet<&str>> =
        next.keys().map(|from| (*from, reach(from, &next))).collect();
    let mut placed: BTreeSet<&str> = BTreeSet::new();
    let mut found = Vec::new();
    for (from, to) in &reached {
        let circle: BTreeSet<&str> = to
            .iter()
            .copied()
            .filter(|other| reached.get(other).is_some_and(|back| back.contains(from)))
            .collect();
        if circle.len() > 1 && placed.insert(from) {
            placed.extend(&circle);
            found.push(circle.into_iter().map(str::to_owned).collect());
        }
    }
    found
}

/// Every file that arrows lead to from this one.
fn reach<'a>(from: &'a str, next: &BTreeMap<&'a str, BTreeSet<&'a str>>) -> BTreeSet<&'a str> {
    let mut seen = BTreeSet::new();
    let mut open = vec![from];
    while let Some(file) = open.pop() {
        for to in next.get(file).into_iter().flatten() {
            if seen.insert(*to) {
                open.push(to);
            }
        }
    }
    seen
}

/// A circle in words: its files, and each arrow between two of them where it first stands.
fn describe(circle: &BTreeSet<String>, arrows: &[Arrow]) -> String {
    let mut ties: BTreeMap<(&str, &str), &Arrow> = BTreeMap::new();
    for arrow in arrows.iter().filter(|arrow| circle.contains(&arrow.from) && circle.contains(&arrow.to)) {
        let first = ties.entry((&arrow.from, &arrow.to)).or_insert(arrow);
        if arrow.line < first.line {
            *first = arrow;
        }
    }
    let mut lines = vec![format!("a circle of {} files:", circle.len())];
    lines.extend(
        ties.into_values()
            .map(|Arrow { from, line, to, text }| format!("  {from}:{line} needs {to} for {text}")),
    );
    lines.join("\n")
}

/// On made-up crates, each file given by its path below `src` and its source.
mod can_fail {
    use super::*;

    fn found(crate_files: &[(&str, &str)]) -> Vec<Arrow> {
        let files = crate_files.iter().map(|(file, source)| ((*file).to_owned(), (*source).to_owned()));
        arrows(&files.collect(), "eavesward_client")
    }

    /// The files of each circle, with spaces between.
    fn tied(crate_files: &[(&str, &str)]) -> Vec<String> {
        let of_one = |circle: BTreeSet<String>| circle.into_iter().collect::<Vec<_>>().join(" ");
        circles(&found(crate_files)).into_iter().map(of_one).collect()
    }

    #[test]
    fn circles_of_two_and_three() {
        let two = [
            ("a.rs", "use crate::b::B;\npub struct A(B);"),
            ("b.rs", "pub struct B;\n\nfn f() { crate::a::A::new(); crate::a::g() }"),
            ("c.rs", "use crate::a::A; use crate::b::B;"),
        ];
        assert_eq!(
            circle_faults(&found(&two), &[]),
            [
                "a circle of 2 files:\n  a.rs:1 needs b.rs for crate::b::B\n  b.rs:3 needs a.rs for crate::a::A::new"
            ]
        );
        // Each tie is shown where it first stands.
        let late = [
            ("a.rs", "use crate::b::*;\n\nfn f() { crate::b::g() }\ntype A = B;"),
            ("b.rs", "use crate::a::f; pub struct B;"),
        ];
        assert!(circle_faults(&found(&late), &[])[0].contains("\n  a.rs:3 needs b.rs for crate::b::g\n"));
        let three = [
            ("a.rs", "use crate::b::B;"),
            ("b.rs", "#[serde(with = \"crate::c\")] pub struct B;"),
            ("c.rs", "fn f(x: crate::d::A) {}"),
            ("d.rs", "use crate::a; type A = a::A;"),
        ];
        assert_eq!(tied(&three), ["a.rs b.rs c.rs d.rs"]);
        assert!(tied(&three[..3]).is_empty());
        let apart = [&two[..2], &[("x/y.rs", "use super::z::Z;"), ("x/z.rs", "pub type Z = super::y::Y;")]];
        assert_eq!(tied(&apart.concat()), ["a.rs b.rs", "x/y.rs x/z.rs"]);
    }

    #[test]
    fn circles_by_relative_paths() {
        for (b, c) in [
            ("use super::c::C;", "use super::b::B;"),
            ("use super::*; fn f(x: c::C) {}", "mod inner { fn f() { super::super::b::f() } }"),
            ("use super::c; fn f() { self::c::f() }", "type B = super::b::B;"),
            ("use super::c as d; fn f() { d::f() }", "use super::{b::{self, B}};"),
        ] {
            let files = [("a/mod.rs", "mod b; mod c;"), ("a/b.rs", b), ("a/c.rs", c)];
            let found = tied(&files);
            assert!(found == ["a/b.rs a/c.rs"], "{b} {c}: {found:?}");
        }
        // From `a/mod.rs`, `super` is the crate's root; from `a.rs` too; from `a/b.rs` it is `a`.
        for parent in ["a/mod.rs", "a.rs"] {
            let files = [
                (parent, "mod b; pub struct A; use super::c::C;"),
                ("c.rs", "use super::a::b::B;"),
                ("a/b.rs", "use super::A;"),
            ];
            assert_eq!(
                tied(&files),
                [if parent == "a.rs" { "a.rs a/b.rs c.rs" } else { "a/b.rs a/mod.rs c.rs" }]
            );
        }
    }

    #[test]
    fn tests_close_no_circle() {
        let b = ("b.rs", "use crate::a::A; pub struct B;");
        for source in [
            "pub struct A; #[cfg(test)] mod tests { use super::*; use crate::b::B; }",
            "pub struct A; #[cfg(test)] use crate::b::B; #[cfg(test)] fn f() -> Result<B, u8> { crate::b::f() }",
            "pub struct A; mod tests { fn f() { crate::b::f() } }",
            "pub struct A; // crate::b::B",
        ] {
            assert!(tied(&[("a.rs", source), b]).is_empty(), "{source}");
        }
        let in_files = [
            ("a/mod.rs", "pub struct A; #[cfg(test)] mod samples;"),
            ("a/samples/mod.rs", "use super::A; mod c; pub fn f() { c::g() }"),
            ("a/samples/c.rs", "pub fn g() { super::f() }"),
            b,
        ];
        assert!(tied(&in_files).is_empty());
        // The same without its gate.
        let [(_, _), samples, c, b] = in_files;
        assert_eq!(tied(&[("a/mod.rs", "pub struct A; mod samples;"), samples, c, b]).len(), 1);
    }

    /// A parent that only hands its children's names on needs nothing of them.
    #[test]
    fn names_that_are_handed_on() {
        let child = ("m/a.rs", "use super::P; pub struct A(P); pub fn limit() {}");
        for parent in [
            "mod a; pub use a::A; pub struct P;",
            "pub struct P; pub use a::A as Z; mod a;",
            "mod a; pub use a::*; pub struct P;",
            "mod a; use self::a::{self, A, limit}; pub struct P;",
            "mod a; use a::limit; pub struct P { limit: u8 } fn f(p: P) { P { limit: p.limit }.limit() }",
            "mod a; use a::limit; pub struct P; fn f(limit: u8) { limit + 1 } impl P { fn limit() {} }",
            "mod a; use a::limit; pub struct P; fn f() { let limit = 1; limit + 2 }",
            "mod a; use a::limit; pub struct P; fn f() { other::limit() }",
            "mod a; use a::A; pub struct P; #[cfg(test)] fn f(a: A) {}",
        ] {
            for file in ["m.rs", "m/mod.rs"] {
                let files = [(file, parent), child];
                assert!(tied(&files).is_empty(), "{parent}: {:?}", found(&files));
            }
        }
        for parent in [
            "mod a; pub use a::A; pub struct P(A);",
            "mod a; pub use a::A as Z; pub struct P(Z);",
            "mod a; use a::limit; pub struct P; fn f() { limit() }",
            "mod a; use a::limit; pub struct P; fn f() -> fn() { limit }",
            "mod a; use a::limit; pub struct P { limit: u8 } fn f() { limit() }",
            "mod a; use a::Make as _; pub struct P;",
            "mod a; use a::*; pub struct P(A);",
            "mod a; pub struct P; fn f() { a::limit() }",
        ] {
            let found = tied(&[("m.rs", parent), child]);
            assert!(found == ["m.rs m/a.rs"], "{parent}: {found:?}");
        }
    }

    /// The file that defines a name is needed, whichever way the name goes.
    #[test]
    fn names_lead_to_the_file_that_defines_them() {
        let b = ("m/b.rs", "use super::A; pub struct B(A); pub fn b() {}");
        for (parent, a) in [
            ("mod a; mod b; pub use a::A; pub use b::B;", "use crate::m::B; pub struct A;"),
            ("mod a; mod b; pub use a::*; pub use b::*;", "use super::B; pub struct A;"),
            ("mod a; mod b; pub use a::*; pub use b::*;", "use super::*; pub struct A(B);"),
            ("mod a; mod b; pub use a::A; pub use b::B as C;", "type D = super::C; pub struct A;"),
            ("mod a; mod b; pub use a::A; pub use b::b;", "pub struct A; fn f() { super::b() }"),
        ] {
            let found = tied(&[("m/mod.rs", parent), ("m/a.rs", a), b]);
            assert!(found == ["m/a.rs m/b.rs"], "{parent} {a}: {found:?}");
        }
        // Without the second file, nothing is left of the circle.
        let apart =
            [("m/mod.rs", "mod a; mod b; pub use a::A; pub use b::B;"), ("m/a.rs", "pub struct A;"), b];
        assert!(tied(&apart).is_empty());
        // What another crate defines is had from the file that hands it on.
        let foreign =
            [("m.rs", "pub use other::O; use crate::n::N;"), ("n.rs", "use crate::m::O; pub struct N;")];
        assert_eq!(tied(&foreign), ["m.rs n.rs"]);
        // A glob from outside brings what its module hands on, and else the module itself is needed.
        for parent in ["mod a; pub use a::A;", "mod a; pub(crate) use a::A;"] {
            let files =
                [("m.rs", parent), ("m/a.rs", "use crate::x::X;"), ("x.rs", "use crate::m::*; type X = A;")];
            assert_eq!(tied(&files), ["m/a.rs x.rs"], "{parent}");
        }
        let made = [("m.rs", "words! { N } use crate::x::X;"), ("x.rs", "use crate::m::*; struct X(N);")];
        assert_eq!(tied(&made), ["m.rs x.rs"]);
        // What a function imports is no name of its module.
        let within = [
            ("m.rs", "pub struct N; fn f() { use crate::n::N; }"),
            ("n.rs", "use crate::x::X; pub struct N;"),
            ("x.rs", "use crate::m::N; pub struct X;"),
        ];
        assert_eq!(tied(&within), ["m.rs n.rs x.rs"]);
        // Who may see an item needs nothing.
        let seen = [
            ("m.rs", "mod n; pub struct M; use n::N; type T = N;"),
            ("m/n.rs", "pub(in crate::m) struct N;"),
        ];
        assert!(tied(&seen).is_empty());
    }

    #[test]
    fn binaries_have_a_tree_of_their_own() {
        let files = [
            ("lib.rs", "mod args; mod cmd;"),
            ("args.rs", "use crate::cmd::Cmd;"),
            ("cmd.rs", "pub struct Cmd;"),
            ("bin/x/main.rs", "mod args; mod cmd;"),
            ("bin/x/args.rs", "pub struct Args;"),
            ("bin/x/cmd.rs", "use crate::args::Args; use eavesward_client::args::Other;"),
        ];
        assert!(tied(&files).is_empty());
        let arrows: Vec<String> =
            found(&files).iter().map(|arrow| format!("{} {}", arrow.from, arrow.to)).collect();
        assert_eq!(arrows, ["args.rs cmd.rs", "bin/x/cmd.rs bin/x/args.rs", "bin/x/cmd.rs args.rs"]);
        let within =
            [("bin/x/a.rs", "use crate::b::B;"), ("bin/x/b.rs", "use super::a::A;"), ("main.rs", "")];
        assert_eq!(tied(&within), ["bin/x/a.rs bin/x/b.rs"]);
    }

    #[test]
    fn exceptions() {
        let arrows = found(&[
            ("a.rs", "use crate::b::B;"),
            ("b.rs", "use crate::a::A;"),
            ("c.rs", "use crate::a::A;"),
        ]);
        let allowed = |from, to| Allowed { from, to, why: "a reason" };
        assert_eq!(circle_faults(&arrows, &[]).len(), 1);
        assert_none(&circle_faults(&arrows, &[allowed("a.rs", "b.rs")]));
        assert_eq!(
            circle_faults(&arrows, &[allowed("b.rs", "a.rs"), allowed("c.rs", "a.rs")]),
            ["c.rs -> a.rs closes no circle: strike the exception (a reason)"]
        );
    }
}
