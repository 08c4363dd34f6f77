//! The programs of a test: the server, and the one that drives browsers. Each is ended with the test, by its own id.

use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc;
use std::time::Duration;

use crate::built;
use crate::must::{found, must};
use crate::ports;

/// How long a program may take to say that it is there.
const PATIENCE: Duration = Duration::from_secs(60);

/// `backstraight serve` on a folder and a port that stay the same over restarts.
#[derive(Debug)]
pub struct Server {
    data: PathBuf,
    page: Option<PathBuf>,
    port: u16,
    child: Option<Child>,
}

impl Server {
    /// Starts one that serves a built page, or the one that the program has inside.
    #[must_use]
    pub fn start(data: &Path, page: Option<&Path>) -> Server {
        let mut server = Server {
            data: data.to_owned(),
            page: page.map(Path::to_owned),
            port: ports::free(),
            child: None,
        };
        server.again();
        server
    }

    /// Where browsers find it. This name is a secure context without a certificate.
    #[must_use]
    pub fn url(&self) -> String {
        format!("http://localhost:{}", self.port)
    }

    /// Its data folder.
    #[must_use]
    pub fn data(&self) -> &Path {
        &self.data
    }

    /// Ends it as a lost machine ends: at once.
    pub fn stop(&mut self) {
        end(self.child.take());
    }

    /// Serves another page from the next start on.
    pub fn serve_page(&mut self, page: &Path) {
        self.page = Some(page.to_owned());
    }

    /// Starts it again, at the same address with the same data.
    pub fn again(&mut self) {
        self.stop();
        let mut command = Command::new(built::server());
        command.arg("serve").arg("--data").arg(&self.data);
        if let Some(page) = &self.page {
            command.arg("--page").arg(page);
        }
        command.args(["--listen", &format!("127.0.0.1:{}", self.port), "--log", "info"]);
        command.args(["--public-url", &self.url()]);
        command.stdout(Stdio::null()).stderr(Stdio::piped());
        let mut child = must(command.spawn(), "starting the server");
        let log = found(child.stderr.take(), "the server's log");
        self.child = Some(child);
        wait_for(log, "the server", PATIENCE, |line| line.contains("\"serving\"").then_some(()));
    }

    /// A command at the machine, such as `club add`, on this server's folder; its output. The server may run.
    #[must_use]
    pub fn command(&self, args: &[&str]) -> String {
        let mut command = Command::new(built::server());
        let output = must(command.args(args).arg("--data").arg(&self.data).output(), "running a command");
        let error = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(output.status.success(), "{args:?}: {error}");
        String::from_utf8_lossy(&output.stdout).into_owned()
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.stop();
    }
}

/// The program that drives browsers.
#[derive(Debug)]
pub(crate) struct Driver {
    child: Option<Child>,
    pub(crate) port: u16,
}

impl Driver {
    pub(crate) fn start() -> Driver {
        let port = ports::free();
        let mut command = Command::new("chromedriver");
        command.args([&format!("--port={port}"), "--log-level=WARNING"]);
        command.stdout(Stdio::piped()).stderr(Stdio::null());
        let mut child = must(command.spawn(), "starting chromedriver (apt-get install chromium-driver)");
        let said = found(child.stdout.take(), "what chromedriver says");
        wait_for(said, "chromedriver", PATIENCE, |line| line.contains("started successfully").then_some(()));
        Driver { child: Some(child), port }
    }
}

impl Drop for Driver {
    fn drop(&mut self) {
        end(self.child.take());
    }
}

/// Ends a program at once.
pub(crate) fn end(child: Option<Child>) {
    if let Some(mut child) = child {
        // It may have ended by itself.
        let _ = child.kill();
        let _ = child.wait();
    }
}

/// Reads lines until one tells what is wanted, and goes on reading so that the program is never held up. What came
/// before is shown when it never does.
pub(crate) fn wait_for<T: Send + 'static>(
    from: impl std::io::Read + Send + 'static,
    who: &str,
    patience: Duration,
    tells: impl Fn(&str) -> Option<T> + Send + 'static,
) -> T {
    let (send, receive) = mpsc::channel();
    std::thread::spawn(move || {
        let mut told = false;
        for line in BufReader::new(from).lines().map_while(Result::ok) {
            if told {
                continue;
            }
            match tells(&line) {
                Some(value) => {
                    told = true;
                    let _ = send.send(Ok(value));
                }
                None => drop(send.send(Err(line))),
            }
        }
    });
    let mut before = Vec::new();
    loop {
        match receive.recv_timeout(patience) {
            Ok(Ok(value)) => return value,
            Ok(Err(line)) => before.push(line),
            Err(why) => {
                return must(Err(format!("{why}: {}", before.join("\n"))), &format!("waiting for {who}"));
            }
        }
    }
}
