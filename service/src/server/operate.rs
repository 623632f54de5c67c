//! The operator's subcommands.

use super::{Application, demo, listen, open, restored};
use crate::config::{Flags, LogFormat, Settings};
use crate::domain::base::clock::SystemClock;
use crate::domain::base::error::Error;
use crate::domain::base::ids::{AccountId, KeyId};
use crate::domain::base::plural::counted;
use crate::domain::context::Context;
use crate::domain::model::account::{KeyDraft, Scope};
use crate::domain::use_cases::accounts;
use crate::storage::{add_key, make_key_file, missing_file};
use crate::{config, http, telemetry};
use anyhow::{Context as _, Result, bail};
use clap::Subcommand;
use std::io::Write as _;
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use uuid::Uuid;

/// A subcommand.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Run the service. On an empty database, make an account and print its key, once.
    Serve {
        /// Settings.
        #[command(flatten)]
        flags: Flags,
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
        /// List the accounts and stop.
        #[arg(long, conflicts_with_all = ["account", "new_account"])]
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
    Settings,
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
    match command {
        Command::Openapi => say(http::openapi::text().trim_end()),
        Command::Settings => say(config::DEFAULTS.trim_end()),
        Command::Migrate { flags } => {
            let settings = begin(flags)?;
            open(&settings, Arc::new(SystemClock)).await?.store.close().await;
            say("The tables are up to date.")
        }
        Command::Restored { flags } => {
            restored(&begin(flags)?).await?;
            say("Readers of the reminders' feed have to start again.")
        }
        Command::SecretsKey { file, replace } => secrets_key(&file, replace),
        Command::Serve { flags } => {
            let settings = begin(flags)?;
            let listener = listen(settings.bind)?;
            let cx = open_or_make(&settings).await?;
            if let Some((account, secret)) = accounts::bootstrap(&cx, "first account").await? {
                say(&format!(
                    "The database was empty, so account {} was made. Its key, shown only once:\n\n  {}\n",
                    account.id,
                    secret.reveal()
                ))?;
            }
            serve(listener, &settings, cx).await
        }
        Command::Demo { flags, once } => {
            let mut flags = flags;
            let own = flags.layer.database_url.is_none() && flags.config.is_none();
            if own {
                flags.layer.database_url = Some(config::DatabaseUrl::new("sqlite://eavesward-demo.db"));
            }
            let settings = begin(flags)?;
            if once {
                let cx = open_or_make(&settings).await?;
                return say(demo::load(&cx).await?.list.trim_end());
            }
            let listener = listen(settings.bind)?;
            let cx = open_or_make(&settings).await?;
            let loaded = demo::load(&cx).await?;
            let ways = demo::ways(&cx, loaded.account, listener.local_addr()?).await?;
            say(&format!("{}\n{ways}", loaded.list))?;
            serve(listener, &settings, cx).await
        }
        Command::Key { flags, account, new_account, name, scopes, list } => {
            let settings = begin(flags)?;
            if let Some(path) = missing_file(settings.database_url.reveal()) {
                bail!(
                    "there is no database at {}. Correct --database-url, or make a database with `serve`.",
                    path.display()
                );
            }
            let cx = open(&settings, Arc::new(SystemClock)).await?;
            if list { accounts(&cx).await } else { key(&cx, account, new_account, name, &scopes).await }
        }
    }
}

/// Opens the database, and says where a new one was made.
async fn open_or_make(settings: &Settings) -> Result<Context> {
    let missing = missing_file(settings.database_url.reveal());
    let cx = open(settings, Arc::new(SystemClock)).await?;
    if let Some(path) = missing {
        say(&format!("Made a new database at {}.\n", path.display()))?;
    }
    Ok(cx)
}

fn begin(flags: Flags) -> Result<Settings> {
    let settings = Settings::load(flags)?;
    telemetry::start(&settings.log, settings.log_format == LogFormat::Json)?;
    Ok(settings)
}

async fn accounts(cx: &Context) -> Result<()> {
    for account in cx.store.accounts().await? {
        say(&format!("{}  {}  {}", account.id, account.created_at.format("%Y-%m-%d"), account.name))?;
    }
    Ok(())
}

async fn key(
    cx: &Context,
    account: Option<Uuid>,
    new_account: Option<String>,
    name: String,
    scopes: &[String],
) -> Result<()> {
    if let Some(new) = new_account {
        let (account, secret) = accounts::create(cx, &new).await.map_err(fields)?;
        return say(&format!(
            "Account {} was made. Its key, shown only once:\n\n  {}\n",
            account.id,
            secret.reveal()
        ));
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
    let (key, secret) = accounts::create_key(
        cx,
        id,
        KeyId::new(),
        KeyDraft { name, scopes, system_id: None, expires_at: None },
    )
    .await
    .map_err(fields)?;
    say(&format!("Key {} was made. It is shown only once:\n\n  {}\n", key.id, secret.reveal()))
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

async fn serve(listener: TcpListener, settings: &Settings, cx: Context) -> Result<()> {
    let application = Application::start_on(listener, settings, cx)?;
    tracing::info!(address = %application.address, database = %settings.database_url, "listening on {}", application.address);
    let stopper = application.stopper();
    actix_web::rt::spawn(async move {
        stop_signal().await;
        tracing::info!("stopping");
        stopper.stop().await;
    });
    application.run().await?;
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
