//! Connections: how many, encrypted or not, how long one may take to say what it wants and to take what it
//! asked for, and how they end. Knows no route.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::{ConnectInfo, Request};
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::{Service, service_fn};
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::{GracefulShutdown, Watcher};
use hyper_util::service::TowerToHyperService;
use prometheus_client::metrics::gauge::Gauge;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpListener;
use tokio::sync::{Semaphore, oneshot};
use tokio_rustls::TlsAcceptor;

use crate::patience::{Patience, Patient};
use crate::tls::Tls;

/// Most bytes of a head.
const HEAD_BYTES: usize = 32 << 10;

/// How connections are taken.
#[derive(Debug)]
pub(crate) struct How {
    /// Most at the same time.
    pub(crate) most: u32,
    /// How long the head of a request may take to arrive, also on a connection that is kept open.
    pub(crate) head: Duration,
    /// How long encryption may take to be agreed on.
    pub(crate) handshake: Duration,
    /// What is asked of whoever reads an answer.
    pub(crate) patience: Patience,
    /// Encryption, if any.
    pub(crate) tls: Option<Arc<Tls>>,
}

/// Serves until it is told to stop, counting connections that are open, then lets every connection finish the request at hand.
pub(crate) async fn serve(
    listener: TcpListener,
    router: Router,
    how: How,
    open: Gauge,
    mut stopped: oneshot::Receiver<()>,
) {
    let graceful = GracefulShutdown::new();
    let places = Arc::new(Semaphore::new(usize::try_from(how.most).unwrap_or(usize::MAX >> 4)));
    let mut http = http1::Builder::new();
    http.timer(TokioTimer::new()).header_read_timeout(how.head).max_buf_size(HEAD_BYTES);
    loop {
        let next = async {
            let place = Arc::clone(&places).acquire_owned().await;
            (place, listener.accept().await)
        };
        let (place, accepted) = tokio::select! {
            next = next => next,
            _ = &mut stopped => break,
        };
        let (stream, peer) = match accepted {
            Ok(accepted) => accepted,
            Err(error) => {
                // Out of file handles, most of the time: some will come free.
                tracing::warn!(%error, "a connection could not be taken");
                tokio::time::sleep(Duration::from_millis(200)).await;
                continue;
            }
        };
        // Answers are short and wanted at once; without it they are only later.
        let _ = stream.set_nodelay(true);
        let stream = Patient::new(stream, how.patience.clone());
        let (router, http, watcher) = (router.clone(), http.clone(), graceful.watcher());
        let tls = how.tls.as_ref().map(|tls| (TlsAcceptor::from(tls.present()), how.handshake));
        open.inc();
        let open = open.clone();
        tokio::spawn(async move {
            match tls {
                None => one(stream, peer, router, &http, watcher).await,
                // Encryption takes room, which a connection without it does not set aside.
                Some((tls, patience)) => {
                    Box::pin(async move {
                        // Who does not agree on encryption, or not in time, is not talked to.
                        if let Ok(Ok(stream)) = tokio::time::timeout(patience, tls.accept(stream)).await {
                            one(stream, peer, router, &http, watcher).await;
                        }
                    })
                    .await;
                }
            }
            open.dec();
            drop(place);
        });
    }
    drop(listener);
    graceful.shutdown().await;
}

/// Serves one connection to its end.
async fn one<S: AsyncRead + AsyncWrite + Unpin + 'static>(
    stream: S,
    peer: SocketAddr,
    router: Router,
    http: &http1::Builder,
    watcher: Watcher,
) {
    let inner = TowerToHyperService::new(router);
    let service = service_fn(move |mut request: Request<Incoming>| {
        request.extensions_mut().insert(ConnectInfo(peer));
        inner.call(request)
    });
    // A connection that breaks off is the other side's business.
    let _ = watcher.watch(http.serve_connection(TokioIo::new(stream), service)).await;
}
