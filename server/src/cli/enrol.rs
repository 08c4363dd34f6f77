//! `backstraight enrol`: trades an invitation for a session, for programs and for trying things out.

use std::fs::OpenOptions;
use std::io::Write;
use std::os::unix::fs::OpenOptionsExt;
use std::path::PathBuf;

use backstraight_core::exchange::proof;
use clap::Args;
use data_encoding::HEXLOWER;
use ed25519_dalek::{Signer, SigningKey};
use serde::Serialize;
use serde_json::{Value, json};

use super::{CliError, Output, table};
use crate::secret;

/// Trades an invitation's code for a session, as a phone does
#[derive(Debug, Args)]
pub(super) struct Enrol {
    /// The code, or the secret of the picture
    code: String,
    /// Address of the server
    #[arg(long, value_name = "URL", default_value = "http://127.0.0.1:8750")]
    server: String,
    /// What this install calls itself
    #[arg(long, default_value = "program")]
    device: String,
    /// Keep the install's own key in this new file: without it the session ends with its access token
    #[arg(long, value_name = "FILE")]
    key: Option<PathBuf>,
    #[command(flatten)]
    output: Output,
}

#[derive(Debug, Serialize)]
struct Session {
    install: String,
    person: String,
    access_token: String,
    refresh_token: String,
}

impl Enrol {
    pub(super) fn run(self) -> Result<(), CliError> {
        let key = SigningKey::from_bytes(&secret::random());
        if let Some(path) = &self.key {
            // Before the code is spent: an install whose key is lost is of no use.
            let mut file = OpenOptions::new().write(true).create_new(true).mode(0o600).open(path)?;
            writeln!(file, "{}", HEXLOWER.encode(&key.to_bytes()))?;
            file.sync_all()?;
        }
        let public = key.verifying_key().to_bytes();
        let signature = key.sign(&proof::enrol(&self.code, &public, &self.device)).to_bytes();
        let body = json!({
            "code": self.code, "device": self.device,
            "public_key": HEXLOWER.encode(&public), "signature": HEXLOWER.encode(&signature),
        });
        let agent: ureq::Agent = ureq::Agent::config_builder().http_status_as_error(false).build().into();
        let url = format!("{}/v1/enrol", self.server.trim_end_matches('/'));
        let failed = |e: ureq::Error| CliError::Found(format!("the server was not reached: {e}"));
        let mut answer = agent
            .post(url)
            .header("content-type", "application/json")
            .send(body.to_string())
            .map_err(failed)?;
        let text = answer.body_mut().read_to_string().map_err(failed)?;
        let answer: Value = serde_json::from_str(&text).unwrap_or(Value::Null);
        let field = |name: &str| answer.get(name).and_then(Value::as_str).map(str::to_owned);
        let got = (field("install"), field("person"), field("access_token"), field("refresh_token"));
        let (Some(install), Some(person), Some(access_token), Some(refresh_token)) = got else {
            let why = field("title").unwrap_or_else(|| "its answer is not understood".to_owned());
            return Err(CliError::Found(format!("the server gave no session: {why}")));
        };
        let session = Session { install, person, access_token, refresh_token };
        let shown = [
            ("install", session.install.clone()),
            ("person", session.person.clone()),
            ("access token", session.access_token.clone()),
            ("refresh token", session.refresh_token.clone()),
        ];
        table::one(self.output, &session, &shown)
    }
}
