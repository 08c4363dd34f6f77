//! Connections: how many, how long one may take to say what it wants, and how they end. Knows no
//! route.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::{ConnectInfo, Request};
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::{Service, service_fn};
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::GracefulShutdown;
use hyper_util::service::TowerToHyperService;
use prometheus_client::metrics::gauge::Gauge;
use tokio::net::TcpListener;
use tokio::sync::{Semaphore, oneshot};

/// How long the head of a request may take to arrive, also on a connection that is kept open.
const HEAD: Duration = Duration::from_secs(60);
/// Most bytes of a head.
const HEAD_BYTES: usize = 32 << 10;

/// Serves until it is told to stop, counting connections that are open, then lets every connection finish the request at hand.
pub(crate) async fn serve(
    listener: TcpListener,
    router: Router,
    most: u32,
    open: Gauge,
    mut stopped: oneshot::Receiver<()>,
) {
    let graceful = GracefulShutdown::new();
    let places = Arc::new(Semaphore::new(usize::try_from(most).unwrap_or(usize::MAX >> 4)));
    let mut http = http1::Builder::new();
    http.timer(TokioTimer::new()).header_read_timeout(HEAD).max_buf_size(HEAD_BYTES);
    loop {
        let next = async {
            let place = Arc::clone(&places).acquire_owned().await;
            (place, listener.accept().await)
        };
        let (place, accepted) = tokio::select! {
            next = next => next,
            _ = &mut stopped => break,
        };
        let (stream, peer): (_, SocketAddr) = match accepted {
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
        let inner = TowerToHyperService::new(router.clone());
        let service = service_fn(move |mut request: Request<Incoming>| {
            request.extensions_mut().insert(ConnectInfo(peer));
            inner.call(request)
        });
        let connection = graceful.watch(http.serve_connection(TokioIo::new(stream), service));
        open.inc();
        let open = open.clone();
        tokio::spawn(async move {
            // A connection that breaks off is the other side's business.
            let _ = connection.await;
            open.dec();
            drop(place);
        });
    }
    drop(listener);
    graceful.shutdown().await;
}
