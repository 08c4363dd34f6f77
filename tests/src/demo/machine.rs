//! How the demo reads what the product shows: the `backstraight` program on the data folder, and the
//! server over HTTP with the token of an install. Knows nothing of the story.

use std::path::{Path, PathBuf};
use std::process::Command;

use serde::de::DeserializeOwned;

use super::stage::{Stage, Trouble};

/// The `backstraight` program.
#[derive(Debug)]
pub struct Machine {
    program: PathBuf,
}

impl Machine {
    /// The program beside this one.
    ///
    /// # Errors
    /// When it is not built.
    pub fn beside() -> Result<Machine, Trouble> {
        let program = std::env::current_exe()?.with_file_name("backstraight");
        if program.exists() {
            Ok(Machine { program })
        } else {
            Err(format!("{} is not built; run `cargo xtask demo`", program.display()).into())
        }
    }

    /// Where it is.
    #[must_use]
    pub fn program(&self) -> &Path {
        &self.program
    }

    /// What a command of it prints as JSON, on the reader's day of the story.
    ///
    /// # Errors
    /// What it said on its error stream.
    pub fn read<T: DeserializeOwned>(
        &self,
        stage: &Stage,
        what: &[&str],
        days: &[String],
    ) -> Result<T, Trouble> {
        let today = stage.today.to_string();
        let out = Command::new(&self.program)
            .args(what)
            .arg("--data")
            .arg(stage.data())
            .args(days)
            .args(["--today", &today, "--json"])
            .output()?;
        if !out.status.success() {
            return Err(String::from_utf8_lossy(&out.stderr).into_owned().into());
        }
        Ok(serde_json::from_slice(&out.stdout)?)
    }
}

/// What a route of the server answers to the owner of a token.
///
/// # Errors
/// When it answers anything but 200.
pub fn get<T: DeserializeOwned>(stage: &Stage, token: &str, path: &str) -> Result<T, Trouble> {
    let url = format!("{}{path}", stage.url()?);
    let mut answer = ureq::get(&url).header("authorization", format!("Bearer {token}")).call()?;
    Ok(serde_json::from_slice(&answer.body_mut().read_to_vec()?)?)
}

/// An athlete opens the own care document to the coaches, or closes it.
///
/// # Errors
/// When the server refuses.
pub fn consent(stage: &Stage, token: &str, open: bool) -> Result<(), Trouble> {
    ureq::post(format!("{}/v1/consent", stage.url()?))
        .header("authorization", format!("Bearer {token}"))
        .header("content-type", "application/json")
        .send(format!(r#"{{"care_open_to_coaches":{open}}}"#))?;
    Ok(())
}
