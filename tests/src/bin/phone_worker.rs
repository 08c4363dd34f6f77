//! A phone or a server in a process of its own, to be killed by a test at any instant. Says on its
//! standard output, one line each, what it has called saved.
#![expect(clippy::print_stdout, clippy::print_stderr, reason = "a test reads along")]

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use backstraight_core::base::moment::Moment;
use backstraight_ffi::transport::Http;
use backstraight_server::app::{self, Clock};
use backstraight_server::config::Config;
use backstraight_server::store::StoreOptions;
use backstraight_server::store::postgres::Database;
use backstraight_tests::demo::stage::Trouble;
use backstraight_tests::stand::Handset;
use clap::Parser;

/// Sets after which a phone with a server exchanges.
const SETS: i64 = 5;
/// Sets after which a phone that nobody killed ends by itself.
const MOST: i64 = 2_000;

#[derive(Debug, Parser)]
enum Args {
    /// Logs sets on the phone of a folder, without end.
    Log {
        folder: PathBuf,
        /// The phone's clock, ms.
        now: i64,
        /// Number of the first set.
        first: i64,
        /// The server, when there is a signal.
        #[arg(long)]
        url: Option<String>,
    },
    /// Serves a data folder, without end.
    Serve {
        data: PathBuf,
        #[command(flatten)]
        database: Database,
    },
}

fn main() -> ExitCode {
    let done = match Args::parse() {
        Args::Log { folder, now, first, url } => log(&folder, Moment(now), first, url.as_deref()),
        Args::Serve { data, database } => serve(data, database),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(trouble) => {
            eprintln!("{trouble}");
            ExitCode::FAILURE
        }
    }
}

fn log(folder: &Path, now: Moment, first: i64, url: Option<&str>) -> Result<(), Trouble> {
    let mut phone = Handset::open(folder, now);
    let mut session = phone.begin();
    for n in first..first + MOST {
        let (key, _) = phone.set(&mut session, n)?;
        println!("{key} {n}");
        if let Some(url) = url.filter(|_| n % SETS == 0) {
            phone.phone.exchange(&mut Http::new(url))?;
        }
    }
    Ok(())
}

fn serve(data: PathBuf, database: Database) -> Result<(), Trouble> {
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build()?;
    runtime.block_on(async {
        let mut config = Config::on(data);
        config.compact_after = 0;
        config.database = database;
        let running = app::start(config, StoreOptions::default(), Clock::system()).await?;
        println!("http://{}", running.address);
        std::future::pending::<()>().await;
        Ok(())
    })
}
