//! `eavesward profile`: several services by name.

use crate::app::Io;
use crate::environment::Environment;
use crate::everywhere::Everywhere;
use crate::failure::Failure;
use crate::profiles::{self, Profiles, StoredProfile, unknown};
use crate::show;
use crate::table::{Table, printable};
use clap::Subcommand;
use serde_json::json;
use std::path::Path;

/// Subcommands for profiles.
#[derive(Subcommand)]
pub enum Profile {
    /// Store a service under a name, with --url and --key-file; the first profile becomes the one in use
    Add {
        /// What to call it
        #[arg(value_parser = profiles::name)]
        name: String,
        /// Read the key from standard input and store it in the file of profiles, which only you can read
        #[arg(long)]
        key_stdin: bool,
        /// Use this profile from now on
        #[arg(long = "use")]
        use_it: bool,
    },
    /// List the profiles; the one in use has a star
    List,
    /// Use a profile from now on
    Use {
        /// The profile
        name: String,
    },
    /// Delete a profile and the key that is stored in it
    Remove {
        /// The profile
        name: String,
    },
}

impl Profile {
    /// Runs the subcommand. It asks no service.
    pub fn run(
        self,
        everywhere: &Everywhere,
        environment: &Environment,
        io: &mut Io<'_>,
    ) -> Result<(), Failure> {
        let path = environment.profiles.as_deref().ok_or_else(|| {
            Failure::usage("no place for profiles is known: set EAVESWARD_PROFILES to a file, or set HOME")
        })?;
        let mut known = Profiles::load(Some(path))?;
        match self {
            Self::Add { name, key_stdin, use_it } => {
                let kept = kept(everywhere, key_stdin, io.stdin)?;
                known.profiles.insert(name.clone(), kept);
                if use_it || known.current.is_none() {
                    known.current = Some(name.clone());
                }
                known.save(path)?;
                say(io.out, &format!("Profile {name} is stored in {}.", path.display()), everywhere.json)
            }
            Self::List => list(&known, path, everywhere.json, io.out),
            Self::Use { name } => {
                if !known.profiles.contains_key(&name) {
                    return Err(unknown(&name));
                }
                known.current = Some(name.clone());
                known.save(path)?;
                say(io.out, &format!("Profile {name} is in use now."), everywhere.json)
            }
            Self::Remove { name } => {
                if known.profiles.remove(&name).is_none() {
                    return Err(unknown(&name));
                }
                known.current = known.current.filter(|current| *current != name);
                known.save(path)?;
                say(io.out, &format!("Profile {name} is deleted."), everywhere.json)
            }
        }
    }
}

fn say(out: &mut dyn std::io::Write, text: &str, json: bool) -> Result<(), Failure> {
    if json { Ok(()) } else { Ok(writeln!(out, "{}", printable(text))?) }
}

/// The profile from the options.
fn kept(
    everywhere: &Everywhere,
    key_stdin: bool,
    stdin: &mut dyn std::io::Read,
) -> Result<StoredProfile, Failure> {
    let url = everywhere.url.clone();
    let url = url.ok_or_else(|| Failure::usage("give the service's address with --url"))?;
    if key_stdin && (everywhere.key_file.is_some() || everywhere.key.is_some()) {
        return Err(Failure::usage("give one of --key-file, --key and --key-stdin"));
    }
    let key = if key_stdin {
        let mut text = String::new();
        stdin
            .read_to_string(&mut text)
            .map_err(|e| Failure::usage(format!("the key could not be read: {e}")))?;
        Some(text.trim().to_owned())
    } else {
        everywhere.key.clone()
    };
    let key_file = match &everywhere.key_file {
        Some(path) => {
            // Read it now, so that a mistake shows at once.
            crate::access::read_key(path)?;
            let whole = std::path::absolute(path);
            Some(whole.map_err(|e| Failure::usage(format!("{}: {e}", path.display())))?)
        }
        None => None,
    };
    if key_file.is_none() && key.as_ref().is_none_or(String::is_empty) {
        return Err(Failure::usage(
            "a key is needed: give --key-file FILE, or --key-stdin and the key on standard input",
        ));
    }
    // The client checks the address and the key before they are stored.
    let trial = key.as_deref().unwrap_or("unread");
    eavesward_client::Client::builder().base_url(url.as_str()).key(trial).build()?;
    Ok(StoredProfile {
        url,
        key: if key_file.is_some() { None } else { key },
        key_file,
        units: everywhere.units,
    })
}

fn list(known: &Profiles, path: &Path, as_json: bool, out: &mut dyn std::io::Write) -> Result<(), Failure> {
    if as_json {
        // JSON shows no keys.
        let profiles = known.profiles.iter().map(|(name, profile)| {
            json!({"name": name, "url": profile.url, "in_use": known.current.as_ref() == Some(name),
                "key_file": profile.key_file, "units": profile.units})
        });
        serde_json::to_writer_pretty(&mut *out, &profiles.collect::<Vec<_>>())?;
        return Ok(writeln!(out)?);
    }
    if known.profiles.is_empty() {
        let text = format!(
            "No profiles in {}. Add one with `eavesward profile add NAME --url URL --key-file FILE`.",
            path.display()
        );
        return say(out, &text, false);
    }
    let mut table = Table::new(["profile", "service", "key", "units"]);
    for (name, profile) in &known.profiles {
        let star = if known.current.as_ref() == Some(name) { "*" } else { "" };
        let key = match &profile.key_file {
            Some(file) => format!("in {}", file.display()),
            None => "stored here".to_owned(),
        };
        let units = profile.units.map_or_else(|| "-".to_owned(), |units| show::words(&units));
        table.row([format!("{name}{star}"), profile.url.clone(), key, units]);
    }
    Ok(table.write(out)?)
}
