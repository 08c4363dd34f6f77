//! An export as one zip file, written while it is read. Whoever reads too slowly is given up.

use std::io::{Error, ErrorKind, Write};
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::{Duration, Instant};

use axum::body::{Bytes, HttpBody};
use backstraight_core::base::moment::Moment;
use hyper::body::Frame;
use tokio::runtime::Handle;
use tokio::sync::mpsc;
use zip::write::{SimpleFileOptions, StreamWriter, ZipWriter};

use super::contents::TOP;
use super::{ExportError, Sink};
use crate::grant::MayExport;
use crate::store::Store;

/// Bytes that go at once.
const PIECE: usize = 64 << 10;
/// Pieces that wait for the reader.
const WAITING: usize = 4;
/// How long the reader may take for one.
const PATIENCE: Duration = Duration::from_secs(30);
/// How long the reader may take for all: somebody else may be waiting.
const WHOLE: Duration = Duration::from_secs(15 * 60);

type Piece = Result<Bytes, Error>;

/// The reader's side.
#[derive(Debug)]
pub struct Zipped(mpsc::Receiver<Piece>);

impl HttpBody for Zipped {
    type Data = Bytes;
    type Error = Error;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, Error>>> {
        self.0.poll_recv(context).map(|piece| piece.map(|p| p.map(Frame::data)))
    }
}

struct Pieces {
    send: mpsc::Sender<Piece>,
    buffer: Vec<u8>,
    handle: Handle,
    begun: Instant,
}

impl Pieces {
    fn send(&mut self, piece: Piece) -> Result<(), Error> {
        if self.begun.elapsed() > WHOLE {
            return Err(Error::new(ErrorKind::TimedOut, "the reader is too slow"));
        }
        let sent = self.handle.block_on(tokio::time::timeout(PATIENCE, self.send.send(piece)));
        match sent {
            Ok(Ok(())) => Ok(()),
            Ok(Err(_)) => Err(Error::new(ErrorKind::BrokenPipe, "the reader went away")),
            Err(_) => Err(Error::new(ErrorKind::TimedOut, "the reader is too slow")),
        }
    }
}

impl Write for Pieces {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Error> {
        self.buffer.extend_from_slice(bytes);
        if self.buffer.len() >= PIECE {
            let piece = std::mem::take(&mut self.buffer);
            self.send(Ok(Bytes::from(piece)))?;
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> Result<(), Error> {
        Ok(())
    }
}

struct Zip(ZipWriter<StreamWriter<Pieces>>);

impl Sink for Zip {
    fn file(&mut self, path: &str, bytes: &[u8]) -> std::io::Result<()> {
        // No time of the file: the same person's export has the same bytes as long as nothing changes.
        let options = SimpleFileOptions::default().unix_permissions(0o600);
        self.0.start_file(format!("{TOP}{path}"), options).map_err(Error::other)?;
        self.0.write_all(bytes)
    }
}

/// Starts to write; the answer is what comes out. Must be called within the runtime.
#[must_use]
pub fn start(
    store: std::sync::Arc<Store>,
    grant: MayExport,
    now: Moment,
    held: tokio::sync::OwnedSemaphorePermit,
) -> Zipped {
    let (send, receive) = mpsc::channel(WAITING);
    let handle = Handle::current();
    tokio::task::spawn_blocking(move || {
        let _held = held;
        let end = send.clone();
        let pieces = Pieces { send, buffer: Vec::new(), handle: handle.clone(), begun: Instant::now() };
        if let Err(error) = whole(&store, &grant, now, pieces) {
            tracing::warn!(%error, "an export broke off");
            // The answer breaks off too, so that half a file is not taken for a whole one.
            drop(handle.block_on(tokio::time::timeout(PATIENCE, end.send(Err(Error::other("broken off"))))));
        }
    });
    Zipped(receive)
}

fn whole(store: &Store, grant: &MayExport, now: Moment, pieces: Pieces) -> Result<(), ExportError> {
    let mut zip = Zip(ZipWriter::new_stream(pieces));
    super::write(store, grant, now, &mut zip)?;
    let mut pieces = zip.0.finish().map_err(Error::other)?.into_inner();
    let last = std::mem::take(&mut pieces.buffer);
    pieces.send(Ok(Bytes::from(last)))?;
    Ok(())
}
