//! Waiting for news from the server, beside a phone that goes on working: says when an exchange would
//! bring something, and comes again by itself when the line breaks. Carries no change.

use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use backstraight_core::exchange::nudge::{Heard, Nudge, Reader};
use backstraight_core::model::name::DocName;

use crate::error::PhoneError;

/// How often somebody who waits looks whether to stop.
const LOOK: Duration = Duration::from_millis(100);

/// Opens the server's stream of nudges.
pub trait Listen {
    /// Opens it, from the last position that was told.
    ///
    /// # Errors
    /// [`PhoneError::Offline`] when there is no line, [`PhoneError::SignedOut`] when the server does
    /// not accept the token.
    fn listen(&mut self, access: &str, position: Option<&str>) -> Result<Box<dyn Line>, PhoneError>;
}

/// An open stream.
pub trait Line {
    /// The next bytes: none when nothing came within about half a second, an error at the end.
    ///
    /// # Errors
    /// When the line has ended or is broken.
    fn next(&mut self) -> Result<Vec<u8>, PhoneError>;
}

/// Why the waiting ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum News {
    /// These documents have news: exchange. None, when this version knows none of them.
    Of(Vec<DocName>),
    /// Something may have been missed: exchange.
    Exchange,
    /// The token is no longer good: exchange, which renews it, and wait with the new one.
    Renew,
    /// Somebody asked to stop.
    Stopped,
}

/// How long to wait between tries.
#[derive(Debug, Clone, Copy)]
pub struct Pace {
    /// After the first failure; doubled with each further one.
    pub first: Duration,
    /// At most.
    pub most: Duration,
    /// Silence after which a line counts as broken: three times what the server promises.
    pub silence: Duration,
}

impl Default for Pace {
    fn default() -> Pace {
        Pace {
            first: Duration::from_secs(2),
            most: Duration::from_secs(300),
            silence: Duration::from_secs(90),
        }
    }
}

/// Waits for news. Holds no store, so a phone is free to work meanwhile; run it on a thread of its own
/// and let the phone exchange whenever it returns.
pub struct Listener {
    pace: Pace,
    position: Option<String>,
    line: Option<(Box<dyn Line>, Reader, Instant)>,
    failures: u32,
    /// The least wait that the server asked for.
    hint: Duration,
}

impl core::fmt::Debug for Listener {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.debug_struct("Listener").field("position", &self.position).finish_non_exhaustive()
    }
}

impl Default for Listener {
    fn default() -> Listener {
        Listener::at(Pace::default())
    }
}

impl Listener {
    /// A listener with a pace of its own.
    #[must_use]
    pub fn at(pace: Pace) -> Listener {
        Listener { pace, position: None, line: None, failures: 0, hint: Duration::ZERO }
    }

    /// Waits until there is news, the token has ended, or `stop` is set. A broken line is opened again
    /// after a while that grows with each failure, by chance longer or shorter, so that not everybody
    /// comes back at once. Offline is no error: it goes on trying.
    ///
    /// # Errors
    /// When the server answers what is no stream of nudges.
    pub fn wait(
        &mut self,
        access: &str,
        listen: &mut dyn Listen,
        stop: &AtomicBool,
    ) -> Result<News, PhoneError> {
        while !stop.load(Ordering::Relaxed) {
            let Some((line, reader, heard_at)) = &mut self.line else {
                match listen.listen(access, self.position.as_deref()) {
                    Ok(line) => self.line = Some((line, Reader::default(), Instant::now())),
                    Err(PhoneError::SignedOut(_)) => return Ok(News::Renew),
                    Err(PhoneError::Offline(_)) => self.rest(stop),
                    Err(e) => return Err(e),
                }
                continue;
            };
            let bytes = match line.next() {
                Ok(bytes) if bytes.is_empty() && heard_at.elapsed() < self.pace.silence => continue,
                Ok(bytes) if !bytes.is_empty() => bytes,
                // Ended, as it does with its token, broken, or silent for too long.
                _ => {
                    self.line = None;
                    self.rest(stop);
                    continue;
                }
            };
            *heard_at = Instant::now();
            let all = reader.take(&bytes).map_err(|e| PhoneError::Answer(e.to_string()))?;
            if let Some(news) = self.heard(all) {
                return Ok(news);
            }
        }
        self.line = None;
        Ok(News::Stopped)
    }

    /// What was heard, put together.
    fn heard(&mut self, all: Vec<Heard>) -> Option<News> {
        let mut news: Option<News> = None;
        for heard in all {
            self.failures = 0;
            match heard {
                Heard::Alive => {}
                Heard::Retry(ms) => self.hint = Duration::from_millis(ms.min(60_000)),
                Heard::Event(nudge, position) => {
                    self.position = position.or(self.position.take());
                    news = Some(match (news.take(), nudge) {
                        (Some(News::Of(mut names)), Nudge::News(more)) => {
                            names.extend(more);
                            News::Of(names)
                        }
                        (None, Nudge::News(names)) => News::Of(names),
                        (Some(_), _) | (None, Nudge::Exchange) => News::Exchange,
                    });
                }
            }
        }
        news
    }

    /// Rests before the next try.
    fn rest(&mut self, stop: &AtomicBool) {
        let grown = self.pace.first.saturating_mul(1 << self.failures.min(16));
        let longest = grown.max(self.hint).min(self.pace.most);
        self.failures = self.failures.saturating_add(1);
        let mut byte = [128];
        // Without randomness everybody waits three quarters: worse, but no reason to stop.
        let _ = getrandom::fill(&mut byte);
        let [byte] = byte;
        let until = Instant::now() + longest / 2 + longest.mul_f64(f64::from(byte) / 512.0);
        while Instant::now() < until && !stop.load(Ordering::Relaxed) {
            std::thread::sleep(LOOK.min(until.saturating_duration_since(Instant::now())));
        }
    }
}
