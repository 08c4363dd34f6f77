//! `backstraight invite`.

use std::fs::OpenOptions;
use std::io::Write;
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

use backstraight_core::base::id::PersonId;
use backstraight_core::exchange::proof::Invitation;
use clap::Args;
use qrcode::QrCode;
use qrcode::render::{svg, unicode};
use serde::Serialize;

use super::{CliError, Data, Output, identity, now, table};
use crate::grant::AtTheMachine;
use crate::store::{account, installs, people};

/// Makes a code.
#[derive(Debug, Args)]
pub(super) struct Invite {
    /// The person
    person: String,
    /// Minutes for which the code is good
    #[arg(long, value_name = "N", default_value_t = 60, value_parser = clap::value_parser!(u32).range(1..=10_080))]
    minutes: u32,
    /// The phone is lost: withdraw all installs of the person
    #[arg(long)]
    lost: bool,
    /// Address at which the phone reaches the server, for the link and its picture
    #[arg(long, env = "BACKSTRAIGHT_PUBLIC_URL", value_name = "URL", default_value = "http://localhost:8750",
          value_parser = crate::config::public_url)]
    url: String,
    /// Print the picture (QR code) too
    #[arg(long, conflicts_with = "json")]
    qr: bool,
    /// Write the picture as SVG to this file
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
    #[command(flatten)]
    data: Data,
    #[command(flatten)]
    output: Output,
}

#[derive(Debug, Serialize)]
struct Line {
    code: String,
    link: String,
    expires_at: String,
}

impl Invite {
    pub(super) fn run(self) -> Result<(), CliError> {
        let (person, now): (PersonId, _) = (identity("the person", &self.person)?, now());
        let (folder, store) = self.data.store()?;
        let key = folder.keys()?.secret;
        let Some(target) = store.read_blocking(|db| people::find(db, person))? else {
            return Err(CliError::Argument(format!("there is no person {person}")));
        };
        let grant = AtTheMachine.to_invite(person, target.club);
        let lifetime = i64::from(self.minutes) * 60_000;
        let lost = self.lost;
        let made = store.write_blocking(move |db| {
            if lost {
                installs::withdraw_all(db, &grant.installs(), now)?;
            }
            account::invite(db, &grant, &key, lifetime, now)
        })?;
        let link = Invitation { server: self.url, secret: made.secret }.text();
        let line = Line { code: made.code, link, expires_at: made.expires.to_string() };
        let shown = [
            ("code", line.code.clone()),
            ("link", line.link.clone()),
            ("good until", line.expires_at.clone()),
        ];
        table::one(self.output, &line, &shown)?;
        let picture = || {
            QrCode::new(&line.link).map_err(|e| CliError::Argument(format!("no picture of the link: {e}")))
        };
        if self.qr {
            let text = picture()?.render::<unicode::Dense1x2>().build();
            writeln!(std::io::stdout().lock(), "\n{text}")?;
        }
        if let Some(file) = self.svg {
            let text = picture()?.render::<svg::Color<'_>>().min_dimensions(240, 240).build();
            write_private(&file, text.as_bytes())?;
        }
        Ok(())
    }
}

/// Whoever reads the picture may enrol: it is for the owner of the file alone.
fn write_private(file: &Path, bytes: &[u8]) -> Result<(), CliError> {
    let mut options = OpenOptions::new();
    let mut out = options.write(true).create(true).truncate(true).mode(0o600).open(file)?;
    out.write_all(bytes)?;
    Ok(())
}
