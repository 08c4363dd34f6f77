//! `backstraight serve`.

use std::io::Write;

use tokio::signal::unix::{SignalKind, signal};

use super::CliError;
use crate::app::{self, Clock};
use crate::config::Config;
use crate::limits::Limits;
use crate::store::{StoreError, StoreOptions};
use crate::telemetry;

/// Serves until a signal says stop, or the disk fails.
pub(super) fn run(mut config: Config) -> Result<(), CliError> {
    config.program = std::env::current_exe().ok();
    if let Some(file) = &config.limits_file {
        config.limits = Limits::read(file).map_err(CliError::Argument)?;
    }
    let _ending = telemetry::start(&config.log, config.otlp.as_deref()).map_err(CliError::Argument)?;
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build()?;
    runtime.block_on(async {
        let mut term = signal(SignalKind::terminate())?;
        let mut interrupt = signal(SignalKind::interrupt())?;
        let running = app::start(config, StoreOptions::default(), Clock::system()).await?;
        if let Some(link) = running.owner_link().await? {
            let minutes = running.app.config.owner_link_minutes;
            // On the output stream: the error stream is the log, which others read and keep.
            writeln!(
                std::io::stdout().lock(),
                "Nobody has set this server up. Whoever opens this link within {minutes} minutes makes the first \
                 club and owns it; it is good once, and every start prints another:\n\n    {link}\n"
            )?;
        }
        if let Some(tls) = running.app.tls.clone() {
            let mut again = signal(SignalKind::hangup())?;
            tokio::spawn(async move {
                while again.recv().await.is_some() {
                    tls.reload();
                }
            });
        }
        let mut failed = false;
        tokio::select! {
            _ = term.recv() => {}
            _ = interrupt.recv() => {}
            // Readers may go on looking at what is there until a person comes; writers are refused.
            () = running.storage_stopped() => {
                failed = true;
                tokio::select! { _ = term.recv() => {}, _ = interrupt.recv() => {} }
            }
        }
        running.stop().await;
        if failed { Err(StoreError::Stopped.into()) } else { Ok(()) }
    })
}
