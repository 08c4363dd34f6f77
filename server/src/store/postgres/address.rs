//! Where the database server is, and how the way to it is kept safe. Words that would only look safe
//! are refused at the start.

use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::sync::Arc;
use std::time::Duration;

use clap::Args;
use postgres::config::{Host, SslMode};
use postgres::{Client, NoTls};
use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject;
use rustls::{ClientConfig, RootCertStore};
use tokio_postgres_rustls::MakeRustlsConnect;

use crate::store::StoreError;
use crate::store::sql::Session;

/// How long the way to the server may take.
const CONNECT: Duration = Duration::from_secs(5);
/// How long what was sent may stay without any answer of the other machine.
const SILENCE: Duration = Duration::from_secs(10);

/// What every connection promises: a commit waits for the disk, and nothing waits or holds rows for
/// ever.
const PROMISES: &str = "SELECT set_config('synchronous_commit',
    CASE current_setting('synchronous_commit') WHEN 'remote_apply' THEN 'remote_apply' ELSE 'on' END, false);
    SET lock_timeout = '5s'; SET statement_timeout = '60s'; SET idle_in_transaction_session_timeout = '60s';
    SET default_transaction_isolation = 'read committed'; SET client_min_messages = 'warning'";

/// The database server, when it is not SQLite in the data folder.
#[derive(Debug, Clone, Default, Args)]
pub struct Database {
    /// Keep everything in this PostgreSQL database: `postgres://name@host/database`
    #[arg(
        id = "database",
        long = "database",
        env = "BACKSTRAIGHT_DATABASE",
        value_name = "URL",
        hide_env_values = true
    )]
    pub url: Option<Url>,
    /// Certificates (PEM) by which the database server is known; the usual authorities without it
    #[arg(id = "database_ca", long = "database-ca", env = "BACKSTRAIGHT_DATABASE_CA", value_name = "FILE")]
    pub ca: Option<PathBuf>,
    /// Most connections to the database; a third of them write
    #[arg(id = "database_connections", long = "database-connections",
          env = "BACKSTRAIGHT_DATABASE_CONNECTIONS", value_name = "N", default_value_t = 12,
          value_parser = clap::value_parser!(u32).range(4..=1000))]
    pub connections: u32,
}

impl Database {
    /// A database at an address, with everything else as it comes.
    #[must_use]
    pub fn at(url: Url) -> Database {
        Database { url: Some(url), ca: None, connections: 12 }
    }
}

/// An address that can be used. The password in it is not shown.
#[derive(Debug, Clone)]
pub struct Url {
    config: Box<postgres::Config>,
    tls: bool,
}

/// Why an address cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum UrlError {
    /// It is none.
    #[error("no address of a PostgreSQL database: {0}")]
    Unreadable(#[from] postgres::Error),
    /// It names no host or no database.
    #[error("the address names no {0}")]
    Missing(&'static str),
    /// Whoever is on the way could take the encryption away.
    #[error("sslmode=prefer protects nothing: say require, or disable where the way itself is safe")]
    Prefer,
}

impl FromStr for Url {
    type Err = UrlError;

    fn from_str(text: &str) -> Result<Url, UrlError> {
        // The certificate is always checked against the name, so this says the same as `require`.
        let text = text.replace("sslmode=verify-full", "sslmode=require");
        let mut config: postgres::Config = text.parse()?;
        if config.get_hosts().is_empty() {
            return Err(UrlError::Missing("host"));
        }
        if config.get_dbname().is_none() {
            return Err(UrlError::Missing("database"));
        }
        let here = config.get_hosts().iter().all(|host| match host {
            Host::Unix(_) => true,
            Host::Tcp(name) => ["localhost", "127.0.0.1", "::1"].contains(&name.as_str()),
        });
        let tls = match config.get_ssl_mode() {
            SslMode::Disable => false,
            SslMode::Require => true,
            SslMode::Prefer if text.contains("sslmode") => return Err(UrlError::Prefer),
            // Nobody listens between two processes of one machine.
            _ => !here,
        };
        config.ssl_mode(if tls { SslMode::Require } else { SslMode::Disable });
        config.connect_timeout(CONNECT).tcp_user_timeout(SILENCE).keepalives(true);
        config.keepalives_idle(Duration::from_secs(15)).keepalives_interval(Duration::from_secs(5));
        if config.get_application_name().is_none() {
            config.application_name("backstraight");
        }
        Ok(Url { config: Box::new(config), tls })
    }
}

impl Url {
    /// What the database is called.
    #[must_use]
    pub fn database(&self) -> Option<&str> {
        self.config.get_dbname()
    }
}

/// How connections are made.
#[derive(Debug, Clone)]
pub(super) struct Way {
    config: Box<postgres::Config>,
    tls: Option<Arc<ClientConfig>>,
}

impl Way {
    /// Reads what the connections need.
    ///
    /// # Errors
    /// When the certificates cannot be read.
    pub(super) fn new(url: &Url, ca: Option<&Path>) -> Result<Way, StoreError> {
        let tls = if url.tls { Some(Arc::new(tls(ca)?)) } else { None };
        Ok(Way { config: url.config.clone(), tls })
    }

    /// A connection.
    pub(super) fn client(&self) -> Result<Client, postgres::Error> {
        match &self.tls {
            None => self.config.connect(NoTls),
            Some(tls) => self.config.connect(MakeRustlsConnect::new(ClientConfig::clone(tls))),
        }
    }

    /// A connection that keeps its promises.
    pub(super) fn session(&self) -> Result<Session, StoreError> {
        let session = Session::new(self.client().map_err(crate::store::sql::Error::from)?);
        session.begin(PROMISES)?;
        Ok(session)
    }
}

fn tls(ca: Option<&Path>) -> Result<ClientConfig, StoreError> {
    let unfit = |why: &dyn std::fmt::Display| StoreError::Unfit(format!("certificates: {why}"));
    let mut roots = RootCertStore::empty();
    match ca {
        None => roots.extend(webpki_roots::TLS_SERVER_ROOTS.iter().cloned()),
        Some(path) => {
            for certificate in CertificateDer::pem_file_iter(path).map_err(|e| unfit(&e))? {
                roots.add(certificate.map_err(|e| unfit(&e))?).map_err(|e| unfit(&e))?;
            }
            if roots.is_empty() {
                return Err(unfit(&format!("{} holds none", path.display())));
            }
        }
    }
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let builder = ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .map_err(|e| unfit(&e))?;
    Ok(builder.with_root_certificates(roots).with_no_client_auth())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tls_of(text: &str) -> Result<bool, UrlError> {
        text.parse::<Url>().map(|url| url.tls)
    }

    #[test]
    fn the_way_to_another_machine_is_encrypted_unless_somebody_says_otherwise() {
        assert!(tls_of("postgres://club@db.example/club").unwrap());
        assert!(tls_of("postgres://club@db.example/club?sslmode=require").unwrap());
        assert!(tls_of("postgres://club@db.example/club?sslmode=verify-full").unwrap());
        assert!(!tls_of("postgres://club@db.example/club?sslmode=disable").unwrap());
        assert!(!tls_of("postgres://club@127.0.0.1/club").unwrap());
        assert!(!tls_of("postgres:///club?host=/run/postgresql&user=club").unwrap());
        assert!(tls_of("postgres://club@127.0.0.1/club?sslmode=require").unwrap());
        assert!(tls_of("postgres://club@localhost,db.example/club").unwrap());
    }

    #[test]
    fn an_address_that_cannot_be_used_is_refused_at_the_start() {
        assert!(matches!(tls_of("postgres://club@db/club?sslmode=prefer"), Err(UrlError::Prefer)));
        assert!(matches!(tls_of("postgres://club@db"), Err(UrlError::Missing("database"))));
        assert!(matches!(tls_of("user=club dbname=club"), Err(UrlError::Missing("host"))));
        assert!(matches!(tls_of("mysql://db/club"), Err(UrlError::Unreadable(_))));
    }

    #[test]
    fn the_password_is_not_shown() {
        let url: Url = "postgres://club:geheim@db/club".parse().unwrap();
        assert!(!format!("{url:?}").contains("geheim"));
    }

    #[test]
    fn a_file_without_certificates_is_refused() {
        let file = tempfile::NamedTempFile::new().unwrap();
        let url: Url = "postgres://club@db/club".parse().unwrap();
        assert!(matches!(Way::new(&url, Some(file.path())), Err(StoreError::Unfit(_))));
        assert!(Way::new(&url, None).is_ok());
    }
}
