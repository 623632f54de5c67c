//! Which file of a crate names what another one defines.
//!
//! A path leads to the file of the deepest module that it names, and from there along `use` to the file that defines
//! the item. So a `mod.rs` that only declares its children and hands their names on takes part in no circle: `mod`
//! lines and imports of a module's own children are no arrows unless the module's code needs them itself.

use std::collections::BTreeMap;

use super::outline::Outline;
use super::scanner::{Place, Way};

/// One file names what another defines.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Arrow {
    pub from: String,
    pub line: usize,
    pub to: String,
    /// The path as it stands there, in full.
    pub text: String,
}

/// More than re-exports ever stand in a row; a `use` that leads to itself ends here.
const MOST_HOPS: usize = 8;

/// The arrows between the files of one crate, given by their paths below `src`. The crate's binaries see its library
/// by the name `library`.
pub fn arrows(files: &BTreeMap<String, String>, library: &str) -> Vec<Arrow> {
    let whole = Crate::read(files, library);
    whole.files.iter().flat_map(|file| whole.arrows_of(file)).collect()
}

struct File<'a> {
    name: &'a str,
    /// The root file's folder below `src`: empty for the library, `bin/x` for a binary.
    root: String,
    module: Vec<String>,
    outline: Outline,
}

struct Crate<'a> {
    files: Vec<File<'a>>,
    library: &'a str,
}

/// What a path leads to.
enum End<'a> {
    /// An item of this file.
    Item(&'a File<'a>),
    /// The module that this file is.
    Module(&'a File<'a>),
}

impl<'a> Crate<'a> {
    fn read(files: &'a BTreeMap<String, String>, library: &'a str) -> Self {
        let mut read: Vec<File<'a>> = files
            .iter()
            .map(|(name, source)| {
                let (root, below) = root_of(name);
                let place = Place::of(below, "");
                let outline = Outline::of(source, &place);
                File { name, root: root.to_owned(), module: place.module, outline }
            })
            .collect();
        let tests: Vec<(String, Vec<String>)> = read
            .iter()
            .flat_map(|file| {
                file.outline.tests.iter().map(|name| {
                    (file.root.clone(), [file.module.as_slice(), std::slice::from_ref(name)].concat())
                })
            })
            .collect();
        read.retain(|file| {
            !tests.iter().any(|(root, module)| *root == file.root && file.module.starts_with(module))
        });
        Self { files: read, library }
    }

    fn arrows_of(&self, file: &File<'_>) -> Vec<Arrow> {
        let mut arrows = Vec::new();
        for named in &file.outline.named {
            let mut arrow = |to: &File<'_>, line: usize, text: String| {
                if to.name != file.name {
                    arrows.push(Arrow { from: file.name.to_owned(), line, to: to.name.to_owned(), text });
                }
            };
            match (&named.way, self.end_seen_from(file, &named.path)) {
                (Way::Import { name, .. }, Some(End::Module(to))) if name == "*" => {
                    let used = self.used_of_glob(file, to);
                    if used.is_empty() && !below(to, file) {
                        arrow(to, named.line, named.text());
                    }
                    for (to, line, name) in used {
                        arrow(to, line, format!("{} by {}", name, named.text()));
                    }
                }
                // A child's name that the module's own code does not need is only handed on.
                (Way::Import { name, .. }, Some(End::Item(to))) => {
                    let needed = name == "_" || name == "*" || file.outline.words.contains_key(name);
                    if needed || !below(to, file) {
                        arrow(to, named.line, named.text());
                    }
                }
                (Way::Code, Some(End::Item(to)))
                | (Way::Attribute, Some(End::Item(to) | End::Module(to))) => {
                    arrow(to, named.line, named.text());
                }
                // A module's name takes nothing from it; the paths that go on from it do.
                (Way::Import { .. } | Way::Code, Some(End::Module(_))) | (_, None) => {}
            }
        }
        arrows
    }

    /// Names that a file uses and has by a glob from a module: the file that defines each, the line, and the name.
    fn used_of_glob<'s>(
        &'s self,
        file: &'s File<'_>,
        module: &File<'_>,
    ) -> Vec<(&'s File<'s>, usize, &'s str)> {
        let own = |name: &str| file.outline.defined.contains(name) || file.outline.imported(name).is_some();
        let words = file.outline.words.iter().filter(|(name, _)| !own(name));
        words
            .filter_map(|(name, line)| {
                let to = self.given_by(module, name, below(file, module), 0)?;
                Some((to, *line, name.as_str()))
            })
            .collect()
    }

    /// The file of the deepest module that the path names, and how many of its parts that takes.
    fn deepest(&self, root: &str, path: &[String]) -> Option<(&File<'_>, usize)> {
        let (root, path) = match path.first().map(String::as_str) {
            Some("crate") => (root, path.to_vec()),
            Some(first) if first == self.library => ("", [&["crate".to_owned()], &path[1..]].concat()),
            _ => return None,
        };
        self.files
            .iter()
            .filter(|file| file.root == root && path.starts_with(&file.module))
            .max_by_key(|file| file.module.len())
            .map(|file| (file, file.module.len()))
    }

    /// What a path of the file leads to; one that starts with neither the crate nor a name that the file binds may go
    /// by a module that a glob brings in.
    fn end_seen_from(&self, file: &File<'_>, path: &[String]) -> Option<End<'_>> {
        self.end(&file.root, path, 0).or_else(|| {
            file.outline.globs().find_map(|glob| {
                let full = [&glob.path, path].concat();
                let (_, parts) = self.deepest(&file.root, &full)?;
                self.end(&file.root, &full, 0).filter(|_| parts > glob.path.len())
            })
        })
    }

    /// What the path leads to, if that is in this crate.
    fn end(&self, root: &str, path: &[String], hops: usize) -> Option<End<'_>> {
        let (file, parts) = self.deepest(root, path)?;
        if let Some(name) = path.get(parts) {
            let to = match file.outline.imported(name) {
                Some(import) if hops < MOST_HOPS => {
                    let full = [&import.path, &path[parts + 1..]].concat();
                    match self.end(&file.root, &full, hops + 1) {
                        Some(End::Module(to)) => return Some(End::Module(to)),
                        Some(End::Item(to)) => to,
                        // Another crate's item, handed on by this file.
                        None => file,
                    }
                }
                _ => self.given_by(file, name, true, hops).unwrap_or(file),
            };
            return Some(End::Item(to));
        }
        // A function may have the name of a module beside it.
        let twin = path.split_last().and_then(|(name, parent)| {
            let (parent, _) = self.deepest(root, parent)?;
            self.bound_by(parent, name, true, hops)
        });
        Some(twin.map_or(End::Module(file), End::Item))
    }

    /// The file whose item the module has under this name: its own, an imported one, or one that a glob brings.
    /// Whoever stands `inside` the module sees its private imports as well.
    fn given_by(&self, module: &File<'_>, name: &str, inside: bool, hops: usize) -> Option<&File<'_>> {
        self.bound_by(module, name, inside, hops).or_else(|| {
            let globs = module.outline.globs().filter(|glob| inside || glob.is_public());
            let mut globs = globs.filter(|_| hops < MOST_HOPS);
            globs.find_map(|glob| match self.end(&module.root, &glob.path, hops + 1)? {
                End::Module(from) => self.given_by(from, name, below(module, from), hops + 1),
                End::Item(_) => None,
            })
        })
    }

    /// The same without globs.
    fn bound_by(&self, module: &File<'_>, name: &str, inside: bool, hops: usize) -> Option<&File<'_>> {
        if module.outline.defined.contains(name) {
            return self.files.iter().find(|file| file.name == module.name);
        }
        let import = module.outline.imported(name).filter(|import| inside || import.is_public());
        let import = import.filter(|_| hops < MOST_HOPS)?;
        match self.end(&module.root, &import.path, hops + 1)? {
            End::Item(to) => Some(to),
            End::Module(_) => None,
        }
    }
}

/// Whether a file's module lies below that of another.
fn below(file: &File<'_>, other: &File<'_>) -> bool {
    file.root == other.root
        && file.module.len() > other.module.len()
        && file.module.starts_with(&other.module)
}

/// The folder below `src` of the root to whose tree a file belongs, and its path from there.
fn root_of(file: &str) -> (&str, &str) {
    let Some(binary) = file.strip_prefix("bin/") else {
        // The main file of a crate that has a library too is a root of its own.
        return if file == "main.rs" { ("main", file) } else { ("", file) };
    };
    match binary.split_once('/') {
        Some((name, below)) => (&file[..4 + name.len()], below),
        None => (file, "main.rs"),
    }
}
