//! The rest of a body that nobody read: a request that is refused by its head is answered after its
//! body has arrived. Answered before, the connection is closed under a device that is still sending:
//! it may lose the answer, and take the connection for one that it can use again. Knows no route.

use std::future::poll_fn;
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;

use axum::body::{Body, Bytes, HttpBody};
use axum::extract::{Request, State};
use axum::http::{HeaderValue, header};
use axum::middleware::Next;
use axum::response::Response;
use backstraight_core::exchange::wire::MAX_BODY;
use hyper::body::{Frame, SizeHint};
use tokio::sync::oneshot;

use crate::app::Shared;
use crate::problem::Problem;

/// A body that comes back when it is dropped before its end, with the bytes that were read of it.
struct Watched {
    body: Body,
    read: u64,
    back: Option<oneshot::Sender<(Body, u64)>>,
}

impl HttpBody for Watched {
    type Data = Bytes;
    type Error = axum::Error;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, axum::Error>>> {
        let polled = Pin::new(&mut self.body).poll_frame(context);
        match &polled {
            Poll::Ready(Some(Ok(frame))) => {
                self.read += frame.data_ref().map_or(0, |data| data.len() as u64);
            }
            // At its end or broken off: there is no rest.
            Poll::Ready(_) => self.back = None,
            Poll::Pending => {}
        }
        polled
    }

    fn is_end_stream(&self) -> bool {
        self.body.is_end_stream()
    }

    fn size_hint(&self) -> SizeHint {
        self.body.size_hint()
    }
}

impl Drop for Watched {
    fn drop(&mut self) {
        if let Some(back) = self.back.take().filter(|_| !self.body.is_end_stream()) {
            // Nobody waits for it when the connection is gone.
            drop(back.send((std::mem::take(&mut self.body), self.read)));
        }
    }
}

/// Answers after the body has arrived; says that the connection ends here when it does not within
/// the limits of size and time.
pub(crate) async fn read(State(app): State<Shared>, request: Request, next: Next) -> Response {
    if request.body().is_end_stream() {
        return next.run(request).await;
    }
    // Such a client sends no body before it is asked to: after a refusal there is none to wait for.
    let asks_first = request.headers().contains_key(header::EXPECT);
    let (back, rest) = oneshot::channel();
    let watched = |body| Body::new(Watched { body, read: 0, back: Some(back) });
    let mut response = next.run(request.map(watched)).await;
    let patience = Duration::from_secs(u64::from(app.config.limits.body_seconds));
    // What was given up for its slowness is not waited for again.
    if let Some(Problem::SlowBody | Problem::TimeOut) = response.extensions().get::<Problem>() {
        response.headers_mut().insert(header::CONNECTION, HeaderValue::from_static("close"));
        return response;
    }
    let arrived = tokio::time::timeout(patience, async {
        match rest.await {
            Ok((body, read)) => !asks_first && drain(body, read).await,
            Err(_) => true,
        }
    });
    if !arrived.await.unwrap_or(false) {
        response.headers_mut().insert(header::CONNECTION, HeaderValue::from_static("close"));
    }
    response
}

/// Reads a body to its end; whether it came there within the limit.
async fn drain(mut body: Body, mut read: u64) -> bool {
    loop {
        if read.saturating_add(body.size_hint().lower()) > MAX_BODY as u64 {
            return false;
        }
        match poll_fn(|context| Pin::new(&mut body).poll_frame(context)).await {
            None => return true,
            Some(Err(_)) => return false,
            Some(Ok(frame)) => read += frame.data_ref().map_or(0, |data| data.len() as u64),
        }
    }
}
