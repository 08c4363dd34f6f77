//! `backstraight keys`.

use clap::Subcommand;
use serde::Serialize;

use super::{CliError, Data, Output, now, table};
use crate::token::{self, Tokens};

/// Keys that sign access tokens.
#[derive(Debug, Subcommand)]
pub(super) enum Keys {
    /// Let a new key sign; tokens of the old one stay good until they end by themselves
    Rotate {
        #[command(flatten)]
        data: Data,
        #[command(flatten)]
        output: Output,
    },
    /// List the key that signs and those whose tokens are still good
    List {
        #[command(flatten)]
        data: Data,
        #[command(flatten)]
        output: Output,
    },
}

#[derive(Debug, Serialize)]
struct Line {
    kid: String,
    state: &'static str,
    public_key: String,
}

/// A server takes a new key some seconds late, and clocks differ.
const MARGIN_S: i64 = 60;

impl Keys {
    pub(super) fn run(self) -> Result<(), CliError> {
        let now = now();
        let (data, output, rotate) = match self {
            Keys::Rotate { data, output } => (data, output, true),
            Keys::List { data, output } => (data, output, false),
        };
        // On a database server it is the database that says whether these are its keys.
        let folder = if data.on_server() { data.store()?.0 } else { data.folder()? };
        if rotate {
            folder.rotate_signing(now.plus_ms((token::LIFETIME + token::LEEWAY + MARGIN_S) * 1000))?;
        }
        let keys = folder.keys()?;
        let tokens = Tokens::new(&keys, [0; 16]);
        tokens.renew(&keys, &folder.retired(now)?);
        let rows: Vec<Line> = tokens
            .public_keys(now)
            .into_iter()
            .enumerate()
            .map(|(i, (kid, key))| Line {
                kid,
                state: if i == 0 { "signs" } else { "still good" },
                public_key: data_encoding::BASE64URL_NOPAD.encode(&key),
            })
            .collect();
        table::print(output, &["KEY", "STATE", "PUBLIC KEY"], &rows, |r| {
            vec![r.kid.clone(), r.state.to_owned(), r.public_key.clone()]
        })
    }
}
