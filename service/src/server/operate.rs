//! The operator's subcommands.

use super::key_file::KeyFile;
use super::{Application, demo, listen, open, open_to_serve, restored, rolled_back};
use crate::config::{Flags, Loaded, LogFormat, Origin, Settings};
use crate::domain::base::clock::SystemClock;
use crate::domain::base::error::{Error, StoreError};
use crate::domain::base::ids::{AccountId, KeyId};
use crate::domain::base::plural::counted;
use crate::domain::base::secret::Secret;
use crate::domain::context::Context;
use crate::domain::model::account::{KeyDraft, Scope};
use crate::domain::model::audit::{Act, Deed, ThingKind};
use crate::domain::use_cases::accounts;
use crate::outbound::choose_tls;
use crate::storage::{add_key, make_key_file, missing_file};
use crate::telemetry::{TraceSettings, Traces};
use crate::{config, http, telemetry};
use anyhow::{Context as _, Result, bail};
use clap::Subcommand;
use std::io::Write as _;
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use uuid::Uuid;

/// The last traces get so long to be sent, also where `drain_s` is 0. Judgement: a receiver stands nearby.
const LEAST_FLUSH: Duration = Duration::from_secs(1);

/// A subcommand.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Run the service. On an empty database, make an account and print its key, once.
    Serve {
        /// Settings.
        #[command(flatten)]
        flags: Flags,
        /// On an empty database, write the key into this new file instead of printing it. Later it is not used.
        #[arg(long, value_name = "PATH")]
        key_file: Option<PathBuf>,
    },
    /// Load an invented scenario into a SQLite file, print this week's list and run the service.
    Demo {
        /// Settings. The database is eavesward-demo.db in this folder unless the flags name a database or a
        /// settings file.
        #[command(flatten)]
        flags: Flags,
        /// Print the list and stop, without running the service.
        #[arg(long)]
        once: bool,
    },
    /// Make a key, or an account with a key. The key is printed once.
    Key {
        /// Settings.
        #[command(flatten)]
        flags: Flags,
        /// The account that gets the key. Not needed while there is only one.
        #[arg(long, value_name = "ID", conflicts_with = "new_account")]
        account: Option<Uuid>,
        /// Make an account of this name and a key that may do everything.
        #[arg(long, value_name = "NAME")]
        new_account: Option<String>,
        /// What the key is for.
        #[arg(long, default_value = "made on the command line")]
        name: String,
        /// What the key may do.
        #[arg(long, value_delimiter = ',', default_value = "read,write,admin")]
        scopes: Vec<String>,
        /// Write the key into this new file, readable by its owner alone, instead of printing it.
        #[arg(long, value_name = "PATH")]
        key_file: Option<PathBuf>,
        /// List the accounts and stop.
        #[arg(long, conflicts_with_all = ["account", "new_account", "key_file"])]
        list: bool,
    },
    /// Print the OpenAPI document.
    Openapi,
    /// Bring the database's tables up to date, and stop.
    Migrate {
        /// Settings.
        #[command(flatten)]
        flags: Flags,
    },
    /// After a backup was restored, tell readers of the reminders' feed to start again. This is needed for copies that
    /// deploy/backup.sh has not made.
    Restored {
        /// Settings.
        #[command(flatten)]
        flags: Flags,
    },
    /// After a rollback to this version, let its model refresh the systems that the newer version has refreshed.
    RolledBack {
        /// Settings.
        #[command(flatten)]
        flags: Flags,
    },
    /// Make the file with the key that encrypts stored webhook secrets, for the setting secrets_key_file.
    SecretsKey {
        /// The file. It must not exist, unless its key is replaced.
        #[arg(value_name = "FILE")]
        file: PathBuf,
        /// Put a new key before those of the file. Secrets are encrypted with it from the next start on; the others still
        /// decrypt.
        #[arg(long)]
        replace: bool,
    },
    /// Print a settings file with every default.
    Settings {
        /// Print the values that are in force, and where each comes from.
        #[arg(long)]
        in_force: bool,
        /// Settings.
        #[command(flatten)]
        flags: Box<Flags>,
    },
}

fn say(text: &str) -> Result<()> {
    let mut out = std::io::stdout().lock();
    match writeln!(out, "{text}").and_then(|()| out.flush()) {
        // The program that reads the output may have ended.
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => Ok(()),
        other => Ok(other?),
    }
}

/// Makes a key file, or replaces its key.
fn secrets_key(file: &Path, replace: bool) -> Result<()> {
    let shown = file.display();
    if replace {
        add_key(file).with_context(|| format!("the key file {shown} cannot be replaced"))?;
        return say(&format!(
            "{shown} has a new key. Start the service again to encrypt stored secrets with it."
        ));
    }
    make_key_file(file).with_context(|| {
        if file.exists() {
            format!("{shown} is there already; --replace puts a new key before its keys")
        } else {
            format!("the key file {shown} cannot be made")
        }
    })?;
    say(&format!(
        "{shown} holds the key. Set secrets_key_file to it, and keep a copy apart from the backups."
    ))
}

/// Runs a subcommand.
pub async fn run(command: Command) -> Result<()> {
    // All settings are in it, which are large for a stack.
    Box::pin(run_it(command)).await
}

async fn run_it(command: Command) -> Result<()> {
    match command {
        Command::Openapi => say(http::openapi::text().trim_end()),
        Command::Settings { in_force: true, flags } => say(&in_force(*flags)?),
        Command::Settings { .. } => say(config::DEFAULTS.trim_end()),
        Command::Migrate { flags } => {
            let settings = begin(flags)?;
            open(&settings, Arc::new(SystemClock)).await?.store.close().await;
            say("The tables are up to date.")
        }
        Command::Restored { flags } => {
            restored(&begin(flags)?).await?;
            say("Readers of the reminders' feed have to start again.")
        }
        Command::RolledBack { flags } => {
            let systems = rolled_back(&begin(flags)?).await?;
            say(&format!("{} will be refreshed by this version.", counted(systems, "system", "systems")))
        }
        Command::SecretsKey { file, replace } => secrets_key(&file, replace),
        Command::Serve { flags, key_file } => {
            let Begun { settings, own, traces } = begin_to_serve(flags)?;
            tracing::info!("settings that are not the default: {own}");
            let listener = listen(settings.bind)?;
            let cx = open_or_make(&settings).await?;
            first_account(&cx, key_file.as_deref()).await?;
            serve(listener, &settings, cx, traces).await
        }
        Command::Demo { flags, once } => {
            let mut flags = flags;
            let own = flags.layer.database_url.is_none() && flags.config.is_empty();
            if own {
                flags.layer.database_url = Some(config::DatabaseUrl::new("sqlite://eavesward-demo.db"));
            }
            if once {
                let settings = begin(flags)?;
                let cx = open_or_make(&settings).await?;
                return say(demo::load(&cx).await?.list.trim_end());
            }
            let Begun { settings, traces, .. } = begin_to_serve(flags)?;
            let listener = listen(settings.bind)?;
            let cx = open_or_make(&settings).await?;
            let loaded = demo::load(&cx).await?;
            let ways = demo::ways(&cx, loaded.account, listener.local_addr()?).await?;
            say(&format!("{}\n{ways}", loaded.list))?;
            serve(listener, &settings, cx, traces).await
        }
        Command::Key { flags, account, new_account, name, scopes, key_file, list } => {
            let settings = begin(flags)?;
            if let Some(path) = missing_file(settings.database_url.reveal()) {
                bail!(
                    "there is no database at {}. Correct --database-url, or make a database with `serve`.",
                    path.display()
                );
            }
            let cx = open(&settings, Arc::new(SystemClock)).await?;
            if list {
                return accounts(&cx).await;
            }
            let given = new_key(&cx, account, new_account, name, &scopes, key_file.as_deref()).await;
            // The key may be in use by the time that the process ends.
            cx.store.close().await;
            given
        }
    }
}

/// Opens the database, and says where a new one was made.
async fn open_or_make(settings: &Settings) -> Result<Context> {
    let missing = missing_file(settings.database_url.reveal());
    let cx = open_to_serve(settings, Arc::new(SystemClock)).await?;
    if let Some(path) = missing {
        say(&format!("Made a new database at {}.\n", path.display()))?;
    }
    Ok(cx)
}

/// What a command that serves begins with.
struct Begun {
    settings: Settings,
    /// Which settings are not the default.
    own: String,
    traces: Traces,
}

/// Reads the settings and starts the log. A command that serves nothing sends no traces.
fn begin(flags: Flags) -> Result<Settings> {
    begin_with(flags, |_| None).map(|begun| begun.settings)
}

fn begin_to_serve(flags: Flags) -> Result<Begun> {
    choose_tls();
    begin_with(flags, |settings| settings.traces.as_ref())
}

fn begin_with(flags: Flags, traces: impl Fn(&Settings) -> Option<&TraceSettings>) -> Result<Begun> {
    let Loaded { settings, shown, remarks } = Settings::load(flags)?;
    let json = settings.log_format == LogFormat::Json;
    let traces = telemetry::start(&settings.log, json, traces(&settings))?;
    for remark in remarks {
        tracing::warn!("{remark}");
    }
    let own = shown.iter().filter(|one| one.origin != Origin::Default);
    let own: Vec<String> = own.map(|one| format!("{} ({})", one.name, one.origin)).collect();
    let own = if own.is_empty() { "none".to_owned() } else { own.join(", ") };
    Ok(Begun { settings, own, traces })
}

/// Each setting with its value and where that comes from.
fn in_force(flags: Flags) -> Result<String> {
    let Loaded { shown, remarks, .. } = Settings::load(flags)?;
    let remarks = remarks.into_iter().map(|remark| format!("# {remark}"));
    let lines = shown.into_iter().map(|one| format!("{} = {} # {}", one.name, one.value, one.origin));
    Ok(remarks.chain(lines).collect::<Vec<_>>().join("\n"))
}

async fn accounts(cx: &Context) -> Result<()> {
    for account in cx.store.accounts().await? {
        say(&format!("{}  {}  {}", account.id, account.created_at.format("%Y-%m-%d"), account.name))?;
    }
    Ok(())
}

/// On an empty database, makes an account and gives the operator its key.
async fn first_account(cx: &Context, key_file: Option<&Path>) -> Result<()> {
    // The file of the first start may still be there, and is in nobody's way.
    if !cx.store.accounts().await?.is_empty() {
        return Ok(());
    }
    let new = accounts::new_account(cx, "first account")?;
    let file = key_file.map(|path| KeyFile::write(path, new.secret.reveal())).transpose()?;
    match accounts::store_first(cx, &new).await {
        Ok(true) => {
            let made = format!("The database was empty, so account {} was made. Its key", new.account.id);
            give(&made, &new.secret, file)
        }
        // Another replica was faster, and has given its key.
        Ok(false) => Ok(()),
        Err(error) => Err(not_stored(error, file)),
    }
}

async fn new_key(
    cx: &Context,
    account: Option<Uuid>,
    new_account: Option<String>,
    name: String,
    scopes: &[String],
    key_file: Option<&Path>,
) -> Result<()> {
    if let Some(name) = new_account {
        let new = accounts::new_account(cx, &name).map_err(fields)?;
        let file = key_file.map(|path| KeyFile::write(path, new.secret.reveal())).transpose()?;
        return match accounts::store_account(cx, &new).await {
            Ok(()) => give(&format!("Account {} was made. Its key", new.account.id), &new.secret, file),
            Err(error) => Err(not_stored(error, file)),
        };
    }
    let accounts = cx.store.accounts().await?;
    let id = match (account, accounts.as_slice()) {
        (Some(id), _) => accounts.iter().map(|account| account.id).find(|known| *known == AccountId(id)),
        (None, [only]) => Some(only.id),
        (None, []) => bail!("there is no account yet; make one with --new-account NAME"),
        (None, _) => {
            let accounts = counted(accounts.len() as u64, "account", "accounts");
            bail!("there are {accounts}; name one with --account (`key --list` shows them)")
        }
    };
    let id = id.context("there is no account with that id; `key --list` shows them")?;
    let scopes = scopes
        .iter()
        .map(|word| {
            Scope::parse(word)
                .with_context(|| format!("the scope {word:?} is not one of read, write and admin"))
        })
        .collect::<Result<Vec<_>>>()?;
    let draft = KeyDraft { name, scopes, system_id: None, expires_at: None };
    let (key, secret) = accounts::prepare_key(cx, id, KeyId::new(), draft, None).await.map_err(fields)?;
    let file = key_file.map(|path| KeyFile::write(path, secret.reveal())).transpose()?;
    let deed = Deed::on("create_key", ThingKind::Key, &key.id);
    let acting = cx.acting(Arc::new(Act::of_operator(id, vec![deed])));
    match accounts::store_key(&acting, key).await {
        Ok(key) => give(&format!("Key {} was made. It", key.id), &secret, file),
        Err(error) => Err(not_stored(error, file)),
    }
}

/// Tells the operator a new key, or where it is. The key counts from here on.
fn give(made: &str, secret: &Secret, file: Option<KeyFile>) -> Result<()> {
    match file {
        Some(file) => say(&format!("{made} is in {}.", file.keep().display())),
        None => say(&format!("{made} is shown only once:\n\n  {}\n", secret.reveal())),
    }
}

/// A key that could not be stored. Its file is removed, unless it is not known whether the key was stored.
fn not_stored(error: Error, file: Option<KeyFile>) -> anyhow::Error {
    let unclear = matches!(&error, Error::Store(StoreError::NoAnswer(_) | StoreError::Unavailable(_)));
    let error = fields(error);
    match file {
        Some(file) if unclear => error.context(format!(
            "the database failed, and the key in {} may count or not: try it, and if it is refused, remove the file and \
             start again",
            file.keep().display()
        )),
        _ => error.context("no key was made"),
    }
}

/// Lists the refused fields with their messages; the domain's error only counts them.
fn fields(error: Error) -> anyhow::Error {
    match error {
        Error::Invalid(faults) => {
            let all = faults.listed.iter().map(|error| format!("{}: {}", error.field, error.message));
            anyhow::anyhow!("{}", all.collect::<Vec<_>>().join("; "))
        }
        other => other.into(),
    }
}

async fn serve(listener: TcpListener, settings: &Settings, cx: Context, traces: Traces) -> Result<()> {
    let application = Application::start_on(listener, settings, cx)?;
    tracing::info!(address = %application.address, database = %settings.database_url, "listening on {}", application.address);
    let stopper = application.stopper();
    actix_web::rt::spawn(async move {
        stop_signal().await;
        tracing::info!("stopping");
        stopper.stop().await;
    });
    let ended = application.run().await;
    // Of the last requests and deliveries.
    traces.end(settings.drain.max(LEAST_FLUSH)).await;
    ended?;
    tracing::info!("stopped");
    Ok(())
}

async fn stop_signal() {
    use tokio::signal::unix::{SignalKind, signal};
    let interrupt = tokio::signal::ctrl_c();
    match signal(SignalKind::terminate()) {
        Ok(mut terminate) => {
            tokio::select! {
                _ = terminate.recv() => {}
                _ = interrupt => {}
            }
        }
        Err(error) => {
            tracing::error!(%error, "SIGTERM cannot be caught; stop with SIGINT (Ctrl-C)");
            let _ = interrupt.await;
        }
    }
}
