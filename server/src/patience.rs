//! How long a connection waits for somebody who does not take what is sent. Answers and streams alike are held
//! to it, since it sits where bytes leave. Knows no request.
//!
//! What counts is the time spent waiting and the bytes taken meanwhile. A stream on which nothing happens waits
//! for nobody, and a client that is slower than this machine, as all are, takes its share all the time.

use std::future::Future as _;
use std::io::{Error, ErrorKind, IoSlice};
use std::pin::Pin;
use std::task::{Context, Poll, ready};
use std::time::Duration;

use prometheus_client::metrics::counter::Counter;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::time::{Instant, Sleep, sleep};

/// What is asked of whoever reads.
#[derive(Debug, Clone)]
pub(crate) struct Patience {
    /// After so much waiting it is looked at how much was taken.
    pub(crate) wait: Duration,
    /// Bytes that have to have been taken by then.
    pub(crate) least: u64,
    /// Counts those that were given up.
    pub(crate) given_up: Counter,
}

impl Patience {
    /// Seconds of waiting, and bytes for each of them.
    pub(crate) fn new(seconds: u32, rate: u32, given_up: Counter) -> Patience {
        let least = u64::from(seconds) * u64::from(rate);
        // Nothing at all is too little in any case.
        Patience { wait: Duration::from_secs(u64::from(seconds)), least: least.max(1), given_up }
    }
}

/// A connection that is given up when its other side takes too little.
#[derive(Debug)]
pub(crate) struct Patient<S> {
    stream: S,
    patience: Patience,
    /// Waited since the last look, without the wait that is going on.
    waited: Duration,
    /// Taken since the last look.
    taken: u64,
    /// The wait that is going on: since when, and when to look.
    waits: Option<(Instant, Pin<Box<Sleep>>)>,
}

impl<S> Patient<S> {
    pub(crate) const fn new(stream: S, patience: Patience) -> Patient<S> {
        Patient { stream, patience, waited: Duration::ZERO, taken: 0, waits: None }
    }

    /// What a try to write comes to.
    fn weigh(
        &mut self,
        context: &mut Context<'_>,
        wrote: Poll<Result<usize, Error>>,
    ) -> Poll<Result<usize, Error>> {
        match wrote {
            Poll::Ready(done) => {
                if let Some((since, _)) = self.waits.take() {
                    self.waited += since.elapsed();
                }
                self.taken += done.as_ref().map_or(0, |n| u64::try_from(*n).unwrap_or(u64::MAX));
                Poll::Ready(done)
            }
            Poll::Pending => loop {
                let left = self.patience.wait.saturating_sub(self.waited);
                let (_, look) = self.waits.get_or_insert_with(|| (Instant::now(), Box::pin(sleep(left))));
                ready!(look.as_mut().poll(context));
                if self.taken < self.patience.least {
                    self.patience.given_up.inc();
                    return Poll::Ready(Err(Error::new(ErrorKind::TimedOut, "the reader is too slow")));
                }
                (self.waited, self.taken, self.waits) = (Duration::ZERO, 0, None);
            },
        }
    }
}

impl<S: AsyncRead + Unpin> AsyncRead for Patient<S> {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<Result<(), Error>> {
        Pin::new(&mut self.stream).poll_read(context, buffer)
    }
}

impl<S: AsyncWrite + Unpin> AsyncWrite for Patient<S> {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<Result<usize, Error>> {
        let wrote = Pin::new(&mut self.stream).poll_write(context, bytes);
        self.weigh(context, wrote)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        slices: &[IoSlice<'_>],
    ) -> Poll<Result<usize, Error>> {
        let wrote = Pin::new(&mut self.stream).poll_write_vectored(context, slices);
        self.weigh(context, wrote)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }

    // Neither waits for the other side of a TCP connection.
    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Result<(), Error>> {
        Pin::new(&mut self.stream).poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Result<(), Error>> {
        Pin::new(&mut self.stream).poll_shutdown(context)
    }
}

#[cfg(test)]
mod tests {
    use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _, DuplexStream, duplex};

    use super::*;

    const WAIT: Duration = Duration::from_millis(200);

    fn pair(least: u64) -> (Patient<DuplexStream>, DuplexStream, Counter) {
        let (here, there) = duplex(64);
        let given_up = Counter::default();
        let patience = Patience { wait: WAIT, least, given_up: given_up.clone() };
        (Patient::new(here, patience), there, given_up)
    }

    fn block_on<T>(run: impl Future<Output = T>) -> T {
        tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap().block_on(run)
    }

    /// Takes so many bytes after each pause until the other side is gone; how many there were.
    async fn sip(mut there: DuplexStream, at_once: usize, pause: Duration) -> usize {
        let (mut all, mut bytes) = (0, vec![0; at_once]);
        loop {
            sleep(pause).await;
            match there.read(&mut bytes).await {
                Ok(0) | Err(_) => return all,
                Ok(n) => all += n,
            }
        }
    }

    #[test]
    fn who_takes_nothing_is_given_up() {
        block_on(async {
            let (mut here, there, given_up) = pair(1);
            let begun = Instant::now();
            let error = here.write_all(&[0; 1_000]).await.unwrap_err();
            assert_eq!((error.kind(), given_up.get()), (ErrorKind::TimedOut, 1));
            assert!((WAIT..20 * WAIT).contains(&begun.elapsed()));
            drop(there);
        });
    }

    #[test]
    fn who_takes_drops_is_given_up_also_when_much_is_written_in_pieces() {
        block_on(async {
            // Eight bytes each tenth of the time: eighty in the whole of it.
            let (mut here, there, given_up) = pair(160);
            let reader = tokio::spawn(sip(there, 8, WAIT / 10));
            let stream = async {
                loop {
                    here.write_all(b"data: x\n").await?;
                }
            };
            let error: Error = tokio::time::timeout(50 * WAIT, async {
                let gone: Result<(), Error> = stream.await;
                gone.unwrap_err()
            })
            .await
            .unwrap();
            assert_eq!((error.kind(), given_up.get()), (ErrorKind::TimedOut, 1));
            drop(here);
            assert!(reader.await.unwrap() < 160 + 64 + 8);
        });
    }

    #[test]
    fn who_takes_enough_gets_all_however_long_it_lasts() {
        block_on(async {
            let (mut here, there, given_up) = pair(40);
            let reader = tokio::spawn(sip(there, 32, WAIT / 10));
            let begun = Instant::now();
            here.write_all(&[0; 1_600]).await.unwrap();
            assert!(begun.elapsed() > 2 * WAIT, "the test is too fast to show anything");
            drop(here);
            assert_eq!((reader.await.unwrap(), given_up.get()), (1_600, 0));
        });
    }

    #[test]
    fn time_in_which_nothing_is_to_be_sent_is_not_waiting() {
        block_on(async {
            let (mut here, there, given_up) = pair(1_000_000);
            let reader = tokio::spawn(sip(there, 64, Duration::ZERO));
            for _ in 0..6 {
                here.write_all(b": alive\n").await.unwrap();
                sleep(WAIT / 2).await;
            }
            drop(here);
            assert_eq!((reader.await.unwrap(), given_up.get()), (48, 0));
        });
    }
}
