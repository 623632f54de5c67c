//! Where settings come from: the defaults, then files, then the environment, then flags. The later one wins.

use super::layer::{DEFAULTS, Layer};
use anyhow::{Context as _, Result};
use std::collections::BTreeMap;
use std::ffi::OsString;
use std::fmt;
use std::path::{Path, PathBuf};
use toml::Table;

/// How the names of variables begin.
const PREFIX: &str = "EAVESWARD_";

/// Variables of the same prefix that are no settings: those of this program's other flags, and of the command.
const OTHER: [&str; 9] =
    ["CONFIG", "KEY", "KEY_FILE", "URL", "PROFILE", "PROFILES", "UNITS", "PG_BIN", "TESTS"];

/// Where the value of a setting comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Origin {
    /// The default.
    Default,
    /// A file of settings.
    File(PathBuf),
    /// A variable of the environment.
    Environment,
    /// A flag.
    Flag,
}

impl fmt::Display for Origin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Default => f.write_str("default"),
            Self::File(path) => write!(f, "{}", path.display()),
            Self::Environment => f.write_str("environment"),
            Self::Flag => f.write_str("flag"),
        }
    }
}

/// The origin of each setting, by its name.
pub type Origins = BTreeMap<String, Origin>;

/// The names of all settings.
pub fn names() -> Result<Vec<String>> {
    let defaults: Table = toml::from_str(DEFAULTS).context("the built-in defaults are not right")?;
    Ok(defaults.keys().cloned().collect())
}

/// The files of settings: each path itself, or if it is a folder the files in it that end in `.toml`, in the order of
/// their names.
fn files(paths: &[PathBuf]) -> Result<Vec<PathBuf>> {
    let mut files = Vec::new();
    for path in paths {
        if !path.is_dir() {
            files.push(path.clone());
            continue;
        }
        let told = || format!("the folder of settings {} cannot be read", path.display());
        let mut inside = Vec::new();
        for entry in std::fs::read_dir(path).with_context(told)? {
            let file = entry.with_context(told)?.path();
            if file.extension().is_some_and(|ending| ending == "toml") {
                inside.push(file);
            }
        }
        inside.sort();
        files.extend(inside);
    }
    Ok(files)
}

fn read(path: &Path) -> Result<(Layer, Table)> {
    let text = std::fs::read_to_string(path)
        .with_context(|| format!("the settings file {} cannot be read", path.display()))?;
    let wrong = || format!("the settings file {} is not right", path.display());
    Ok((toml::from_str(&text).with_context(wrong)?, toml::from_str(&text).with_context(wrong)?))
}

/// All files as one layer, and what each setting of it comes from.
pub(super) fn of_files(paths: &[PathBuf]) -> Result<(Layer, Origins)> {
    let (mut all, mut origins) = (Layer::default(), Origins::new());
    for path in files(paths)? {
        let (layer, named) = read(&path)?;
        all = layer.over(all);
        origins.extend(named.into_iter().map(|(name, _)| (name, Origin::File(path.clone()))));
    }
    Ok((all, origins))
}

/// Adds what the environment and the flags set. `line` is the command line.
pub(super) fn of_process(origins: &mut Origins, line: &[OsString]) -> Result<()> {
    for name in names()? {
        let flag = format!("--{}", name.replace('_', "-"));
        let given = |part: &OsString| {
            let part = part.to_string_lossy();
            part == flag || part.strip_prefix(&flag).is_some_and(|rest| rest.starts_with('='))
        };
        if line.iter().any(given) {
            origins.insert(name, Origin::Flag);
        } else if std::env::var_os(format!("{PREFIX}{}", name.to_ascii_uppercase())).is_some() {
            origins.insert(name, Origin::Environment);
        } else {
            origins.entry(name).or_insert(Origin::Default);
        }
    }
    Ok(())
}

/// Says which variables of the environment look like settings and are none.
pub(super) fn unknown_variables(variables: impl Iterator<Item = OsString>) -> Result<Vec<String>> {
    let names = names()?;
    let known = |name: &str| names.iter().any(|known| known.eq_ignore_ascii_case(name));
    let mut told = Vec::new();
    for variable in variables {
        let text = variable.to_string_lossy();
        let Some(name) = text.strip_prefix(PREFIX).filter(|name| !known(name)) else { continue };
        // `TESTS` stands for all variables of the tests.
        if OTHER.iter().any(|other| name == *other || name.starts_with("TESTS_")) {
            continue;
        }
        let lower = name.to_ascii_lowercase();
        let nearest = names
            .iter()
            .max_by(|a, b| strsim::jaro_winkler(a, &lower).total_cmp(&strsim::jaro_winkler(b, &lower)));
        let nearest = nearest.filter(|near| strsim::jaro_winkler(near, &lower) > 0.8);
        let hint = nearest.map_or_else(
            || "`eavesward-service settings` lists all settings".to_owned(),
            |near| format!("{PREFIX}{} is one", near.to_ascii_uppercase()),
        );
        told.push(format!("the variable {text} is no setting and has no effect; {hint}"));
    }
    Ok(told)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_misspelt_variable_is_told_with_the_nearest_setting() {
        let given = ["EAVESWARD_DATABSE_URL", "EAVESWARD_BIND", "EAVESWARD_KEY", "EAVESWARD_QQQQ", "PATH"];
        let told = unknown_variables(given.iter().map(OsString::from)).unwrap();
        assert_eq!(told.len(), 2, "{told:?}");
        assert!(told[0].contains("EAVESWARD_DATABASE_URL is one"), "{told:?}");
        assert!(told[1].contains("lists all settings"), "{told:?}");
    }

    #[test]
    fn a_flag_is_told_from_the_environment_and_from_a_file() {
        let mut origins = Origins::from([("workers".to_owned(), Origin::File("own.toml".into()))]);
        let line = ["eavesward-service", "serve", "--bind=127.0.0.1:0", "--drain-s", "3"].map(OsString::from);
        of_process(&mut origins, &line).unwrap();
        assert_eq!((&origins["bind"], &origins["drain_s"]), (&Origin::Flag, &Origin::Flag));
        assert_eq!(origins["workers"].to_string(), "own.toml");
        assert_eq!(origins["streams"], Origin::Default);
    }
}
