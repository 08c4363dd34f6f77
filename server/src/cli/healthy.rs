//! `backstraight healthy`: for containers, in which there is no other program that could ask.

use clap::Args;

use super::CliError;

/// Asks a server on this machine whether it is there; exit code 1 when not.
#[derive(Debug, Args)]
pub(super) struct Healthy {
    /// Its address
    #[arg(long, value_name = "URL", default_value = "http://127.0.0.1:8750")]
    url: String,
}

impl Healthy {
    pub(super) fn run(self) -> Result<(), CliError> {
        let tls = ureq::tls::TlsConfig::builder()
            // Whether it is there, not whose it is: its certificate does not name this address.
            .disable_verification(true)
            .build();
        let agent: ureq::Agent = ureq::Agent::config_builder()
            .timeout_global(Some(std::time::Duration::from_secs(4)))
            .tls_config(tls)
            .build()
            .into();
        let url = format!("{}/healthz", self.url.trim_end_matches('/'));
        match agent.get(url).call() {
            Ok(_) => Ok(()),
            Err(error) => Err(CliError::Found(format!("the server is not healthy: {error}"))),
        }
    }
}
