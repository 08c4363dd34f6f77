//! A PostgreSQL server of its own for tests, made from the machine's binaries in a temporary folder,
//! heard on a socket in that folder alone, and gone with the process that made it, however that ends.
//! Knows nothing of what is kept in it.
#![expect(clippy::unwrap_used, clippy::panic, reason = "all of it is run by tests only")]

use std::fs;
use std::io::Write;
use std::os::unix::fs::{MetadataExt, PermissionsExt, chown};
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::OnceLock;
use std::sync::atomic::{AtomicU32, Ordering};

/// The variable that says where the binaries are.
pub const VARIABLE: &str = "BACKSTRAIGHT_TEST_POSTGRES";
/// What brings them.
pub const BRING: &str = "apt-get install postgresql";

/// The user that nobody is: a database server refuses to run as root.
const NOBODY: u32 = 65_534;

/// The folder of the binaries: the one that the variable names, else the newest that is installed.
#[must_use]
pub fn find() -> Option<PathBuf> {
    if let Some(named) = std::env::var_os(VARIABLE) {
        return Some(PathBuf::from(named));
    }
    let number = |path: &Path| path.parent()?.file_name()?.to_str()?.parse::<u32>().ok();
    let installed = fs::read_dir("/usr/lib/postgresql").into_iter().flatten().flatten();
    let mut found: Vec<PathBuf> = installed.map(|entry| entry.path().join("bin")).collect();
    found.sort_by_key(|path| number(path));
    found.reverse();
    let path = std::env::var_os("PATH").unwrap_or_default();
    found.extend(std::env::split_paths(&path));
    found.into_iter().find(|folder| folder.join("initdb").is_file() && folder.join("pg_ctl").is_file())
}

/// A server.
#[derive(Debug)]
pub struct Cluster {
    bin: PathBuf,
    root: PathBuf,
    as_nobody: bool,
    databases: AtomicU32,
    /// Stops the server and removes the folder when its standard input ends.
    keeper: Child,
    stdin: Option<ChildStdin>,
}

impl Cluster {
    /// The one that the tests of a process share.
    ///
    /// # Panics
    /// As [`Cluster::start`].
    #[must_use]
    pub fn shared() -> &'static Cluster {
        static SHARED: OnceLock<Cluster> = OnceLock::new();
        SHARED.get_or_init(Cluster::start)
    }

    /// Makes and starts one.
    ///
    /// # Panics
    /// When there are no binaries, or they fail: a test that needs a database must not pass without.
    #[must_use]
    pub fn start() -> Cluster {
        let bin = find().unwrap_or_else(|| panic!("PostgreSQL is missing; this brings it: {BRING}"));
        let root = tempfile::Builder::new().prefix("backstraight-pg-").tempdir().unwrap().keep();
        let as_nobody = fs::metadata(&root).unwrap().uid() == 0;
        if as_nobody {
            chown(&root, Some(NOBODY), Some(NOBODY)).unwrap();
        }
        fs::set_permissions(&root, fs::Permissions::from_mode(0o700)).unwrap();
        let mut keeper = Command::new("sh");
        let script = "cat >/dev/null; \"$1/pg_ctl\" -D \"$2/data\" -m immediate stop; rm -rf \"$2\"";
        keeper.args(["-c", script, "keeper"]).arg(&bin).arg(&root).current_dir("/");
        keeper.stdin(Stdio::piped()).stdout(Stdio::null()).stderr(Stdio::null()).process_group(0);
        if as_nobody {
            keeper.uid(NOBODY).gid(NOBODY);
        }
        let mut keeper = keeper.spawn().unwrap();
        let stdin = keeper.stdin.take();
        let cluster = Cluster { bin, root, as_nobody, databases: AtomicU32::new(0), keeper, stdin };
        let data = cluster.data();
        let mut initdb = cluster.command("initdb");
        initdb.args([
            "-k",
            "-U",
            "backstraight",
            "-A",
            "trust",
            "-E",
            "UTF8",
            "--locale=C",
            "--no-sync",
            "-D",
        ]);
        cluster.run(initdb.arg(&data));
        let socket = cluster.root.display();
        cluster.configure(&format!(
            "listen_addresses = ''\nunix_socket_directories = '{socket}'\nmax_connections = 400\n\
             shared_buffers = 32MB\nlog_min_messages = warning\n"
        ));
        cluster.up();
        cluster
    }

    fn data(&self) -> PathBuf {
        self.root.join("data")
    }

    /// Where everything of it is: files, log and socket.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.root
    }

    /// Adds lines to the settings; they hold from the next start on.
    ///
    /// # Panics
    /// When they cannot be written.
    pub fn configure(&self, lines: &str) {
        let path = self.data().join("postgresql.conf");
        let mut file = fs::OpenOptions::new().append(true).open(path).unwrap();
        file.write_all(lines.as_bytes()).unwrap();
    }

    /// Puts a file beside the data that only the server reads, for settings that name one.
    ///
    /// # Panics
    /// When it cannot be written.
    pub fn put(&self, name: &str, text: &[u8]) {
        let path = self.data().join(name);
        fs::write(&path, text).unwrap();
        fs::set_permissions(&path, fs::Permissions::from_mode(0o600)).unwrap();
        if self.as_nobody {
            chown(&path, Some(NOBODY), Some(NOBODY)).unwrap();
        }
    }

    fn command(&self, program: &str) -> Command {
        let mut command = Command::new(self.bin.join(program));
        command.current_dir(&self.root).stdin(Stdio::null());
        if self.as_nobody {
            command.uid(NOBODY).gid(NOBODY);
        }
        command
    }

    fn run(&self, command: &mut Command) {
        // Into a file: a server that is started keeps the streams open.
        let log = fs::OpenOptions::new().create(true).append(true).open(self.root.join("log")).unwrap();
        command.stdout(log.try_clone().unwrap()).stderr(log);
        let ended = command.status().unwrap();
        if !ended.success() {
            let said = fs::read_to_string(self.root.join("log")).unwrap_or_default();
            panic!("{command:?} {ended}:\n{said}");
        }
    }

    /// Starts it again after [`Cluster::crash`], and waits until it can be asked.
    ///
    /// # Panics
    /// When it does not start.
    pub fn up(&self) {
        let data = self.data();
        self.run(self.command("pg_ctl").arg("-D").arg(data).args(["-w", "-t", "60", "start"]));
    }

    /// Ends it at once, as a power cut would: what it has promised must be there after [`Cluster::up`].
    ///
    /// # Panics
    /// When it does not end.
    pub fn crash(&self) {
        let data = self.data();
        self.run(self.command("pg_ctl").arg("-D").arg(data).args(["-m", "immediate", "-w", "stop"]));
    }

    /// The address of a new and empty database.
    ///
    /// # Panics
    /// When it cannot be made.
    #[must_use]
    pub fn database(&self) -> String {
        let name = format!("test{}", self.databases.fetch_add(1, Ordering::Relaxed));
        self.put_sql("postgres", &format!("CREATE DATABASE {name}"));
        self.url(&name)
    }

    /// The address of a database by name.
    #[must_use]
    pub fn url(&self, name: &str) -> String {
        format!("host={} user=backstraight dbname={name}", self.root.display())
    }

    /// The folder of its programs, for those who do what a person would do by hand.
    #[must_use]
    pub fn programs(&self) -> &Path {
        &self.bin
    }

    /// The files of a database, as they are on the disk when everything was written.
    ///
    /// # Panics
    /// When there is no such database.
    #[must_use]
    pub fn files(&self, database: &str) -> PathBuf {
        self.put_sql(database, "CHECKPOINT");
        let mut psql = self.command("psql");
        psql.args(["-X", "-A", "-t", "-U", "backstraight", "-d", database, "-h"]).arg(&self.root);
        psql.args(["-c", "SELECT oid FROM pg_database WHERE datname = current_database()"]);
        let out = psql.output().unwrap();
        let number = String::from_utf8_lossy(&out.stdout).trim().to_owned();
        let files = self.data().join("base").join(&number);
        assert!(!number.is_empty() && files.is_dir(), "{}", String::from_utf8_lossy(&out.stderr));
        files
    }

    /// Puts a statement as the server's owner.
    ///
    /// # Panics
    /// When it fails.
    pub fn put_sql(&self, database: &str, sql: &str) {
        let mut psql = self.command("psql");
        psql.args([
            "-X",
            "-q",
            "-v",
            "ON_ERROR_STOP=1",
            "-U",
            "backstraight",
            "-d",
            database,
            "-c",
            sql,
            "-h",
        ]);
        self.run(psql.arg(&self.root));
    }
}

impl Drop for Cluster {
    fn drop(&mut self) {
        drop(self.stdin.take());
        drop(self.keeper.wait());
    }
}
