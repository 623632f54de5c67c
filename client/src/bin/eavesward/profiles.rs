//! Profiles: a user's services by name, in a file that only the user can read.

use crate::failure::Failure;
use crate::files::{self, Readers};
use crate::show::Units;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// The file.
#[derive(Clone, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Profiles {
    /// The profile that is used if none is named.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub current: Option<String>,
    /// All profiles by name.
    #[serde(default)]
    pub profiles: BTreeMap<String, StoredProfile>,
}

/// One service.
#[derive(Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StoredProfile {
    /// Its address.
    pub url: String,
    /// The bearer key itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub key: Option<String>,
    /// A file that holds it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub key_file: Option<PathBuf>,
    /// Units of figures.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub units: Option<Units>,
}

/// One service with its name.
pub struct NamedProfile {
    /// The name.
    pub name: String,
    /// The service.
    pub profile: StoredProfile,
}

impl Profiles {
    /// Reads the text of a file. The error shows no line of it, because lines hold keys.
    pub fn read(text: &str) -> Result<Self, String> {
        toml::from_str(text).map_err(|e| {
            let line = e.span().map(|span| text[..span.start.min(text.len())].matches('\n').count() + 1);
            let line = line.map(|line| format!("line {line}: ")).unwrap_or_default();
            format!("{line}{}", e.message())
        })
    }

    /// Reads the file. Without a file there are no profiles.
    pub fn load(path: Option<&Path>) -> Result<Self, Failure> {
        let Some(path) = path.filter(|path| path.exists()) else { return Ok(Self::default()) };
        let read = || {
            private(path)?;
            let text = std::fs::read_to_string(path)
                .map_err(|e| format!("{} could not be read: {e}", path.display()))?;
            Self::read(&text).map_err(|told| format!("{}: {told}", path.display()))
        };
        read().map_err(Failure::usage)
    }

    /// Writes the whole file or nothing. Only its owner can read it.
    pub fn save(&self, path: &Path) -> Result<(), Failure> {
        let text = toml::to_string(self)
            .map_err(|e| Failure::usage(format!("the profiles cannot be written: {e}")))?;
        write_private(path, &text)
            .map_err(|e| Failure::usage(format!("{} could not be written: {e}", path.display())))
    }

    /// The profile with this name.
    pub fn take(mut self, name: &str) -> Result<NamedProfile, Failure> {
        let found = self.profiles.remove(name);
        found.map(|profile| NamedProfile { name: name.to_owned(), profile }).ok_or_else(|| unknown(name))
    }

    /// The profile in use, if any.
    pub fn take_current(self) -> Result<Option<NamedProfile>, Failure> {
        match self.current.clone() {
            Some(name) => self.take(&name).map(Some),
            None => Ok(None),
        }
    }
}

/// The failure for an unknown profile.
pub fn unknown(name: &str) -> Failure {
    Failure::usage(format!("no profile is called {name:?}; `eavesward profile list` shows them"))
}

/// Checks that a name fits a command line and the file.
pub fn name(text: &str) -> Result<String, String> {
    let fits = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
    if (1..=64).contains(&text.len()) && text.chars().all(fits) {
        Ok(text.to_owned())
    } else {
        Err("a name has 1 to 64 characters: letters, digits, points, hyphens and underscores".to_owned())
    }
}

/// Refuses a file that others can read or write, because a key in it would not be secret. A pipe or device is
/// accepted.
#[cfg(unix)]
pub fn private(path: &Path) -> Result<(), String> {
    use std::os::unix::fs::PermissionsExt;
    let metadata =
        std::fs::metadata(path).map_err(|e| format!("{} could not be read: {e}", path.display()))?;
    let mode = metadata.permissions().mode() & 0o777;
    if metadata.is_file() && mode & 0o077 != 0 {
        return Err(format!(
            "{path} can be read or written by others (mode {mode:03o}); run `chmod 600 {path}` first",
            path = path.display()
        ));
    }
    Ok(())
}

/// On other systems the folder's permissions must protect the file.
#[cfg(not(unix))]
pub fn private(_: &Path) -> Result<(), String> {
    Ok(())
}

fn write_private(path: &Path, text: &str) -> std::io::Result<()> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut folders = std::fs::DirBuilder::new();
    folders.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut folders, 0o700);
    folders.create(folder)?;
    files::replace(path, text, Readers::Owner)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn profile(url: &str) -> StoredProfile {
        StoredProfile {
            url: url.to_owned(),
            key: Some("hidden".to_owned()),
            key_file: None,
            units: Some(Units::Us),
        }
    }

    #[cfg(unix)]
    #[test]
    fn the_file_is_for_its_owner_alone() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("deep/er/profiles.toml");
        let mut profiles = Profiles { current: Some("home".to_owned()), ..Profiles::default() };
        profiles.profiles.insert("home".to_owned(), profile("https://home.example"));
        profiles.save(&path).expect("written");
        let mode = |path: &Path| std::fs::metadata(path).expect("there").permissions().mode() & 0o777;
        assert_eq!((mode(&path), mode(path.parent().expect("a folder"))), (0o600, 0o700));
        let read = Profiles::load(Some(&path)).unwrap_or_else(|e| panic!("{e:?}"));
        let NamedProfile { name, profile: read } =
            read.take_current().ok().flatten().expect("the one in use");
        assert_eq!(
            (name.as_str(), read.url.as_str(), read.units),
            ("home", "https://home.example", Some(Units::Us))
        );
        // Written again over the old file; no other file stays.
        profiles.save(&path).expect("written again");
        assert_eq!(std::fs::read_dir(path.parent().expect("a folder")).expect("it").count(), 1);
        for lax in [0o640, 0o604, 0o620, 0o644] {
            std::fs::set_permissions(&path, std::fs::Permissions::from_mode(lax)).expect("its owner may");
            let Err(Failure::Usage(told)) = Profiles::load(Some(&path)) else { panic!("{lax:o} was read") };
            assert!(told.contains(&format!("chmod 600 {}", path.display())), "{told}");
        }
    }

    #[test]
    fn without_a_file_there_are_no_profiles_and_a_broken_one_shows_no_key() {
        assert!(Profiles::load(None).is_ok_and(|none| none.profiles.is_empty()));
        assert!(Profiles::load(Some(Path::new("/no/such/file"))).is_ok_and(|none| none.profiles.is_empty()));
        for broken in [
            "current = ",
            "[profiles.home]\nurl = \"x\"\nkey = hidden\n",
            "[profiles.home]\nkey = \"hidden\"\nurl = 4\n",
            "kye = \"hidden\"",
        ] {
            let told = Profiles::read(broken).err().expect(broken);
            assert!(told.contains("line ") && !told.contains("hidden"), "{told}");
        }
    }

    #[test]
    fn names_are_plain() {
        for good in ["home", "school-2", "a.b_c"] {
            assert_eq!(name(good).as_deref(), Ok(good));
        }
        for bad in ["", "two words", "../x", "\u{fc}", &"x".repeat(65)] {
            assert!(name(bad).is_err(), "{bad}");
        }
    }
}
