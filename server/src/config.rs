//! Every setting of a serving process, from flags and the environment, checked at the start.

use std::net::SocketAddr;
use std::path::PathBuf;

use clap::Args;

use crate::store::postgres::Database;

/// Settings of `backstraight serve`.
#[derive(Debug, Clone, Args)]
pub struct Config {
    /// Data folder; made when it is missing
    #[arg(long, env = "BACKSTRAIGHT_DATA", value_name = "DIR")]
    pub data: PathBuf,
    /// The database, when it is not in the data folder
    #[command(flatten)]
    pub database: Database,
    /// Address and port to listen on; encryption is the business of the proxy in front
    #[arg(long, env = "BACKSTRAIGHT_LISTEN", value_name = "ADDR", default_value = "127.0.0.1:8750")]
    pub listen: SocketAddr,
    /// Minutes for which an invitation that a coach makes is good
    #[arg(long, env = "BACKSTRAIGHT_INVITE_MINUTES", value_name = "N", default_value_t = 15,
          value_parser = clap::value_parser!(u32).range(1..=1440))]
    pub invite_minutes: u32,
    /// Wrong codes that one address may try in fifteen minutes
    #[arg(long, env = "BACKSTRAIGHT_CODE_TRIES", value_name = "N", default_value_t = 10,
          value_parser = clap::value_parser!(u32).range(1..=100_000))]
    pub code_tries: u32,
    /// Believe the last address of the X-Forwarded-For header: only behind a proxy that sets it
    #[arg(long, env = "BACKSTRAIGHT_BEHIND_PROXY")]
    pub behind_proxy: bool,
    /// Seconds after which a request is given up
    #[arg(long, env = "BACKSTRAIGHT_REQUEST_SECONDS", value_name = "N", default_value_t = 30,
          value_parser = clap::value_parser!(u32).range(1..=600))]
    pub request_seconds: u32,
    /// Connections at the same time; more wait
    #[arg(long, env = "BACKSTRAIGHT_CONNECTIONS", value_name = "N", default_value_t = 16_384,
          value_parser = clap::value_parser!(u32).range(1..=1_000_000))]
    pub connections: u32,
    /// Seconds that running requests get to finish when the server is stopped
    #[arg(long, env = "BACKSTRAIGHT_STOP_SECONDS", value_name = "N", default_value_t = 20,
          value_parser = clap::value_parser!(u32).range(0..=600))]
    pub stop_seconds: u32,
    /// Uploads to one document after which it is compacted in the background; 0 for never
    #[arg(long, env = "BACKSTRAIGHT_COMPACT_AFTER", value_name = "N", default_value_t = 64)]
    pub compact_after: u32,
    /// Bytes of changes after which an answer is cut and the device asks again
    #[arg(long, env = "BACKSTRAIGHT_ANSWER_BYTES", value_name = "N", default_value_t = 4 << 20, hide = true,
          value_parser = clap::value_parser!(u32).range(1_024..=6 << 20))]
    pub answer_bytes: u32,
    /// Leave the rows of the board to another process: for tests.
    #[arg(skip)]
    pub without_projector: bool,
    /// What is logged: error, warn, info or debug
    #[arg(long, env = "BACKSTRAIGHT_LOG", value_name = "LEVEL", default_value = "info")]
    pub log: String,
}

impl Config {
    /// The settings of a server on `data` with everything else as it comes, on a port that the
    /// system picks.
    #[must_use]
    pub fn on(data: PathBuf) -> Config {
        Config {
            data,
            database: Database::default(),
            listen: SocketAddr::from(([127, 0, 0, 1], 0)),
            invite_minutes: 15,
            code_tries: 10,
            behind_proxy: false,
            request_seconds: 30,
            connections: 16_384,
            stop_seconds: 20,
            compact_after: 64,
            answer_bytes: 4 << 20,
            without_projector: false,
            log: "info".to_owned(),
        }
    }
}
