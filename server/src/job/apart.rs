//! Compaction in a process of its own, with limits of memory and time: whatever a document does to the
//! document library there, nobody else notices. The parent gives it bytes and gets bytes; it opens no
//! file and no database.

use std::io::{Read, Write};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use backstraight_core::base::id::ChangeHash;
use backstraight_core::doc::gate::GateIndex;
use backstraight_core::doc::open::Document;
use backstraight_core::model::name::DocName;
use minicbor::bytes::ByteVec;
use minicbor::{Decode, Encode};
use rustix::process::{Resource, Rlimit, setrlimit};

/// The hidden command of the program that is started.
pub const COMMAND: &str = "compact-apart";
/// Most memory of the other process. A document of several years takes a tenth of it.
const MEMORY: u64 = 1 << 30;
/// Most processor time, seconds.
const CPU: u64 = 20;
/// Most time by the clock.
const PATIENCE: Duration = Duration::from_secs(60);
/// Most bytes of one document; far beyond what the gate lets a document become.
const MOST: usize = 256 << 20;

/// What is to be compacted.
#[derive(Debug, Encode, Decode)]
#[cbor(map)]
pub struct Ask {
    #[n(0)]
    name: ByteVec,
    #[n(1)]
    heads: Vec<ByteVec>,
    #[n(2)]
    delta: ByteVec,
    #[n(3)]
    bytes: ByteVec,
}

/// Why nothing came of it. The document stays as it is and is left alone.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ApartError {
    /// It did not come back the same.
    #[error("it did not come back the same")]
    Differs,
    /// It took more memory or time than it may, or broke down.
    #[error("the process ended: {0}")]
    Ended(String),
    /// It took longer than it may.
    #[error("it took longer than {} seconds", PATIENCE.as_secs())]
    TooLong,
    /// It is larger than a document may be.
    #[error("{0} bytes are more than a document may have")]
    TooLarge(usize),
    /// No process could be started: nothing is known about the document.
    #[error("no process: {0}")]
    NoProcess(String),
}

impl Ask {
    /// A document, and what must come back.
    #[must_use]
    pub fn new(name: &DocName, heads: &[ChangeHash], delta: Vec<u8>, bytes: Vec<u8>) -> Ask {
        Ask {
            name: ByteVec::from(name.to_bytes().to_vec()),
            heads: heads.iter().map(|h| ByteVec::from(h.0.to_vec())).collect(),
            delta: ByteVec::from(delta),
            bytes: ByteVec::from(bytes),
        }
    }

    /// The compact form, when it gives back exactly what went in.
    ///
    /// # Errors
    /// When it does not.
    pub fn here(&self) -> Result<Vec<u8>, ApartError> {
        if self.bytes.len() > MOST {
            return Err(ApartError::TooLarge(self.bytes.len()));
        }
        self.make().ok_or(ApartError::Differs)
    }

    fn make(&self) -> Option<Vec<u8>> {
        let name = DocName::from_bytes(&self.name).ok()?;
        let heads: Vec<ChangeHash> =
            self.heads.iter().map(|h| h.as_slice().try_into().map(ChangeHash).ok()).collect::<Option<_>>()?;
        let whole = Document::open(name, &self.bytes).ok()?;
        let body = whole.save();
        let again = Document::open(name, &body).ok()?;
        let index = GateIndex::replay(name.kind(), [self.delta.as_slice()]).ok()?;
        let same = whole.heads() == heads
            && again.heads() == heads
            // What was kept beside the chunks is in place of them from now on: each byte of it must follow from them.
            && again.index_in_order(index.hashes())?.whole_delta() == *self.delta;
        same.then_some(body)
    }

    /// The same by `program`, in a process of its own.
    ///
    /// # Errors
    /// When it does not come back the same, or takes more than it may.
    pub fn apart(&self, program: &Path) -> Result<Vec<u8>, ApartError> {
        let fail = |e: &dyn std::fmt::Display| ApartError::NoProcess(e.to_string());
        let text = minicbor::to_vec(self).map_err(|e| fail(&e))?;
        let mut child = Command::new(program)
            .arg(COMMAND)
            .env_clear()
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .map_err(|e| fail(&e))?;
        let (Some(mut input), Some(mut output)) = (child.stdin.take(), child.stdout.take()) else {
            return Err(fail(&"no pipes"));
        };
        // One that ended early takes no more: its end says why.
        let writer = std::thread::spawn(move || drop(input.write_all(&text)));
        let reader = std::thread::spawn(move || {
            let mut body = Vec::new();
            output.read_to_end(&mut body).map(|_| body)
        });
        let begun = Instant::now();
        let ended = loop {
            match child.try_wait() {
                Ok(Some(status)) => break Ok(status),
                Ok(None) if begun.elapsed() > PATIENCE => {
                    drop(child.kill());
                    drop(child.wait());
                    break Err(ApartError::TooLong);
                }
                Ok(None) => std::thread::sleep(Duration::from_millis(5)),
                Err(e) => break Err(fail(&e)),
            }
        };
        drop(writer.join());
        let body = reader.join();
        let status = ended?;
        match (status.code(), body) {
            (Some(0), Ok(Ok(body))) if !body.is_empty() => Ok(body),
            (Some(DIFFERS), _) => Err(ApartError::Differs),
            _ => Err(ApartError::Ended(status.to_string())),
        }
    }
}

const DIFFERS: i32 = 3;

/// What the other process does: limits itself, then reads, compacts and writes. Its exit code.
#[must_use]
pub fn serve() -> u8 {
    let limit = |resource, most| setrlimit(resource, Rlimit { current: Some(most), maximum: Some(most) });
    if limit(Resource::As, MEMORY).and(limit(Resource::Cpu, CPU)).and(limit(Resource::Core, 0)).is_err() {
        return 1;
    }
    let mut text = Vec::new();
    if std::io::stdin().lock().read_to_end(&mut text).is_err() {
        return 1;
    }
    let Ok(ask) = minicbor::decode::<Ask>(&text) else { return 1 };
    match ask.here() {
        Err(_) => u8::try_from(DIFFERS).unwrap_or(1),
        Ok(body) => {
            let mut out = std::io::stdout().lock();
            u8::from(out.write_all(&body).and_then(|()| out.flush()).is_err())
        }
    }
}
