//! Encryption by the server itself: a certificate and its key from files, read again when they change.
//! Knows no request.

use std::fs;
use std::path::PathBuf;
use std::sync::{Arc, PoisonError, RwLock};
use std::time::{Duration, SystemTime};

use rustls::ServerConfig;
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};

use crate::config::Config;
use crate::store::StoreError;

/// How often the files are looked at.
const PAUSE: Duration = Duration::from_secs(10);

/// The present certificate, and where the next one comes from.
#[derive(Debug)]
pub struct Tls {
    cert: PathBuf,
    key: PathBuf,
    present: RwLock<Arc<ServerConfig>>,
}

/// When files were changed, and how long they are.
type Stamp = [Option<(SystemTime, u64)>; 2];

impl Tls {
    /// Reads the files that the settings name; none when they name none.
    ///
    /// # Errors
    /// When they cannot be used.
    pub fn of(config: &Config) -> Result<Option<Tls>, StoreError> {
        let (Some(cert), Some(key)) = (config.tls_cert.clone(), config.tls_key.clone()) else {
            return Ok(None);
        };
        let present = RwLock::new(read(&cert, &key)?);
        Ok(Some(Tls { cert, key, present }))
    }

    /// What a new connection is encrypted with.
    #[must_use]
    pub fn present(&self) -> Arc<ServerConfig> {
        Arc::clone(&self.present.read().unwrap_or_else(PoisonError::into_inner))
    }

    /// Reads the files again. What they hold goes for new connections; when they cannot be used, all stays
    /// as it is and the log says why.
    pub fn reload(&self) {
        match read(&self.cert, &self.key) {
            Ok(config) => {
                *self.present.write().unwrap_or_else(PoisonError::into_inner) = config;
                tracing::info!("the certificate was read again");
            }
            Err(error) => tracing::error!(%error, "the certificate stays as it was"),
        }
    }

    /// Reads the files again whenever they have changed.
    pub(crate) async fn follow(&self) {
        let mut known = self.stamp();
        loop {
            tokio::time::sleep(PAUSE).await;
            let now = self.stamp();
            if now != known {
                known = now;
                self.reload();
            }
        }
    }

    fn stamp(&self) -> Stamp {
        [&self.cert, &self.key].map(|file| {
            let about = fs::metadata(file).ok()?;
            Some((about.modified().ok()?, about.len()))
        })
    }
}

fn read(cert: &std::path::Path, key: &std::path::Path) -> Result<Arc<ServerConfig>, StoreError> {
    let bad = |file: &std::path::Path, why: String| StoreError::File {
        what: file.display().to_string(),
        source: std::io::Error::other(why),
    };
    let chain: Vec<CertificateDer<'static>> = CertificateDer::pem_file_iter(cert)
        .and_then(Iterator::collect)
        .map_err(|e| bad(cert, format!("no certificate in PEM: {e}")))?;
    if chain.is_empty() {
        return Err(bad(cert, "no certificate in PEM".to_owned()));
    }
    let private = PrivateKeyDer::from_pem_file(key).map_err(|e| bad(key, format!("no key in PEM: {e}")))?;
    let ring = Arc::new(rustls::crypto::ring::default_provider());
    // TLS 1.2 and 1.3: this library knows none that is older.
    let mut config = ServerConfig::builder_with_provider(ring)
        .with_safe_default_protocol_versions()
        .map_err(|e| bad(cert, e.to_string()))?
        .with_no_client_auth()
        .with_single_cert(chain, private)
        .map_err(|e| bad(cert, format!("certificate and key cannot be used: {e}")))?;
    config.alpn_protocols = vec![b"http/1.1".to_vec()];
    Ok(Arc::new(config))
}
