//! The one connection of a process on which the database says what any process made durable.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use postgres::Client;
use postgres::fallible_iterator::FallibleIterator;

use super::address::Way;
use crate::store::StoreError;
use crate::store::news::News;
use crate::store::sql::{CHANNEL, Error};

/// How long it listens before it looks whether it is to stop.
const LOOK: Duration = Duration::from_millis(250);
/// How often it asks whether the server is still there when it says nothing.
const ASK: Duration = Duration::from_secs(15);
/// How long the server may take to answer that.
const ANSWER: Duration = Duration::from_secs(5);
/// How long it waits before it tries again, at first and at most.
const AGAIN: (Duration, Duration) = (Duration::from_millis(250), Duration::from_secs(5));

/// The listening thread.
#[derive(Debug)]
pub(super) struct Listener {
    stop: Arc<AtomicBool>,
    thread: Mutex<Option<JoinHandle<()>>>,
}

impl Listener {
    /// Listens from now on.
    ///
    /// # Errors
    /// When the server cannot be reached or the system gives no thread.
    pub(super) fn start(way: Way, news: Arc<News>) -> Result<Listener, StoreError> {
        let first = connect(&way)?;
        let stop = Arc::new(AtomicBool::new(false));
        let told = Arc::clone(&stop);
        let thread = std::thread::Builder::new()
            .name("listener".to_owned())
            .spawn(move || run(&way, first, &news, &told))
            .map_err(|source| StoreError::File { what: "listening thread".to_owned(), source })?;
        Ok(Listener { stop, thread: Mutex::new(Some(thread)) })
    }

    /// Ends it. Blocks; may be called twice.
    pub(super) fn close(&self) {
        self.stop.store(true, Ordering::SeqCst);
        let thread = self.thread.lock().unwrap_or_else(PoisonError::into_inner).take();
        if let Some(thread) = thread {
            drop(thread.join());
        }
    }
}

impl Drop for Listener {
    fn drop(&mut self) {
        // It ends by itself in a moment; whoever drops this may not be allowed to wait.
        self.stop.store(true, Ordering::SeqCst);
    }
}

fn connect(way: &Way) -> Result<Client, StoreError> {
    let mut client = way.client().map_err(Error::from)?;
    client.batch_execute(&format!("LISTEN {CHANNEL}")).map_err(Error::from)?;
    Ok(client)
}

fn run(way: &Way, first: Client, news: &News, stop: &AtomicBool) {
    let (mut client, mut pause) = (Some(first), AGAIN.0);
    while !stop.load(Ordering::SeqCst) {
        if let Some(client) = client.take() {
            pause = AGAIN.0;
            if let Err(error) = listen(client, news, stop) {
                tracing::warn!(%error, "the database says nothing more");
            }
        }
        if stop.load(Ordering::SeqCst) {
            return;
        }
        std::thread::sleep(pause.min(LOOK));
        pause = (pause * 2).min(AGAIN.1);
        match connect(way) {
            Ok(back) => {
                tracing::info!("the database is heard again");
                client = Some(back);
                // What was said meanwhile went past.
                news.missed();
            }
            Err(error) => tracing::debug!(%error, "the database is not there"),
        }
    }
}

/// Hands on what is said until it is to stop or the connection breaks.
fn listen(mut client: Client, news: &News, stop: &AtomicBool) -> Result<(), postgres::Error> {
    let mut asked = Instant::now();
    while !stop.load(Ordering::SeqCst) {
        {
            let mut said = client.notifications();
            let mut said = said.timeout_iter(LOOK);
            while let Some(word) = said.next()? {
                match word.payload().parse() {
                    Ok(told) => news.publish(told),
                    // A newer program may say more.
                    Err(_) => tracing::debug!(payload = word.payload(), "not understood"),
                }
            }
        }
        if client.is_closed() || asked.elapsed() >= ASK {
            client.is_valid(ANSWER)?;
            asked = Instant::now();
        }
    }
    Ok(())
}
