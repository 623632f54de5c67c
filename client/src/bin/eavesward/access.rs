//! Chooses the service and the key.
//!
//! An address and its key belong together and come from one source. A key from a profile is only sent to the
//! profile's address. A key from the environment is only sent to `EAVESWARD_URL`, if that is set.

use crate::environment::Environment;
use crate::failure::Failure;
use crate::profiles::{self, NamedProfile, Profiles, StoredProfile};
use crate::show::Units;
use std::path::{Path, PathBuf};

/// The default address of the service.
pub const USUAL_URL: &str = "http://127.0.0.1:8750";

/// The options of the command line about access.
#[derive(Clone, Default)]
pub struct AccessFlags {
    /// `--url`.
    pub url: Option<String>,
    /// `--key`.
    pub key: Option<String>,
    /// `--key-file`.
    pub key_file: Option<PathBuf>,
    /// `--profile`.
    pub profile: Option<String>,
    /// `--units`.
    pub units: Option<Units>,
}

/// The service's address, the key and the units.
#[derive(Clone, PartialEq, Eq)]
pub struct Access {
    /// The base URL.
    pub url: String,
    /// The bearer key.
    pub key: Option<String>,
    /// Units of figures.
    pub units: Units,
}

/// Chooses address, key and units from flags, environment and profiles, in this order:
/// - `--url`, `--key-file` and `--key`.
/// - the profile of `--profile` or `EAVESWARD_PROFILE`.
/// - `EAVESWARD_URL` with `EAVESWARD_KEY`.
/// - the profile in use.
/// - the default address.
///
/// `profiles` is read only if it is needed.
pub fn resolve(
    given: &AccessFlags,
    environment: &Environment,
    profiles: impl FnOnce() -> Result<Profiles, Failure>,
) -> Result<Access, Failure> {
    let mut key = match (&given.key_file, &given.key) {
        (Some(path), _) => Some(read_key(path)?),
        (None, Some(key)) => Some(key.trim().to_owned()),
        (None, None) => None,
    };
    let complete = given.url.is_some() && key.is_some();
    let by_environment = environment.url.is_some() || environment.key.is_some();
    let named = given.profile.as_ref().or(environment.profile.as_ref());
    let profile = match named {
        Some(name) => Some(profiles()?.take(name)?),
        None if complete || by_environment => None,
        None => profiles()?.take_current()?,
    };
    let mut url = given.url.clone();
    let mut units = given.units;
    if units.is_none() {
        units = environment.units().map_err(Failure::usage)?;
    }
    if let Some(NamedProfile { name, profile }) = profile {
        let own = url.as_ref().is_none_or(|url| same_place(url, &profile.url));
        if key.is_none() {
            if !own {
                return Err(Failure::usage(format!(
                    "the key of profile {name:?} belongs to {}; give --key-file for another service",
                    profile.url
                )));
            }
            key = stored(&name, &profile)?;
        }
        units = units.or(profile.units);
        url.get_or_insert(profile.url);
    } else if named.is_none() {
        if let (None, Some(_), Some(asked), Some(own)) = (&key, &environment.key, &url, &environment.url)
            && !same_place(asked, own)
        {
            return Err(Failure::usage(format!(
                "EAVESWARD_KEY belongs to {own}; give --key-file for another service"
            )));
        }
        key = key.or_else(|| environment.key.as_ref().map(|key| key.trim().to_owned()));
        url = url.or_else(|| environment.url.clone());
    }
    Ok(Access { url: url.unwrap_or_else(|| USUAL_URL.to_owned()), key, units: units.unwrap_or(Units::Si) })
}

fn same_place(a: &str, b: &str) -> bool {
    a.trim_end_matches('/') == b.trim_end_matches('/')
}

fn stored(name: &str, profile: &StoredProfile) -> Result<Option<String>, Failure> {
    match (&profile.key, &profile.key_file) {
        (Some(key), _) => Ok(Some(key.clone())),
        (None, Some(path)) => read_key(path).map(Some),
        (None, None) => Err(Failure::usage(format!(
            "profile {name:?} has no key; run `eavesward profile add {name}` with --key-file or --key-stdin"
        ))),
    }
}

/// Reads a key from a file that only its owner can read.
pub fn read_key(path: &Path) -> Result<String, Failure> {
    let read = || {
        profiles::private(path)?;
        std::fs::read_to_string(path).map_err(|e| format!("{} could not be read: {e}", path.display()))
    };
    let key = read().map_err(Failure::usage)?.trim().to_owned();
    if key.is_empty() {
        return Err(Failure::usage(format!("{} is empty; it should hold a key", path.display())));
    }
    Ok(key)
}

#[cfg(test)]
mod tests {
    use super::*;
    use Units::{Si, Us};

    fn profiles() -> Profiles {
        let text = r#"
            current = "home"
            [profiles.home]
            url = "https://home.example"
            key = "home-key"
            units = "us"
            [profiles.school]
            url = "https://school.example/eaves/"
            key = "school-key"
            [profiles.bare]
            url = "https://bare.example"
        "#;
        Profiles::read(text).expect("profiles")
    }

    #[expect(clippy::unnecessary_wraps, reason = "every field is an option")]
    fn text(text: &str) -> Option<String> {
        Some(text.to_owned())
    }

    fn check(
        given: &AccessFlags,
        environment: &Environment,
        want: Result<(&str, Option<&str>, Units), &str>,
    ) {
        let got = resolve(given, environment, || Ok(profiles()));
        match (got, want) {
            (Ok(got), Ok((url, key, units))) => {
                assert_eq!((got.url.as_str(), got.key.as_deref(), got.units), (url, key, units));
            }
            (Err(Failure::Usage(told)), Err(part)) => assert!(told.contains(part), "{told}"),
            (Ok(got), Err(part)) => panic!("{} instead of {part}", got.url),
            (Err(failure), _) => panic!("{failure:?}"),
        }
    }

    #[test]
    fn a_place_and_its_key_come_from_one_source() {
        let (none, plain) = (AccessFlags::default(), Environment::default());
        let by = |profile: &str| AccessFlags { profile: text(profile), ..AccessFlags::default() };
        let env = Environment { url: text("http://env"), key: text("env-key"), ..Environment::default() };
        let env_key = Environment { key: text("env-key"), ..Environment::default() };
        let env_profile = Environment { profile: text("school"), ..env.clone() };
        check(&none, &plain, Ok(("https://home.example", Some("home-key"), Us)));
        check(&by("school"), &plain, Ok(("https://school.example/eaves/", Some("school-key"), Si)));
        // A named profile overrides the environment; the profile in use does not.
        check(&by("school"), &env, Ok(("https://school.example/eaves/", Some("school-key"), Si)));
        check(&none, &env_profile, Ok(("https://school.example/eaves/", Some("school-key"), Si)));
        check(&by("home"), &env_profile, Ok(("https://home.example", Some("home-key"), Us)));
        check(&none, &env, Ok(("http://env", Some("env-key"), Si)));
        // With EAVESWARD_URL the environment's key goes only there; alone it goes to any address.
        let at = |url: &str| AccessFlags { url: text(url), ..AccessFlags::default() };
        check(&at("http://env/"), &env, Ok(("http://env/", Some("env-key"), Si)));
        check(&at("http://elsewhere"), &env, Err("EAVESWARD_KEY belongs to http://env;"));
        check(&at("http://elsewhere"), &env_key, Ok(("http://elsewhere", Some("env-key"), Si)));
        let typed = AccessFlags { key: text("typed"), ..at("http://elsewhere") };
        check(&typed, &env, Ok(("http://elsewhere", Some("typed"), Si)));
        // A key of the environment is not sent to a profile's address.
        check(&none, &env_key, Ok((USUAL_URL, Some("env-key"), Si)));
    }

    #[test]
    fn a_kept_key_stays_with_its_place() {
        let at = |url: &str, profile: Option<&str>| AccessFlags {
            url: text(url),
            profile: profile.map(str::to_owned),
            ..AccessFlags::default()
        };
        let plain = Environment::default();
        check(&at("https://elsewhere.example", None), &plain, Err("belongs to https://home.example"));
        check(&at("https://elsewhere.example", Some("school")), &plain, Err("school.example"));
        check(
            &at("https://school.example/eaves", Some("school")),
            &plain,
            Ok(("https://school.example/eaves", Some("school-key"), Units::Si)),
        );
        let key = AccessFlags { key: text(" typed "), ..at("https://elsewhere.example", None) };
        check(&key, &plain, Ok(("https://elsewhere.example", Some("typed"), Si)));
        let key = AccessFlags { key: text("typed"), profile: text("school"), ..AccessFlags::default() };
        check(&key, &plain, Ok(("https://school.example/eaves/", Some("typed"), Si)));
    }

    #[test]
    fn what_is_missing_is_told() {
        let by = |profile: &str| AccessFlags { profile: text(profile), ..AccessFlags::default() };
        check(&by("barn"), &Environment::default(), Err("no profile is called \"barn\""));
        check(&by("bare"), &Environment::default(), Err("profile \"bare\" has no key"));
        let odd = Environment { units: text("imperial"), ..Environment::default() };
        check(&AccessFlags::default(), &odd, Err("EAVESWARD_UNITS"));
        let us = Environment { units: text("SI"), ..Environment::default() };
        check(&AccessFlags::default(), &us, Ok(("https://home.example", Some("home-key"), Si)));
        // Without a profile the default address is used, and a missing key is reported when it is needed.
        let nothing = resolve(&AccessFlags::default(), &Environment::default(), || Ok(Profiles::default()))
            .unwrap_or_else(|e| panic!("{e:?}"));
        assert_eq!((nothing.url.as_str(), nothing.key), (USUAL_URL, None));
        // A broken file of profiles does not matter if no profile is needed.
        let complete = AccessFlags { url: text("http://x"), key: text("k"), ..AccessFlags::default() };
        assert!(resolve(&complete, &Environment::default(), || Err(Failure::usage("broken"))).is_ok());
    }
}
