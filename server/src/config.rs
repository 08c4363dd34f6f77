//! Every setting of a serving process, from flags and the environment, checked at the start.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::str::FromStr;

use clap::Args;

use crate::job::backups::Retention;
use crate::limits::Limits;
use crate::store::installs::Lasting;
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
    /// Address and port to listen on
    #[arg(long, env = "BACKSTRAIGHT_LISTEN", value_name = "ADDR", default_value = "127.0.0.1:8750")]
    pub listen: SocketAddr,
    /// File of limits (docs/limits.toml has them all); those that it does not name are as usual
    #[arg(long = "limits", env = "BACKSTRAIGHT_LIMITS", value_name = "FILE")]
    pub limits_file: Option<PathBuf>,
    /// The limits themselves.
    #[arg(skip)]
    pub limits: Limits,
    /// Certificate chain for encryption by the server itself (PEM); read again when the file changes and
    /// on SIGHUP. Without it encryption is the business of the proxy in front
    #[arg(long, env = "BACKSTRAIGHT_TLS_CERT", value_name = "FILE", requires = "tls_key")]
    pub tls_cert: Option<PathBuf>,
    /// Private key of that certificate (PEM)
    #[arg(long, env = "BACKSTRAIGHT_TLS_KEY", value_name = "FILE", requires = "tls_cert")]
    pub tls_key: Option<PathBuf>,
    /// Folder of the page, in place of the one that is in the program
    #[arg(long, env = "BACKSTRAIGHT_PAGE", value_name = "DIR", hide = true)]
    pub page: Option<PathBuf>,
    /// Minutes for which an invitation that a coach makes is good
    #[arg(long, env = "BACKSTRAIGHT_INVITE_MINUTES", value_name = "N", default_value_t = 15,
          value_parser = clap::value_parser!(u32).range(1..=1440))]
    pub invite_minutes: u32,
    /// Believe X-Forwarded-For (its last address) and X-Forwarded-Proto: only behind a proxy that sets both
    #[arg(long, env = "BACKSTRAIGHT_BEHIND_PROXY")]
    pub behind_proxy: bool,
    /// Seconds after which a silent stream of nudges says that it is alive
    #[arg(long, env = "BACKSTRAIGHT_NUDGE_SECONDS", value_name = "N", default_value_t = 25,
          value_parser = clap::value_parser!(u32).range(1..=600))]
    pub nudge_seconds: u32,
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
    /// The program that compacts documents in a process of its own; in this process without one.
    #[arg(skip)]
    pub program: Option<PathBuf>,
    /// Address by which people reach this server, such as `https://club.example`: in links, and passkeys hold to it
    #[arg(long, env = "BACKSTRAIGHT_PUBLIC_URL", value_name = "URL", value_parser = public_url)]
    pub public_url: Option<String>,
    /// Days without a refresh after which the session of an install ends; recording goes on
    #[arg(long, env = "BACKSTRAIGHT_IDLE_DAYS", value_name = "N", default_value_t = 60,
          value_parser = clap::value_parser!(u32).range(1..=3_650))]
    pub idle_days: u32,
    /// Days after which the session of an install ends in any case; recording goes on
    #[arg(long, env = "BACKSTRAIGHT_SESSION_DAYS", value_name = "N", default_value_t = 180,
          value_parser = clap::value_parser!(u32).range(1..=3_650))]
    pub session_days: u32,
    /// Minutes for which the owner's link of the first start is good
    #[arg(long, env = "BACKSTRAIGHT_OWNER_LINK_MINUTES", value_name = "N", default_value_t = 60,
          value_parser = clap::value_parser!(u32).range(1..=10_080))]
    pub owner_link_minutes: u32,
    /// Leave the rows of the board to another process: for tests.
    #[arg(skip)]
    pub without_projector: bool,
    /// Folder for backups, on another disk; without it none are made by the clock. It must be there
    #[arg(long, env = "BACKSTRAIGHT_BACKUP_TO", value_name = "DIR")]
    pub backup_to: Option<PathBuf>,
    /// Time between two backups, as in 30m, 6h or 1d
    #[arg(long, env = "BACKSTRAIGHT_BACKUP_EVERY", value_name = "TIME", default_value = "6h")]
    pub backup_every: Every,
    /// Newest backups that are kept, however old
    #[arg(long, env = "BACKSTRAIGHT_BACKUP_KEEP_NEWEST", value_name = "N", default_value_t = 4,
          value_parser = clap::value_parser!(u32).range(1..=1_000))]
    pub backup_keep_newest: u32,
    /// Days for which the last backup of each day is kept
    #[arg(long, env = "BACKSTRAIGHT_BACKUP_KEEP_DAYS", value_name = "N", default_value_t = 7,
          value_parser = clap::value_parser!(u32).range(0..=3_660))]
    pub backup_keep_days: u32,
    /// Weeks for which the last backup of each week is kept
    #[arg(long, env = "BACKSTRAIGHT_BACKUP_KEEP_WEEKS", value_name = "N", default_value_t = 4,
          value_parser = clap::value_parser!(u32).range(0..=520))]
    pub backup_keep_weeks: u32,
    /// Days in which every stored document is looked at once, in the background; 0 for never
    #[arg(long, env = "BACKSTRAIGHT_SCRUB_DAYS", value_name = "N", default_value_t = 7,
          value_parser = clap::value_parser!(u32).range(0..=365))]
    pub scrub_days: u32,
    /// Address and port for metrics, apart from the public one; without it there are none
    #[arg(long, env = "BACKSTRAIGHT_METRICS_LISTEN", value_name = "ADDR")]
    pub metrics_listen: Option<SocketAddr>,
    /// Collector to which spans of requests are sent by OTLP over HTTP, as in http://127.0.0.1:4318;
    /// only in programs built with the feature otlp
    #[arg(long, env = "BACKSTRAIGHT_OTLP", value_name = "URL")]
    pub otlp: Option<String>,
    /// Megabytes of free disk below which the server warns
    #[arg(long, env = "BACKSTRAIGHT_LOW_DISK_MB", value_name = "N", default_value_t = 512)]
    pub low_disk_mb: u32,
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
            limits_file: None,
            limits: Limits::default(),
            tls_cert: None,
            tls_key: None,
            page: None,
            invite_minutes: 15,
            behind_proxy: false,
            nudge_seconds: 25,
            stop_seconds: 20,
            compact_after: 64,
            answer_bytes: 4 << 20,
            public_url: None,
            idle_days: 60,
            session_days: 180,
            owner_link_minutes: 60,
            without_projector: false,
            program: None,
            backup_to: None,
            backup_every: Every(360),
            backup_keep_newest: 4,
            backup_keep_days: 7,
            backup_keep_weeks: 4,
            scrub_days: 0,
            metrics_listen: None,
            otlp: None,
            low_disk_mb: 512,
            log: "info".to_owned(),
        }
    }

    /// How long backups are kept.
    #[must_use]
    pub const fn retention(&self) -> Retention {
        Retention {
            newest: self.backup_keep_newest,
            days: self.backup_keep_days,
            weeks: self.backup_keep_weeks,
        }
    }

    /// How long sessions last.
    #[must_use]
    pub fn lasting(&self) -> Lasting {
        let days = |n: u32| i64::from(n) * 86_400_000;
        Lasting { idle: days(self.idle_days), whole: days(self.session_days) }
    }

    /// The address for links, without a slash at its end.
    #[must_use]
    pub fn site(&self) -> String {
        match &self.public_url {
            Some(url) => url.clone(),
            None => format!("http://localhost:{}", self.listen.port()),
        }
    }
}

/// A time in whole minutes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Every(pub u32);

impl FromStr for Every {
    type Err = String;

    fn from_str(text: &str) -> Result<Every, String> {
        let bad = || format!("{text:?} is no time from 1m to 31d, such as 30m, 6h or 1d");
        let end = text.chars().next_back().ok_or_else(bad)?;
        let minutes = match end {
            'm' => 1,
            'h' => 60,
            'd' => 24 * 60,
            _ => return Err(bad()),
        };
        let number = text.strip_suffix(end).and_then(|n| n.parse::<u32>().ok()).ok_or_else(bad)?;
        let all = number.checked_mul(minutes).filter(|n| (1..=31 * 24 * 60).contains(n)).ok_or_else(bad)?;
        Ok(Every(all))
    }
}

/// Scheme, host and perhaps a port, nothing else.
pub(crate) fn public_url(text: &str) -> Result<String, String> {
    let url = text.trim_end_matches('/');
    let host = url.strip_prefix("https://").or_else(|| url.strip_prefix("http://"));
    let fits = |c: char| c.is_ascii_alphanumeric() || matches!(c, '.' | '-' | ':' | '[' | ']');
    match host {
        Some(host) if !host.is_empty() && host.len() <= 255 && host.chars().all(fits) => {
            Ok(url.to_ascii_lowercase())
        }
        _ => Err("an address is https:// and a host, without a path".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_read_or_refused() {
        for (text, want) in [("1m", 1), ("6h", 360), ("1d", 1_440), ("31d", 44_640)] {
            assert_eq!(text.parse(), Ok(Every(want)), "{text}");
        }
        for text in ["", "6", "h", "0m", "32d", "-1h", "6 h", "99999999999d", "1w"] {
            assert!(text.parse::<Every>().is_err(), "{text}");
        }
    }
}
