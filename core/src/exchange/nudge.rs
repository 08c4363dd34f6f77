//! Nudges: that there is news, as server-sent events (the text/event-stream of the WHATWG HTML
//! standard). Makes and reads the text; carries no change: news are fetched by the exchange.

use core::fmt::Write as _;
use core::str::FromStr as _;

use crate::model::name::DocName;

/// Most documents that one event names; beyond them it says only that there is news.
pub const MAX_NAMED: usize = 64;
/// Most bytes of a line that is read.
const MAX_LINE: usize = 4 << 10;
/// Most lines of data of an event that is read.
const MAX_LINES: usize = 256;

/// What a device is told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Nudge {
    /// These documents have news. A name that this version does not know is left out.
    News(Vec<DocName>),
    /// Something may have been missed, or too much is new to be named: exchange.
    Exchange,
}

/// One thing heard.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Heard {
    /// An event, and the position to go on from after a broken connection.
    Event(Nudge, Option<String>),
    /// How long to wait before connecting again, ms.
    Retry(u64),
    /// The line is alive.
    Alive,
}

/// The text of an event.
#[must_use]
pub fn event(position: &str, nudge: &Nudge) -> String {
    let mut out = format!("id: {position}\n");
    match nudge {
        Nudge::News(names) if !names.is_empty() && names.len() <= MAX_NAMED => {
            out.push_str("event: news\n");
            for name in names {
                // Writing to a String cannot fail.
                let _ = writeln!(out, "data: {name}");
            }
        }
        Nudge::News(_) | Nudge::Exchange => out.push_str("event: exchange\ndata: all\n"),
    }
    out.push('\n');
    out
}

/// The text with which a stream begins: how long to wait before connecting again.
#[must_use]
pub fn begin(retry_ms: u64) -> String {
    format!("retry: {retry_ms}\n: backstraight\n\n")
}

/// A comment that says that the line is alive.
pub const ALIVE: &str = ": alive\n\n";

/// Bytes that are no events.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("not a stream of nudges")]
pub struct NudgeError;

/// Reads a stream as its bytes come.
#[derive(Debug, Clone, Default)]
pub struct Reader {
    line: Vec<u8>,
    kind: String,
    data: Vec<String>,
    position: Option<String>,
    /// The byte before was the first of a two-byte line end.
    after_cr: bool,
}

impl Reader {
    /// Takes the next bytes and says what they complete.
    ///
    /// # Errors
    /// When a line or an event is larger than any of ours.
    pub fn take(&mut self, bytes: &[u8]) -> Result<Vec<Heard>, NudgeError> {
        let mut heard = Vec::new();
        for byte in bytes {
            let follows = core::mem::replace(&mut self.after_cr, *byte == b'\r');
            match byte {
                b'\n' if follows => {}
                b'\n' | b'\r' => {
                    let line = core::mem::take(&mut self.line);
                    self.line(&String::from_utf8_lossy(&line), &mut heard)?;
                }
                _ if self.line.len() == MAX_LINE => return Err(NudgeError),
                byte => self.line.push(*byte),
            }
        }
        Ok(heard)
    }

    fn line(&mut self, line: &str, heard: &mut Vec<Heard>) -> Result<(), NudgeError> {
        if line.is_empty() {
            let (kind, data) = (core::mem::take(&mut self.kind), core::mem::take(&mut self.data));
            if data.is_empty() {
                return Ok(());
            }
            let nudge = if kind == "news" {
                Nudge::News(data.iter().filter_map(|name| DocName::from_str(name).ok()).collect())
            } else {
                // Whatever a newer server says: an exchange finds out.
                Nudge::Exchange
            };
            heard.push(Heard::Event(nudge, self.position.clone()));
            return Ok(());
        }
        let (field, value) = line.split_once(':').unwrap_or((line, ""));
        let value = value.strip_prefix(' ').unwrap_or(value);
        match field {
            "" => heard.push(Heard::Alive),
            "event" => value.clone_into(&mut self.kind),
            "data" if self.data.len() == MAX_LINES => return Err(NudgeError),
            "data" => self.data.push(value.to_owned()),
            "id" if value.len() <= 120 && !value.contains('\0') => self.position = Some(value.to_owned()),
            "retry" => heard.extend(value.parse().ok().map(Heard::Retry)),
            _ => {}
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::id::PersonId;
    use proptest::prelude::*;
    use uuid::Uuid;

    fn names(n: u128) -> Vec<DocName> {
        (0..n).map(|i| DocName::Care(PersonId(Uuid::from_u128(i + 1)))).collect()
    }

    proptest! {
        #[test]
        fn events_read_back_however_they_are_cut(n in 1u128..80, cut in 1usize..50, crlf in any::<bool>()) {
            let told = Nudge::News(names(n));
            let text = format!("{}{}{ALIVE}", begin(5000), event("ab.7", &told));
            let text = if crlf { text.replace('\n', "\r\n") } else { text };
            let mut reader = Reader::default();
            let mut heard = Vec::new();
            for part in text.as_bytes().chunks(cut) {
                heard.extend(reader.take(part).unwrap());
            }
            let want = if n <= 64 { told } else { Nudge::Exchange };
            prop_assert_eq!(heard, vec![
                Heard::Retry(5000),
                Heard::Alive,
                Heard::Event(want, Some("ab.7".to_owned())),
                Heard::Alive,
            ]);
        }

        #[test]
        fn any_bytes_are_read_or_refused(b in proptest::collection::vec(any::<u8>(), 0..2000)) {
            let _ = Reader::default().take(&b);
        }
    }

    #[test]
    fn a_stream_without_an_end_is_refused_in_bounded_memory() {
        assert_eq!(Reader::default().take(&[b'x'; MAX_LINE + 1]), Err(NudgeError));
        assert_eq!(Reader::default().take(&b"data: x\n".repeat(MAX_LINES + 1)), Err(NudgeError));
        assert!(Reader::default().take(&b"data: x\n".repeat(MAX_LINES)).is_ok());
    }

    /// The standard leaves out a position with a NUL; ours are short.
    #[test]
    fn a_position_that_is_too_long_or_holds_a_nul_is_left_out() {
        let heard = |id: &str| Reader::default().take(format!("id: {id}\ndata: all\n\n").as_bytes());
        let at =
            |position: Option<&str>| Ok(vec![Heard::Event(Nudge::Exchange, position.map(str::to_owned))]);
        let most = "x".repeat(120);
        assert_eq!(heard(&most), at(Some(&most)));
        assert_eq!(heard(&format!("{most}x")), at(None));
        assert_eq!(heard("a\0b"), at(None));
    }

    #[test]
    fn what_a_newer_server_says_means_exchange_and_unknown_documents_are_left_out() {
        let mut reader = Reader::default();
        let text = "id: 1\nevent: later\ndata: ?\n\nevent: news\ndata: diary/7\n\n";
        assert_eq!(
            reader.take(text.as_bytes()).unwrap(),
            vec![
                Heard::Event(Nudge::Exchange, Some("1".to_owned())),
                Heard::Event(Nudge::News(Vec::new()), Some("1".to_owned())),
            ]
        );
    }
}
