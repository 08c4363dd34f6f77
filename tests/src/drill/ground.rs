//! Where a drilled server keeps what it has, and how that is lost and found again: a folder with SQLite,
//! or a database server of its own. Knows nothing of phones and sets.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use backstraight_cluster::Cluster;
use serde_json::Value;

use crate::demo::stage::Trouble;

/// Where a server keeps what it has, and how that is lost and found again. Another database is another
/// ground; the drill is the same.
pub trait Ground: Sync {
    /// What it is called.
    fn name(&self) -> &'static str;
    /// What is lost with it, in words.
    fn place(&self) -> &'static str;
    /// A command of the program on the server's data.
    fn command(&self, args: &[&str]) -> Command;
    /// Loses everything that the server kept.
    ///
    /// # Errors
    /// When it cannot be lost.
    fn lose(&mut self) -> Result<(), Trouble>;
    /// Restores a backup elsewhere; from then on commands work on that.
    ///
    /// # Errors
    /// When the restore fails.
    fn restore(&mut self, backup: &Path) -> Result<Value, Trouble>;
}

/// A folder with an SQLite database.
#[derive(Debug)]
pub struct SqliteFolder {
    program: PathBuf,
    data: PathBuf,
    elsewhere: PathBuf,
}

impl SqliteFolder {
    /// Folders inside `dir`, served by `program`.
    #[must_use]
    pub fn new(program: &Path, dir: &Path) -> SqliteFolder {
        SqliteFolder {
            program: program.to_owned(),
            data: dir.join("server"),
            elsewhere: dir.join("restored"),
        }
    }
}

impl Ground for SqliteFolder {
    fn name(&self) -> &'static str {
        "sqlite"
    }

    fn place(&self) -> &'static str {
        "a folder of its own"
    }

    fn command(&self, args: &[&str]) -> Command {
        on_folder(&self.program, &self.data, args)
    }

    fn lose(&mut self) -> Result<(), Trouble> {
        std::fs::remove_dir_all(&self.data)?;
        Ok(())
    }

    fn restore(&mut self, backup: &Path) -> Result<Value, Trouble> {
        self.data.clone_from(&self.elsewhere);
        restored(self, backup)
    }
}

/// A PostgreSQL server made for the drill, and a folder with the keys.
#[derive(Debug)]
pub struct PostgresServer {
    folder: SqliteFolder,
    /// None once it is lost.
    cluster: Option<Cluster>,
    database: String,
}

impl PostgresServer {
    /// A database server of its own, and folders inside `dir`, served by `program`.
    ///
    /// # Panics
    /// When PostgreSQL is missing or does not start; ask [`backstraight_cluster::find`] first.
    #[must_use]
    pub fn new(program: &Path, dir: &Path) -> PostgresServer {
        let cluster = Cluster::start();
        let database = cluster.database();
        PostgresServer { folder: SqliteFolder::new(program, dir), cluster: Some(cluster), database }
    }
}

impl Ground for PostgresServer {
    fn name(&self) -> &'static str {
        "postgres"
    }

    fn place(&self) -> &'static str {
        "a database server with its files, and a folder of its own"
    }

    fn command(&self, args: &[&str]) -> Command {
        let mut command = self.folder.command(args);
        command.env("BACKSTRAIGHT_DATABASE", &self.database);
        command
    }

    fn lose(&mut self) -> Result<(), Trouble> {
        // It is stopped at once and its files are removed: nothing of the old database is anywhere.
        let files = self.cluster.take().map(|cluster| cluster.folder().to_owned());
        if files.is_some_and(|files| files.exists()) {
            return Err("the files of the database server are still there".into());
        }
        self.folder.lose()
    }

    fn restore(&mut self, backup: &Path) -> Result<Value, Trouble> {
        let cluster = Cluster::start();
        self.database = cluster.database();
        self.cluster = Some(cluster);
        self.folder.data.clone_from(&self.folder.elsewhere);
        restored(self, backup)
    }
}

fn on_folder(program: &Path, data: &Path, args: &[&str]) -> Command {
    let mut command = Command::new(program);
    command.args(args).arg("--data").arg(data).env_clear().stdin(Stdio::null());
    command
}

fn restored(ground: &dyn Ground, backup: &Path) -> Result<Value, Trouble> {
    json(ground.command(&["restore", "--json", "--from", &backup.to_string_lossy()]))
}

/// What a command prints as JSON.
///
/// # Errors
/// What it said on its error stream.
pub(super) fn json(mut command: Command) -> Result<Value, Trouble> {
    let out = command.output()?;
    if !out.status.success() {
        // Not its environment, in which an address may stand.
        let args: Vec<_> = command.get_args().collect();
        return Err(format!("{args:?}: {}", String::from_utf8_lossy(&out.stderr)).into());
    }
    Ok(serde_json::from_slice(&out.stdout)?)
}
