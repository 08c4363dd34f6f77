//! What every request can reach, and how a server starts and stops.

use std::fs::File;
use std::io::ErrorKind;
use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;

use backstraight_core::base::id::InstallId;
use backstraight_core::base::moment::Moment;
use tokio::net::TcpListener;
use tokio::sync::{Semaphore, oneshot};
use tokio::task::JoinHandle;

use crate::config::Config;
use crate::connections;
use crate::erase;
use crate::exchange::index::Indexes;
use crate::exchange::turns::Turns;
use crate::folder::Folder;
use crate::job;
use crate::load::Load;
use crate::nudge::{self, Hub};
use crate::page::Page;
use crate::passkey::Site;
use crate::password::Passwords;
use crate::patience::Patience;
use crate::project::{self, Signals};
use crate::rate::{Backoff, Buckets, Failures};
use crate::routes;
use crate::store::{Store, StoreError, StoreOptions, setup};
use crate::tls::Tls;
use crate::token::Tokens;
use crate::watch::ready::Probe;
use crate::watch::{self, Figures};

/// Tells the time. Handed in, so that tests can move it.
#[derive(Clone)]
pub struct Clock(Arc<dyn Fn() -> Moment + Send + Sync>);

impl std::fmt::Debug for Clock {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Clock")
    }
}

impl Clock {
    /// A clock of one's own.
    pub fn new(now: impl Fn() -> Moment + Send + Sync + 'static) -> Clock {
        Clock(Arc::new(now))
    }

    /// The machine's clock.
    #[must_use]
    pub fn system() -> Clock {
        Clock::new(|| {
            let since = std::time::SystemTime::UNIX_EPOCH.elapsed().unwrap_or_default();
            Moment(i64::try_from(since.as_millis()).unwrap_or(i64::MAX))
        })
    }

    /// Now.
    #[must_use]
    pub fn now(&self) -> Moment {
        (self.0)()
    }
}

/// The state of a server.
#[derive(Debug)]
pub struct App {
    /// Settings.
    pub config: Config,
    /// Memory.
    pub store: Arc<Store>,
    /// Tokens.
    pub tokens: Tokens,
    /// Time.
    pub clock: Clock,
    /// Wrong codes by address.
    pub failures: Failures,
    /// Wrong sign-ins by account and address.
    pub backoff: Backoff,
    /// The line in front of hashing passwords.
    pub passwords: Passwords,
    /// The page that browsers are given.
    pub page: Page,
    /// The site that passkeys hold to.
    pub site: Site,
    /// Requests by install.
    pub installs: Buckets<InstallId>,
    /// Requests by address.
    pub addresses: Buckets<IpAddr>,
    /// Requests that wait or are worked on.
    pub load: Load,
    /// Encryption, when the server does it itself.
    pub tls: Option<Arc<Tls>>,
    /// Indexes of documents, for the gate.
    pub indexes: Indexes,
    /// Whose turn it is to write a document.
    pub turns: Turns,
    /// Requests that are unpacked and checked at the same time: bounds memory and keeps the
    /// processor from being shared by too many.
    pub work: Semaphore,
    /// Tells open streams that documents have news.
    pub hub: Hub,
    /// Between those who make rows of the board stale, make them anew, and read them.
    pub signals: Signals,
    /// Backups by the clock.
    pub backups: job::backups::State,
    /// What the look at stored documents found.
    pub scrub: job::scrub::State,
    /// Figures for those who watch.
    pub figures: Figures,
    /// Full copies that are made at the same time.
    pub exports: Arc<Semaphore>,
    /// The last try to write.
    pub probe: Probe,
}

/// What every handler is given.
pub type Shared = Arc<App>;

impl App {
    /// Opens the data folder.
    ///
    /// # Errors
    /// When it cannot be opened.
    pub fn open(config: Config, options: StoreOptions, clock: Clock) -> Result<Shared, StoreError> {
        let folder = Folder::open(&config.data)?;
        let keys = folder.keys()?;
        let figures = Figures::new(&options.figures);
        let tls = Tls::of(&config)?.map(Arc::new);
        let options = StoreOptions { database: config.database.clone(), ..options };
        let store = Arc::new(Store::open(&folder, options)?);
        let tokens = Tokens::new(&keys, store.server());
        tokens.renew(&keys, &folder.retired(clock.now())?);
        let work = match usize::try_from(config.limits.work).unwrap_or(0) {
            0 => 2 * std::thread::available_parallelism().map_or(2, usize::from),
            work => work,
        };
        Ok(Arc::new(App {
            failures: Failures::new(config.limits.wrong_codes),
            backoff: Backoff::default(),
            passwords: Passwords::default(),
            page: Page::load(config.page.as_deref())?,
            site: Site::of(&config.site()),
            installs: Buckets::default(),
            addresses: Buckets::default(),
            load: Load::new(config.limits.waiting),
            indexes: Indexes::default(),
            turns: Turns::default(),
            work: Semaphore::new(work),
            hub: Hub::default(),
            signals: Signals::default(),
            backups: job::backups::State::default(),
            scrub: job::scrub::State::default(),
            figures,
            exports: Arc::new(Semaphore::new(1)),
            probe: Probe::default(),
            config,
            store,
            tls,
            tokens,
            clock,
        }))
    }
}

/// A running server.
#[derive(Debug)]
pub struct Running {
    /// Where it listens.
    pub address: SocketAddr,
    /// Where its figures are, when it shows any.
    pub metrics: Option<SocketAddr>,
    /// Its state.
    pub app: Shared,
    stop_metrics: Option<oneshot::Sender<()>>,
    stop: Option<oneshot::Sender<()>>,
    served: JoinHandle<()>,
    background: Vec<JoinHandle<()>>,
    /// Held until the database is closed.
    lock: Option<File>,
}

/// Starts a server in this runtime. It holds the data folder until it is stopped.
///
/// # Errors
/// When the folder is served by another process or cannot be opened, or the address is taken.
pub async fn start(config: Config, options: StoreOptions, clock: Clock) -> Result<Running, StoreError> {
    // A database server is made to be served by several; the folder then holds the keys only.
    let lock = match config.database.url {
        None => Some(lock(&Folder::open(&config.data)?).await?),
        Some(_) => None,
    };
    let listen = config.listen;
    // Opening blocks, and a driver may insist on being allowed to.
    let opened = tokio::task::spawn_blocking(move || App::open(config, options, clock));
    let app = opened.await.unwrap_or_else(|_| Err(StoreError::Damaged("opening panicked".to_owned())))?;
    let (listener, address) = bind(listen).await?;
    let (stop, stopped) = oneshot::channel::<()>();
    let router = routes::router(Arc::clone(&app));
    let how = connections::How {
        most: app.config.limits.connections,
        head: Duration::from_secs(u64::from(app.config.limits.head_seconds)),
        handshake: Duration::from_secs(u64::from(app.config.limits.handshake_seconds)),
        patience: Patience::new(
            app.config.limits.answer_seconds,
            app.config.limits.answer_rate,
            app.figures.given_up.clone(),
        ),
        tls: app.tls.clone(),
    };
    let open = app.figures.connections.clone();
    let served = tokio::spawn(connections::serve(listener, router, how, open, stopped));
    let mut background = Vec::new();
    if let Some(tls) = app.tls.clone() {
        background.push(tokio::spawn(async move { tls.follow().await }));
    }
    if app.config.compact_after > 0 {
        background.push(tokio::spawn(job::compact::in_the_background(Arc::clone(&app))));
    }
    background.push(tokio::spawn(job::access::in_the_background(Arc::clone(&app))));
    if !app.config.without_projector {
        background.push(tokio::spawn(project::in_the_background(Arc::clone(&app))));
    }
    let (mut metrics, mut stop_metrics) = (None, None);
    if let Some(listen) = app.config.metrics_listen {
        let (listener, address) = bind(listen).await?;
        let (stop, stopped) = oneshot::channel::<()>();
        background.push(tokio::spawn(watch::serve(Arc::clone(&app), listener, stopped)));
        (metrics, stop_metrics) = (Some(address), Some(stop));
    }
    // Subscribed before anything is served, so that nothing goes past.
    background.push(tokio::spawn(nudge::feed(Arc::clone(&app), app.store.news().of_all())));
    if !app.store.shared() {
        background.push(tokio::spawn(erase::in_the_background(Arc::clone(&app))));
    }
    if app.config.scrub_days > 0 {
        background.push(tokio::spawn(job::scrub::in_the_background(Arc::clone(&app))));
    }
    if app.config.backup_to.is_some() {
        background.push(tokio::spawn(job::backups::in_the_background(Arc::clone(&app))));
    }
    if app.store.shared() {
        background.push(tokio::spawn(project::hear_of_others(Arc::clone(&app), app.store.news().of_all())));
    }
    let shown = metrics.map(|m| m.to_string());
    let tls = app.tls.is_some();
    tracing::info!(%address, tls, metrics = shown, version = env!("CARGO_PKG_VERSION"), "serving");
    Ok(Running { address, metrics, app, stop_metrics, stop: Some(stop), served, background, lock })
}

async fn bind(listen: SocketAddr) -> Result<(TcpListener, SocketAddr), StoreError> {
    TcpListener::bind(listen)
        .await
        .and_then(|l| l.local_addr().map(|address| (l, address)))
        .map_err(|source| StoreError::File { what: format!("address {listen}"), source })
}

/// Takes the folder; a command at the machine may hold it for a moment.
async fn lock(folder: &Folder) -> Result<File, StoreError> {
    for _ in 0..10 {
        match folder.lock() {
            Err(StoreError::File { source, .. }) if source.kind() == ErrorKind::WouldBlock => {
                tokio::time::sleep(Duration::from_millis(100)).await;
            }
            done => return done,
        }
    }
    folder.lock()
}

impl Running {
    /// Stops: takes no new connection, lets running requests finish for a while, writes what waits,
    /// closes the database.
    pub async fn stop(mut self) {
        if let Some(stop) = self.stop.take() {
            // Already ended by itself when nobody listens.
            let _ = stop.send(());
        }
        // Streams would never finish by themselves.
        self.app.hub.close();
        drop(self.stop_metrics.take());
        for task in self.background.drain(..) {
            task.abort();
        }
        let patience = Duration::from_secs(u64::from(self.app.config.stop_seconds));
        if tokio::time::timeout(patience, &mut self.served).await.is_err() {
            tracing::warn!("some requests did not finish in time");
            self.served.abort();
        }
        let store = Arc::clone(&self.app.store);
        drop(tokio::task::spawn_blocking(move || store.close()).await);
        drop(self.lock);
        tracing::info!("stopped");
    }

    /// The one-time link with which the first owner sets this server up; none once somebody has.
    ///
    /// # Errors
    /// When storage fails.
    pub async fn owner_link(&self) -> Result<Option<String>, StoreError> {
        let (key, now) = (*self.app.tokens.secret(), self.app.clock.now());
        let lifetime = i64::from(self.app.config.owner_link_minutes) * 60_000;
        let secret = self.app.store.write(move |db| setup::link(db, &key, lifetime, now)).await?;
        // Without an address of its own a server is reached where it listens.
        let site = match &self.app.config.public_url {
            Some(url) => url.clone(),
            None => format!("http://{}", self.address),
        };
        Ok(secret.map(|secret| format!("{site}/set-up#{secret}")))
    }

    /// Waits until storage has stopped after a disk error.
    pub async fn storage_stopped(&self) {
        while !self.app.store.stopped() {
            tokio::time::sleep(Duration::from_millis(500)).await;
        }
    }
}
