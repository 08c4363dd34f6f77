//! One browser: a phone or a desk of one person, with a memory on disk that outlives it. Calls wait until they are
//! done. Knows the driver's library; nothing else here does but the modules beside it.

use std::future::Future;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use thirtyfour::common::capabilities::chromium::ChromiumLikeCapabilities as _;
use thirtyfour::prelude::*;
use tokio::runtime::{Builder, Runtime};

use crate::must::{found, must};

/// How long a state may take on a machine that has a lot else to do.
const PATIENCE: Duration = Duration::from_secs(30);
/// Time between two looks at a state.
const AGAIN: Duration = Duration::from_millis(20);

/// What somebody sits in front of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// 390 x 844 points, three pixels each, touched with fingers.
    Phone,
    /// 1440 x 900, with a mouse.
    Desk,
}

/// A browser of its own.
#[derive(Debug)]
pub struct Seat {
    /// What it is.
    pub kind: Kind,
    pub(crate) driver: Option<WebDriver>,
    site: String,
    memory: PathBuf,
    port: u16,
    process: Option<u64>,
}

/// The one that all calls run in: connections outlive single calls.
fn runtime() -> &'static Runtime {
    static RUNTIME: OnceLock<Runtime> = OnceLock::new();
    RUNTIME
        .get_or_init(|| must(Builder::new_multi_thread().worker_threads(1).enable_all().build(), "a runtime"))
}

/// Waits for a call.
pub(crate) fn wait<T>(call: impl Future<Output = T>) -> T {
    runtime().block_on(call)
}

impl Seat {
    pub(crate) fn open(kind: Kind, port: u16, memory: &Path, site: &str) -> Seat {
        let mut seat = Seat {
            kind,
            driver: None,
            site: site.to_owned(),
            memory: memory.to_owned(),
            port,
            process: None,
        };
        seat.reopen();
        seat
    }

    /// Opens the browser again after [`Seat::close`], with the memory that it had.
    pub fn reopen(&mut self) {
        self.close();
        let mut caps = DesiredCapabilities::chrome();
        let folder = format!("--user-data-dir={}", self.memory.display());
        let mut args = vec![
            "--headless=new",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-dev-shm-usage",
            "--no-first-run",
            "--hide-scrollbars",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--disable-quic",
            "--lang=en",
            folder.as_str(),
        ];
        match self.kind {
            Kind::Phone => {
                let metrics =
                    json!({"width": 390, "height": 844, "pixelRatio": 3.0, "touch": true, "mobile": true});
                let phone = json!({"deviceMetrics": metrics});
                must(caps.add_experimental_option("mobileEmulation", phone), "a phone's screen");
            }
            Kind::Desk => args.push("--window-size=1440,900"),
        }
        for arg in args {
            must(caps.add_arg(arg), arg);
        }
        must(caps.set("goog:loggingPrefs", json!({"browser": "ALL"})), "the console");
        let url = format!("http://127.0.0.1:{}", self.port);
        let driver = must(wait(WebDriver::new(url, caps)), "opening a browser (apt-get install chromium)");
        self.process = driver.capabilities().get("goog:processID").and_then(Value::as_u64);
        self.driver = Some(driver);
        let folder = json!({"behavior": "allow", "downloadPath": self.downloads()});
        self.cdp("Browser.setDownloadBehavior", folder);
        if self.kind == Kind::Desk {
            // The window has a frame even without a screen: what counts is the page.
            let size = json!({"width": 1440, "height": 900, "deviceScaleFactor": 1, "mobile": false});
            self.cdp("Emulation.setDeviceMetricsOverride", size);
        }
    }

    /// Closes the browser; its memory stays.
    pub fn close(&mut self) {
        let Some(driver) = self.driver.take() else { return };
        let ended = wait(driver.quit()).is_ok();
        if let (false, Some(process)) = (ended, self.process.take()) {
            // The driver would have done it.
            let _ = Command::new("kill").arg(process.to_string()).status();
        }
    }

    pub(crate) fn web(&self) -> &WebDriver {
        found(self.driver.as_ref(), "the browser is closed: it")
    }

    /// Goes to a path of the site, such as `/` or `/#/today`, and waits until the page stands.
    pub fn go(&self, path: &str) {
        self.load(path);
        self.wait_until_ready();
    }

    /// Goes to a path and waits for nothing.
    pub fn load(&self, path: &str) {
        must(wait(self.web().goto(format!("{}{path}", self.site))), path);
    }

    /// Whether the browser gets anything at all for a path.
    #[must_use]
    pub fn reaches(&self, path: &str) -> bool {
        wait(self.web().goto(format!("{}{path}", self.site))).is_ok()
    }

    /// Loads the page again and waits until it stands.
    pub fn reload(&self) {
        must(wait(self.web().refresh()), "loading again");
        self.wait_until_ready();
    }

    /// Waits until the program has drawn its first screen.
    #[track_caller]
    pub fn wait_until_ready(&self) {
        self.wait_for("the page stands", "return performance.getEntriesByName('ready').length > 0");
    }

    /// Milliseconds from the start of the load until the program had drawn its first screen.
    #[track_caller]
    #[must_use]
    pub fn ready_after(&self) -> f64 {
        let at = self.run("return performance.getEntriesByName('ready')[0].startTime", Vec::new());
        found(at.as_f64(), "the mark of the first screen")
    }

    /// Waits until the page's files are kept on this device, so that the server may go.
    #[track_caller]
    pub fn wait_until_kept(&self) {
        self.wait_for("the files are kept", "return navigator.serviceWorker.controller !== null");
        self.wait_for(
            "the part in use is kept",
            "const needed = 'part' in document.documentElement.dataset; \
             if (needed) caches.match('/parts-are-needed').then((is) => { window.partKept = Boolean(is) }); \
             return !needed || window.partKept === true",
        );
    }

    /// Waits until a script answers true; shows what the browser's console had when it never does.
    #[track_caller]
    pub fn wait_for(&self, what: &str, script: &str) {
        let begun = Instant::now();
        while !self.holds(script) {
            assert!(begun.elapsed() < PATIENCE, "{what}: not within {PATIENCE:?}\n{}", self.state());
            std::thread::sleep(AGAIN);
        }
    }

    /// Whether a script answers true now. A page that is being left answers nothing.
    #[must_use]
    pub fn holds(&self, script: &str) -> bool {
        wait(self.web().execute(script, Vec::new())).is_ok_and(|ret| ret.json() == &Value::Bool(true))
    }

    /// What a script answers, with arguments.
    #[track_caller]
    pub fn run(&self, script: &str, args: Vec<Value>) -> Value {
        must(wait(self.web().execute(script, args)), script).json().clone()
    }

    /// What a script promises: `return` in a function that may wait.
    #[track_caller]
    pub fn promise(&self, script: &str, args: Vec<Value>) -> Value {
        let whole = format!(
            "const done = arguments[arguments.length - 1]; \
             (async (...args) => {{ {script} }})(...arguments).then((v) => done({{value: v}}), (e) => done({{error: String(e)}}));"
        );
        let answer = must(wait(self.web().execute_async(whole, args)), script).json().clone();
        assert!(answer.get("error").is_none(), "{script}: {answer}");
        answer.get("value").cloned().unwrap_or_default()
    }

    /// A command of the browser's own protocol.
    #[track_caller]
    pub fn cdp(&self, method: &str, parameters: Value) -> Value {
        must(wait(self.web().cdp().send_raw(method, parameters)), method)
    }

    /// Cuts the page's own connections, or lets them be again. The worker's are not cut: stop the server for that.
    pub fn offline(&self, off: bool) {
        self.cdp("Network.enable", json!({}));
        let how = json!({"offline": off, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1});
        self.cdp("Network.emulateNetworkConditions", how);
    }

    /// Shows the page in the dark, or as by day.
    pub fn dark(&self, dark: bool) {
        let scheme = if dark { "dark" } else { "light" };
        let features = json!({"features": [{"name": "prefers-color-scheme", "value": scheme}]});
        self.cdp("Emulation.setEmulatedMedia", features);
    }

    /// Another width, as on a small phone or with a large zoom.
    pub fn width(&self, points: u32) {
        let size = json!({"width": points, "height": 844, "deviceScaleFactor": 1, "mobile": self.kind == Kind::Phone});
        self.cdp("Emulation.setDeviceMetricsOverride", size);
    }

    /// Runs a script before anything of the page in each load from here on: a browser that is not as others are.
    pub fn before_each_load(&self, script: &str) {
        self.cdp("Page.addScriptToEvaluateOnNewDocument", json!({ "source": script }));
    }

    /// Sets the clock of the page's device so many milliseconds ahead, from the next load on.
    pub fn clock_ahead(&self, ms: i64) {
        self.before_each_load(&format!(
            "{{ const Real = Date, now = () => Real.now() + {ms}; \
             globalThis.Date = class extends Real {{ \
               constructor(...a) {{ if (a.length) super(...a); else super(now()); }} static now() {{ return now(); }} }}; }}"
        ));
    }

    /// From the next load on, storage is full while the page's window says so (`window.full = true`). The browser's
    /// own limit is looked at twice a minute only, and so cannot be reached at a known moment.
    pub fn storage_that_fills(&self) {
        self.before_each_load(
            "{ const put = IDBObjectStore.prototype.put; \
               IDBObjectStore.prototype.put = function (...a) { \
                 if (window.full) throw new DOMException('no room', 'QuotaExceededError'); \
                 return put.apply(this, a); }; }",
        );
    }

    /// Opens another tab of the same browser and looks at it.
    pub fn new_tab(&self) {
        let tab = must(wait(self.web().new_tab()), "a new tab");
        must(wait(self.web().switch_to_window(tab)), "the new tab");
    }

    /// Looks at the tab that was opened as the nth, counted from 0.
    pub fn tab(&self, n: usize) {
        let tabs = must(wait(self.web().windows()), "the tabs");
        let tab = found(tabs.into_iter().nth(n), "that tab");
        must(wait(self.web().switch_to_window(tab)), "the tab");
    }

    /// Presses keys where the focus is; several of `thirtyfour::Key` go together in one text.
    pub fn press(&self, keys: impl Into<TypingData>) {
        let chain = self.web().action_chain().send_keys(keys);
        must(wait(chain.perform()), "pressing keys");
    }

    /// Presses a key while others are held.
    pub fn press_with(&self, held: &[Key], key: impl Into<TypingData>) {
        let mut chain = self.web().action_chain();
        for hold in held {
            chain = chain.key_down(hold.clone());
        }
        chain = chain.send_keys(key);
        for hold in held {
            chain = chain.key_up(hold.clone());
        }
        must(wait(chain.perform()), "pressing keys");
    }

    /// What has the focus, as it is called.
    #[must_use]
    pub fn focused(&self) -> String {
        let script = "const e = document.activeElement; return (e.getAttribute('aria-label') || e.innerText || \
                      [...(e.labels ?? [])].map((l) => l.innerText).join(' ') || e.tagName).trim()";
        self.run(script, Vec::new()).as_str().unwrap_or_default().to_owned()
    }

    /// Files that this browser saved, by name, once one of that ending is whole.
    #[track_caller]
    #[must_use]
    pub fn saved(&self, ends: &str) -> PathBuf {
        let begun = Instant::now();
        loop {
            let entries = std::fs::read_dir(self.downloads()).into_iter().flatten().flatten();
            let whole = entries.map(|e| e.path()).find(|p| p.to_string_lossy().ends_with(ends));
            if let Some(path) = whole {
                return path;
            }
            assert!(begun.elapsed() < PATIENCE, "no file …{ends} was saved\n{}", self.state());
            std::thread::sleep(AGAIN);
        }
    }

    fn downloads(&self) -> PathBuf {
        self.memory.with_extension("saved")
    }

    /// Slows the processor, as a phone's is slower than this machine's.
    pub fn slow(&self, times: u32) {
        self.cdp("Emulation.setCPUThrottlingRate", json!({"rate": times}));
    }

    /// What stands in the console since the last look.
    #[must_use]
    pub fn console(&self) -> Vec<String> {
        let log = wait(self.web().browser_log()).unwrap_or_default();
        log.into_iter().map(|line| format!("{}: {}", line.level, line.message)).collect()
    }

    /// For the message of a test that fails: where it is, what is shown, what the console had.
    #[must_use]
    pub fn state(&self) -> String {
        let at = wait(self.web().current_url()).map_or_else(|e| e.to_string(), |url| url.to_string());
        let shown = wait(self.web().execute("return document.body.innerText", Vec::new()));
        let shown =
            shown.map_or_else(|e| e.to_string(), |t| t.json().as_str().unwrap_or_default().to_owned());
        format!("at {at}\n--- shown\n{shown}\n--- console\n{}", self.console().join("\n"))
    }
}

impl Drop for Seat {
    fn drop(&mut self) {
        self.close();
    }
}
