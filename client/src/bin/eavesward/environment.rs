//! The environment of the command: variables, and whether its output is a terminal. A test passes its own.

use crate::show::Units;
use clap::ValueEnum;
use std::env;
use std::ffi::OsString;
use std::io::IsTerminal;
use std::path::PathBuf;

/// The environment, read once.
#[derive(Clone, Default)]
#[expect(clippy::struct_excessive_bools, reason = "each is a separate fact about the environment")]
pub struct Environment {
    /// `EAVESWARD_URL`.
    pub url: Option<String>,
    /// `EAVESWARD_KEY`.
    pub key: Option<String>,
    /// `EAVESWARD_PROFILE`.
    pub profile: Option<String>,
    /// `EAVESWARD_UNITS`.
    pub units: Option<String>,
    /// The file of profiles: `EAVESWARD_PROFILES`, or the default path.
    pub profiles: Option<PathBuf>,
    /// Whether `NO_COLOR` is set.
    pub no_color: bool,
    /// Whether the terminal understands no escape codes.
    pub dumb: bool,
    /// Whether standard output is a terminal.
    pub out_is_terminal: bool,
    /// Whether standard error is a terminal.
    pub err_is_terminal: bool,
}

/// Whether output has colours.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum Colour {
    /// On a terminal, unless NO_COLOR is set
    #[default]
    Auto,
    /// Always
    Always,
    /// Never
    Never,
}

impl Environment {
    /// Reads the environment of this process.
    pub fn of_process() -> Self {
        // An empty variable counts as not set.
        let text = |name: &str| env::var(name).ok().filter(|value| !value.is_empty());
        let path = |name: &str| env::var_os(name).filter(|value| !value.is_empty());
        Self {
            url: text("EAVESWARD_URL"),
            key: text("EAVESWARD_KEY"),
            profile: text("EAVESWARD_PROFILE"),
            units: text("EAVESWARD_UNITS"),
            profiles: path("EAVESWARD_PROFILES").map(PathBuf::from).or_else(|| usual_place(path)),
            // Any value that is not empty counts: https://no-color.org.
            no_color: path("NO_COLOR").is_some(),
            dumb: text("TERM").is_some_and(|term| term == "dumb"),
            out_is_terminal: std::io::stdout().is_terminal(),
            err_is_terminal: std::io::stderr().is_terminal(),
        }
    }

    /// Whether to use colours. The command line overrides `NO_COLOR`.
    pub fn colours(&self, asked: Colour) -> bool {
        match asked {
            Colour::Always => true,
            Colour::Never => false,
            Colour::Auto => self.out_is_terminal && !self.no_color && !self.dumb,
        }
    }

    /// Whether to draw a progress bar on standard error.
    pub fn progress(&self) -> bool {
        self.err_is_terminal && !self.dumb
    }

    /// The units that `EAVESWARD_UNITS` asks for.
    pub fn units(&self) -> Result<Option<Units>, String> {
        let Some(text) = &self.units else { return Ok(None) };
        Units::from_str(text, true)
            .map(Some)
            .map_err(|_| format!("EAVESWARD_UNITS is {text:?}; set it to us or si"))
    }
}

/// The default path: in `$XDG_CONFIG_HOME`, or `.config` in the home folder (XDG base directories), or `%APPDATA%`.
fn usual_place(path: impl Fn(&str) -> Option<OsString>) -> Option<PathBuf> {
    let absolute = |name: &str| path(name).map(PathBuf::from).filter(|path| path.is_absolute());
    let folder = absolute("XDG_CONFIG_HOME")
        .or_else(|| absolute("HOME").map(|home| home.join(".config")))
        .or_else(|| absolute("APPDATA"))?;
    Some(folder.join("eavesward").join("profiles.toml"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colours_are_for_terminals_that_nobody_asked_to_stay_plain() {
        for (asked, terminal, no_color, dumb, want) in [
            (Colour::Auto, true, false, false, true),
            (Colour::Auto, false, false, false, false),
            (Colour::Auto, true, true, false, false),
            (Colour::Auto, true, false, true, false),
            (Colour::Always, false, true, true, true),
            (Colour::Never, true, false, false, false),
        ] {
            let environment =
                Environment { no_color, dumb, out_is_terminal: terminal, ..Environment::default() };
            assert_eq!(environment.colours(asked), want, "{asked:?} {terminal} {no_color} {dumb}");
        }
    }

    #[test]
    fn profiles_are_kept_where_settings_are() {
        let place = |set: &'static [(&str, &str)]| {
            usual_place(|name| set.iter().find(|(known, _)| *known == name).map(|(_, value)| value.into()))
        };
        let at = |folder: &str| Some(PathBuf::from(folder).join("eavesward/profiles.toml"));
        assert_eq!(place(&[("XDG_CONFIG_HOME", "/x"), ("HOME", "/h")]), at("/x"));
        assert_eq!(place(&[("XDG_CONFIG_HOME", "relative"), ("HOME", "/h")]), at("/h/.config"));
        assert_eq!(place(&[("HOME", "/h")]), at("/h/.config"));
        assert_eq!(place(&[]), None);
    }
}
