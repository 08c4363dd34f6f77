//! What was built before: the server's program and the page; and copies of the page that differ from it. Knows how
//! built files refer to each other, and no browser.

use std::env;
use std::fs;
use std::path::{Path, PathBuf};

use crate::must::{found, must};

/// Files whose names do not tell their content.
const INDEX: &str = "index.html";
const WORKER: &str = "sw.js";
/// How the file of the part that an athlete's device does not load begins and ends.
pub const PART: (&str, &str) = ("coach-", ".wasm");

/// The folder of the workspace.
#[must_use]
pub fn workspace() -> PathBuf {
    let above = Path::new(env!("CARGO_MANIFEST_DIR")).ancestors().nth(2);
    found(above, "the workspace").to_owned()
}

/// The server's program: `BACKSTRAIGHT_PROGRAM`, or the one that was built beside this one.
pub(crate) fn server() -> PathBuf {
    env::var_os("BACKSTRAIGHT_PROGRAM").map_or_else(|| program("backstraight"), PathBuf::from)
}

/// A program of the workspace that was built beside this one.
pub(crate) fn program(name: &str) -> PathBuf {
    let own = must(env::current_exe(), "this program");
    let beside = own.ancestors().skip(1).take(2).map(|folder| folder.join(name)).find(|p| p.is_file());
    must(beside.ok_or("build it first: cargo build --workspace --bins"), name)
}

/// A folder with a page.
#[derive(Debug, Clone)]
pub struct Built(PathBuf);

impl Built {
    /// The one that was built for stories (`BACKSTRAIGHT_STORY_PAGE` names its folder), else the one that
    /// `cargo xtask page` made.
    #[must_use]
    pub fn usual() -> Built {
        let named = env::var_os("BACKSTRAIGHT_STORY_PAGE").map(PathBuf::from);
        let folder = named.unwrap_or_else(|| workspace().join("app/dist"));
        assert!(folder.join(INDEX).is_file(), "there is no page: cargo xtask page");
        Built(folder)
    }

    /// Where it is.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.0
    }

    /// A copy in a folder of its own, without compressed twins.
    #[must_use]
    pub fn copy_to(&self, folder: &Path) -> Built {
        let twin = |path: &Path| ["br", "gz"].iter().any(|e| path.extension().is_some_and(|x| x == *e));
        copy(&self.0, folder, &|path| !twin(path));
        Built(folder.to_owned())
    }

    /// A file by how its name starts and ends, as `app-` and `.wasm`.
    #[must_use]
    pub fn file(&self, starts: &str, ends: &str) -> PathBuf {
        let is = |path: &PathBuf| {
            path.file_name()
                .and_then(|n| n.to_str())
                .is_some_and(|n| n.starts_with(starts) && n.ends_with(ends))
        };
        let entries = must(fs::read_dir(&self.0), "the page's folder").flatten().map(|e| e.path());
        found(entries.into_iter().find(is), &format!("{starts}…{ends}"))
    }

    /// Makes of a copy a newer version that says `word` in its title, as a build after a change would: the page
    /// gets another name, and the worker names it.
    pub fn make_newer(&self, word: &str) {
        let old = self.file("index-", ".html");
        let old_name = found(old.file_name().and_then(|n| n.to_str()), "the page's name").to_owned();
        let new_name = format!("index-{:016x}.html", word.len() as u64 + 0xbeef);
        let page = must(fs::read_to_string(&old), "the page");
        assert!(page.contains("<title>Backstraight</title>"), "{page}");
        let page = page.replace("<title>Backstraight</title>", &format!("<title>{word}</title>"));
        let worker = must(fs::read_to_string(self.0.join(WORKER)), "the worker");
        assert!(worker.contains(&old_name));
        let worker = worker
            .replace(&old_name, &new_name)
            .replace("const VERSION = \"", &format!("const VERSION = \"{word}"));
        must(fs::remove_file(old), "the old page");
        for (name, text) in [(new_name.as_str(), &page), (INDEX, &page), (WORKER, &worker)] {
            must(fs::write(self.0.join(name), text), name);
        }
    }
}

/// Copies what is wanted of a folder.
pub(crate) fn copy(from: &Path, to: &Path, wanted: &dyn Fn(&Path) -> bool) {
    must(fs::create_dir_all(to), "a folder for the copy");
    for entry in must(fs::read_dir(from), "a folder to copy").flatten() {
        let (path, there) = (entry.path(), to.join(entry.file_name()));
        if path.is_dir() {
            copy(&path, &there, wanted);
        } else if wanted(&path) {
            must(fs::copy(&path, there).map(drop), "copying a file");
        }
    }
}

/// Bytes that a new device loads: every file once, by brotli where that is smaller; the part that an athlete's device
/// does not load only where it is asked for.
#[must_use]
pub fn brotli_total(folder: &Path, with_part: bool) -> u64 {
    let size = |path: &Path| fs::metadata(path).map_or(0, |m| m.len());
    let mut sum = 0;
    for entry in must(fs::read_dir(folder), "the page's folder").flatten() {
        let path = entry.path();
        let name = entry.file_name().to_string_lossy().into_owned();
        if path.is_dir() {
            sum += brotli_total(&path, with_part);
        } else if !with_part && name.starts_with(PART.0) && name.ends_with(PART.1) {
            continue;
        } else if !(name == INDEX || name.starts_with('.') || name.ends_with(".br") || name.ends_with(".gz"))
        {
            let twin = folder.join(format!("{name}.br"));
            sum += if twin.is_file() { size(&twin) } else { size(&path) };
        }
    }
    sum
}
