//! The one module that knows all others: it builds them and connects them.

mod demo;
mod key_file;
mod metrics;
mod operate;

pub use metrics::Metrics;
pub use operate::{Command, run};

use crate::config::Settings;
use crate::domain::background::secrets::{self, SecretsCheck};
use crate::domain::base::clock::{Clock, SystemClock};
use crate::domain::context::{Context, Retention};
use crate::domain::ports::store::Store as _;
use crate::gate::Gate;
use crate::http::streams::StreamSlots;
use crate::http::{self, AccessLog};
use crate::jobs::{self, DeliveryPorts, Rhythm};
use crate::outbound::HttpSender;
use crate::storage::{ConnectOptions, Database, SecretKeys};
use actix_web::dev::{Server, ServerHandle};
use actix_web::middleware::{Compress, Condition, from_fn};
use actix_web::{App, HttpServer, web};
use anyhow::{Context as _, Result};
use std::io::ErrorKind;
use std::net::{SocketAddr, TcpListener};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;
use tokio::task::JoinHandle;
use tracing_actix_web::TracingLogger;

/// How long requests that run may take to end once no more are accepted. None takes longer than 25 s.
pub const LONGEST_STOP: Duration = Duration::from_secs(30);

async fn connect(settings: &Settings) -> Result<Database> {
    let secret_keys = settings.secrets_key_file.as_deref().map(SecretKeys::of_file).transpose();
    let options = ConnectOptions {
        max_connections: settings.max_connections,
        secret_keys: secret_keys.map_err(anyhow::Error::msg).context("secrets_key_file")?,
        quotas: settings.quotas,
        ..ConnectOptions::default()
    };
    let database = Database::connect(settings.database_url.reveal(), &options)
        .await
        .with_context(|| format!("the database {} cannot be opened", settings.database_url))?;
    database.migrate().await.context("the database's tables cannot be brought up to date")?;
    Ok(database)
}

/// Lets this version's model take over what an older one has refreshed.
async fn adopt(database: &Database) -> Result<()> {
    let older = database.adopt_model().await?;
    if older > 0 {
        tracing::info!(
            systems = older,
            "the model is newer than the one of the last refresh; refreshing again"
        );
    }
    let newer = database.refreshed_by_newer_model().await?;
    if newer > 0 {
        tracing::warn!(
            systems = newer,
            "a newer version of the service has refreshed systems, which this one leaves alone; if that version is gone for \
             good, run `eavesward-service rolled-back`"
        );
    }
    Ok(())
}

/// Takes over what a newer version's model has refreshed. Returns how many systems.
pub async fn rolled_back(settings: &Settings) -> Result<u64> {
    let database = connect(settings).await?;
    let systems = database.take_back_model().await.context("the database cannot be written")?;
    database.close().await;
    Ok(systems)
}

/// Notes that the database is a restored backup, whatever it looks like.
pub async fn restored(settings: &Settings) -> Result<()> {
    let database = connect(settings).await?;
    database.note_incarnation(SystemClock.now(), true).await.context("the database cannot be written")?;
    database.close().await;
    Ok(())
}

/// Opens the database and brings its tables up to date.
pub async fn open(settings: &Settings, clock: Arc<dyn Clock>) -> Result<Context> {
    Ok(opened(settings, clock).await?.0)
}

/// The same for a process that serves. Only this one takes over what an older model has refreshed, and looks after the
/// stored secrets: the operator's other commands may run without the key file.
pub async fn open_to_serve(settings: &Settings, clock: Arc<dyn Clock>) -> Result<Context> {
    let (cx, database) = opened(settings, clock).await?;
    adopt(&database).await.context("the database cannot be written")?;
    report_secrets(secrets::check(&cx).await.context("the stored secrets cannot be checked")?);
    Ok(cx)
}

async fn opened(settings: &Settings, clock: Arc<dyn Clock>) -> Result<(Context, Database)> {
    let database = connect(settings).await?;
    if database.note_incarnation(clock.now(), false).await.context("the database cannot be written")? {
        tracing::warn!(
            "the database is a restored backup; readers of the reminders' feed have to start again"
        );
    }
    let retention = Retention { reminders: settings.reminders_kept, audit: settings.audit_kept };
    let local_webhooks = settings.local_webhooks;
    let cx = Context { retention, local_webhooks, ..Context::new(Arc::new(database.clone()), clock) };
    Ok((cx, database))
}

fn report_secrets(found: SecretsCheck) {
    let SecretsCheck { sealed, left, paused, resumed } = found;
    if sealed > 0 {
        tracing::info!(sealed, "webhook secrets are now encrypted with the present key");
    }
    if left > 0 {
        tracing::warn!(
            left,
            "webhook secrets are not encrypted with a present key; set secrets_key_file and start again"
        );
    }
    if paused > 0 {
        tracing::warn!(
            paused,
            "subscriptions are paused because the key of their secrets is not here; start with the right secrets_key_file, \
             or make new secrets"
        );
    }
    if resumed > 0 {
        tracing::info!(resumed, "subscriptions go on because the key of their secrets is back");
    }
}

/// Takes the address. Requests wait until the service is started on it.
pub fn listen(address: SocketAddr) -> Result<TcpListener> {
    TcpListener::bind(address).map_err(|error| match error.kind() {
        ErrorKind::AddrInUse => {
            let mut free = address;
            free.set_port(address.port().checked_add(1).unwrap_or(address.port() - 1));
            anyhow::anyhow!("{address} is in use. Stop the other program or give --bind {free}.")
        }
        _ => anyhow::Error::new(error).context(format!("cannot listen on {address}")),
    })
}

/// Builds what delivering needs, from the settings.
pub fn delivering(settings: &Settings) -> Result<DeliveryPorts> {
    let sender = HttpSender::new(settings.local_webhooks)
        .context("webhooks cannot be sent: the TLS roots of this machine cannot be read")?;
    Ok(DeliveryPorts { sender: Arc::new(sender), payloads: Arc::new(http::ContractPayloads) })
}

/// A service that listens, with its job loops.
pub struct Application {
    /// The address it listens on.
    pub address: SocketAddr,
    /// Its context, for tests and commands.
    pub cx: Context,
    /// The HTTP server. It runs while it is awaited.
    server: Server,
    slots: web::Data<StreamSlots>,
    jobs: JoinHandle<()>,
    post: JoinHandle<()>,
    key_uses: JoinHandle<()>,
    metrics: Arc<Metrics>,
    /// What serves the metrics, if they are served.
    shown: Option<ServerHandle>,
    /// The address of the metrics, if they are served.
    pub metrics_address: Option<SocketAddr>,
    stop_jobs: watch::Sender<bool>,
    drain: Duration,
}

/// Stops a running application.
#[derive(Clone)]
pub struct Stopper {
    handle: ServerHandle,
    slots: web::Data<StreamSlots>,
    stop_jobs: watch::Sender<bool>,
    closing: watch::Sender<bool>,
    drain: Duration,
}

impl Stopper {
    /// Notes that the service is shutting down, waits until load balancers notice, then lets running requests
    /// end.
    pub async fn stop(self) {
        self.slots.close();
        let _ = self.stop_jobs.send(true);
        // `send_replace` also works when no request waits for this.
        self.closing.send_replace(true);
        tokio::time::sleep(self.drain).await;
        self.handle.stop(true).await;
    }
}

impl Application {
    /// Listens and starts the job loops. If the settings ask for port 0, `address` has the port that was
    /// chosen.
    pub fn start(settings: &Settings, cx: Context) -> Result<Self> {
        Self::start_on(listen(settings.bind)?, settings, cx)
    }

    /// The same on an address that is taken already.
    pub fn start_on(listener: TcpListener, settings: &Settings, cx: Context) -> Result<Self> {
        let slots = web::Data::new(StreamSlots::new(settings.streams, settings.account_streams));
        let (data, ready) = (web::Data::new(cx.clone()), slots.clone());
        let gate = web::Data::new(Gate::new(&settings.bounds));
        let (metrics, requests) = Metrics::new(cx.clone(), gate.clone(), slots.clone())?;
        let metrics = Arc::new(metrics);
        let shown =
            settings.metrics_bind.map(|bind| metrics::serve(Arc::clone(&metrics), bind)).transpose()?;
        let (with_metrics, body_timeout) = (shown.is_some(), http::BodyTimeout(settings.body_timeout));
        let make = move || {
            let (data, ready, gate) = (data.clone(), ready.clone(), gate.clone());
            App::new()
                .app_data(body_timeout)
                .configure(move |cfg| http::configure(cfg, data, ready, gate))
                .wrap(Compress::default())
                // Outside the compression, so that its refusals become problem details, too.
                .wrap(from_fn(http::explain))
                .wrap(from_fn(http::bound_body))
                .wrap(from_fn(http::close_when_stopping))
                .wrap(Condition::new(with_metrics, requests.clone()))
                .wrap(from_fn(http::refuse_made_up))
                .wrap(from_fn(http::traced))
                .wrap(TracingLogger::<AccessLog>::new())
        };
        let mut server = HttpServer::new(make)
            // Without it the end of an answer waits up to 40 ms for the reader's acknowledgement of its start.
            .tcp_nodelay(true)
            .disable_signals()
            .shutdown_timeout(LONGEST_STOP.as_secs());
        if settings.workers > 0 {
            server = server.workers(settings.workers);
        }
        let server =
            server.listen(listener).with_context(|| format!("cannot listen on {}", settings.bind))?;
        let address = server.addrs().first().copied().unwrap_or(settings.bind);
        let (stop_jobs, stopped) = watch::channel(false);
        let rhythm = Rhythm { every: settings.refresh_every, housekeeping: settings.housekeeping.clone() };
        let post = tokio::spawn(jobs::deliver(cx.clone(), delivering(settings)?, stopped.clone()));
        let key_uses = tokio::spawn(jobs::note_key_uses(cx.clone(), stopped.clone()));
        let reader = Arc::clone(&metrics);
        let metrics_address = shown.as_ref().map(|(_, address)| *address);
        let shown = shown.map(|(server, _)| {
            let stopped = stopped.clone();
            tokio::spawn(async move { reader.read(stopped).await });
            let handle = server.handle();
            actix_web::rt::spawn(server);
            handle
        });
        let jobs = tokio::spawn(jobs::run(cx.clone(), rhythm, stopped));
        Ok(Self {
            address,
            cx,
            server: server.run(),
            slots,
            jobs,
            post,
            key_uses,
            metrics: Arc::clone(&metrics),
            shown,
            metrics_address,
            stop_jobs,
            drain: settings.drain,
        })
    }

    /// What is measured.
    pub fn metrics(&self) -> Arc<Metrics> {
        Arc::clone(&self.metrics)
    }

    /// Returns a handle that stops it.
    pub fn stopper(&self) -> Stopper {
        Stopper {
            handle: self.server.handle(),
            slots: self.slots.clone(),
            stop_jobs: self.stop_jobs.clone(),
            closing: self.cx.closing.clone(),
            drain: self.drain,
        }
    }

    /// Serves until it is stopped. Then the job loops finish their pass and the database is closed.
    pub async fn run(self) -> Result<()> {
        self.server.await?;
        let _ = self.stop_jobs.send(true);
        self.jobs.await?;
        self.post.await?;
        self.key_uses.await?;
        if let Some(shown) = self.shown {
            shown.stop(false).await;
        }
        // Of the last requests.
        jobs::write_key_uses(&self.cx).await;
        self.cx.store.close().await;
        Ok(())
    }
}
