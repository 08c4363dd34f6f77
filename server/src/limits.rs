//! Every limit that a server holds requests to, in one place: its name in the file of limits, what it is
//! unless the file says otherwise, between what it may lie, and why there is one. Limits that both sides
//! of the exchange have to share are none of these: they are constants of the protocol. Knows no request.

use std::path::Path;

/// One limit, for the documented example and for refusing what is out of range.
#[derive(Debug, Clone, Copy)]
pub struct Limit {
    /// Its name in the file.
    pub name: &'static str,
    /// What it is unless the file says otherwise.
    pub usual: u32,
    /// The least that is taken.
    pub least: u32,
    /// The most that is taken.
    pub most: u32,
    /// Why there is one.
    pub why: &'static str,
}

macro_rules! limits {
    ($($(#[doc = $why:literal])+ $name:ident = $usual:literal in $least:literal ..= $most:literal;)+) => {
        /// The limits of a server.
        #[derive(Debug, Clone, PartialEq, Eq)]
        pub struct Limits {
            $($(#[doc = $why])+ pub $name: u32,)+
        }

        impl Default for Limits {
            fn default() -> Limits {
                Limits { $($name: $usual,)+ }
            }
        }

        impl Limits {
            /// Every limit there is.
            pub const ALL: &[Limit] = &[$(Limit {
                name: stringify!($name),
                usual: $usual,
                least: $least,
                most: $most,
                why: concat!($($why,)+),
            },)+];

            fn slot(&mut self, name: &str) -> Option<&mut u32> {
                match name {
                    $(stringify!($name) => Some(&mut self.$name),)+
                    _ => None,
                }
            }
        }
    };
}

limits! {
    /// Bytes of a JSON body. The longest that a client has a reason to send is a few hundred.
    json_bytes = 16_384 in 1_024..=1_048_576;
    /// Bytes of a full copy, which is read back when an athlete leaves with it. Ten years of one athlete are a
    /// few million.
    copy_bytes = 16_777_216 in 1_048_576..=1_073_741_824;
    /// Bytes that one packed byte of an exchange may become. Changes pack six- to tenfold: beyond this a
    /// body is meant to hurt.
    unpack_ratio = 100 in 20..=1_000;
    /// Changes of one document in one exchange: years of one athlete, or all of a large library, when a
    /// restored server has to be filled again.
    document_changes = 20_000 in 2_000..=200_000;
    /// Connections at the same time; more wait. Each needs a file handle and some memory.
    connections = 16_384 in 1..=1_000_000;
    /// Streams of nudges that are open at the same time; more are told to come again.
    streams = 12_000 in 0..=1_000_000;
    /// Streams of nudges of one install: one, and those that it lost without anybody having noticed.
    streams_each = 4 in 1..=100_000;
    /// Requests of one install in a minute, and as many at once after a pause. A phone exchanges once a
    /// set, a desk reads some pages a minute.
    install_minute = 600 in 10..=1_000_000;
    /// Requests from one address in a minute, and as many at once after a pause. A whole club may stand
    /// behind one address.
    address_minute = 12_000 in 60..=10_000_000;
    /// Wrong codes that one address may try in fifteen minutes. Good ones are not counted.
    wrong_codes = 10 in 1..=100_000;
    /// Seconds that encryption may take to be agreed on.
    handshake_seconds = 10 in 1..=120;
    /// Seconds that the head of a request may take to arrive, also on a connection that is kept open.
    head_seconds = 60 in 1..=600;
    /// Seconds that the body of a request may take to arrive.
    body_seconds = 20 in 1..=600;
    /// Seconds after which a request is given up, its body included. Streams are not held to it.
    request_seconds = 30 in 1..=600;
    /// Seconds of waiting for a client that does not take what is sent, after which it is looked at how much it
    /// took meanwhile. Streams are held to it too.
    answer_seconds = 30 in 1..=600;
    /// Bytes that a client has to take for each of these seconds, or its connection ends. A phone on the
    /// poorest line takes some thousand; who takes less holds memory and a place for hours.
    answer_rate = 1_000 in 0..=1_000_000;
    /// Requests that are unpacked, checked and answered at the same time; 0 for two a processor core.
    /// Bounds memory, and keeps the processors from being shared by too many.
    work = 0 in 0..=1_024;
    /// Requests that have arrived and wait for their turn or are at it; one more is told to come again at
    /// once, which costs nothing, instead of waiting until its sender has given up.
    waiting = 2_000 in 4..=100_000;
}

impl Limits {
    /// The limits of a file: those that it names, the others as usual.
    ///
    /// # Errors
    /// When it cannot be read or is no such file, in words that name the place.
    pub fn read(file: &Path) -> Result<Limits, String> {
        let text = std::fs::read_to_string(file).map_err(|e| format!("limits {}: {e}", file.display()))?;
        Limits::parse(&text).map_err(|why| format!("limits {}: {why}", file.display()))
    }

    /// The same from the text of a file.
    ///
    /// # Errors
    /// When it is no such text.
    pub fn parse(text: &str) -> Result<Limits, String> {
        let table: toml::Table = text.parse().map_err(|e: toml::de::Error| e.to_string())?;
        let mut limits = Limits::default();
        for (name, value) in &table {
            let limit = Limits::ALL.iter().find(|l| l.name == name.as_str());
            let (Some(limit), Some(slot)) = (limit, limits.slot(name)) else {
                return Err(format!("there is no limit {name:?}"));
            };
            let (least, most) = (limit.least, limit.most);
            let fits = value.as_integer().and_then(|n| u32::try_from(n).ok());
            *slot = fits.filter(|n| (least..=most).contains(n)).ok_or_else(|| {
                format!("{name} is {}, and has to be a whole number from {least} to {most}", shown(value))
            })?;
        }
        if limits.body_seconds > limits.request_seconds {
            return Err("body_seconds is more than request_seconds, which the body is part of".to_owned());
        }
        Ok(limits)
    }
}

/// A value as it stands in the file, as far as it is a single one.
fn shown(value: &toml::Value) -> String {
    match value {
        toml::Value::Integer(n) => n.to_string(),
        toml::Value::Float(n) => n.to_string(),
        toml::Value::Boolean(b) => b.to_string(),
        toml::Value::String(text) => format!("{text:?}"),
        toml::Value::Datetime(_) | toml::Value::Array(_) | toml::Value::Table(_) => {
            "a list, table or day".to_owned()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const EXAMPLE: &str = include_str!("../../docs/limits.toml");

    #[test]
    fn the_example_names_every_limit_as_it_is() {
        assert_eq!(Limits::parse(EXAMPLE), Ok(Limits::default()));
        let table: toml::Table = EXAMPLE.parse().unwrap();
        let named: Vec<&str> = table.keys().map(String::as_str).collect();
        let mut all: Vec<&str> = Limits::ALL.iter().map(|l| l.name).collect();
        all.sort_unstable();
        assert_eq!(named, all);
        // The words beside each are those of the code, whatever the lines are broken into.
        let words = |text: &str| text.replace("\n# ", " ").split_whitespace().collect::<Vec<_>>().join(" ");
        let example = words(EXAMPLE);
        for limit in Limits::ALL {
            let said = format!("{} From {} to {}. {} =", limit.why, limit.least, limit.most, limit.name);
            assert!(example.contains(&words(&said)), "{}: {said}", limit.name);
        }
    }

    #[test]
    fn what_is_no_limit_is_named() {
        for (text, words) in [
            ("bodies = 1", "no limit \"bodies\""),
            ("json_bytes = 1", "json_bytes is 1, and has to be a whole number from 1024 to 1048576"),
            ("json_bytes = 99999999999", "json_bytes is 99999999999"),
            ("json_bytes = -1", "json_bytes is -1"),
            ("json_bytes = \"16k\"", "json_bytes is \"16k\""),
            ("json_bytes = 1e4", "json_bytes is"),
            ("waiting = true", "waiting is true"),
            ("[waiting]", "waiting is"),
            ("waiting = 9\nwaiting = 9", "duplicate key"),
            ("waiting", "line 1"),
            ("body_seconds = 31", "body_seconds is more than request_seconds"),
        ] {
            let said = Limits::parse(text).unwrap_err();
            assert!(said.contains(words), "{text}: {said}");
        }
        assert_eq!(Limits::parse("waiting = 9").unwrap().waiting, 9);
        assert_eq!(Limits::parse(""), Ok(Limits::default()));
        for limit in Limits::ALL {
            assert!((limit.least..=limit.most).contains(&limit.usual), "{}", limit.name);
        }
    }
}
