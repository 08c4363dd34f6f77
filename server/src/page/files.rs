//! Which files there are, by the path under which they are asked for. Reads a folder at the start, or takes what
//! was put into the program when it was built. Knows no request.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use axum::body::Bytes;
use data_encoding::HEXLOWER;
use sha2::{Digest as _, Sha256};

use crate::store::StoreError;

/// The page itself.
const INDEX: &str = "index.html";
/// Where it is opened: the start, the link of an invitation, the owner's link.
const PLACES: [&str; 3] = ["/", "/join", "/set-up"];
/// The one other file whose name does not tell its content.
const WORKER: &str = "sw.js";
/// What a server without a page says.
const NONE: &str = "<!doctype html>\n<html lang=\"en\">\n<meta charset=\"utf-8\">\n<title>Backstraight</title>\n\
    <h1>This server has no page</h1>\n<p>It answers programs only. To give it the page, run \
    <code>cargo xtask page</code> in the workspace and build the server again.</p>\n</html>\n";

/// A file with its twins.
#[derive(Debug, Clone)]
pub(crate) struct File {
    /// What it is.
    pub(super) kind: &'static str,
    /// What tells its content.
    pub(super) tag: String,
    /// Whether a new content comes under a new name.
    pub(super) lasting: bool,
    /// As it is.
    pub(super) plain: Bytes,
    /// By brotli.
    pub(super) br: Option<Bytes>,
    /// By gzip.
    pub(super) gz: Option<Bytes>,
}

/// Every file that a browser may ask for.
#[derive(Debug, Default, Clone)]
pub struct Page(BTreeMap<String, File>);

impl Page {
    /// The page in that folder; without one the page of the workspace in a debug build, and the one that was built
    /// into the program in a release build.
    ///
    /// # Errors
    /// When the folder cannot be read.
    pub fn load(folder: Option<&Path>) -> Result<Page, StoreError> {
        match folder {
            Some(folder) => Page::read(folder),
            None => Page::usual(),
        }
    }

    #[cfg(page_inside)]
    fn usual() -> Result<Page, StoreError> {
        static INSIDE: &[(&str, &[u8])] = include!(concat!(env!("OUT_DIR"), "/page.rs"));
        let files = INSIDE.iter().map(|(name, bytes)| (Cow::Borrowed(*name), Bytes::from_static(bytes)));
        Ok(Page::of(files.collect()))
    }

    #[cfg(not(page_inside))]
    fn usual() -> Result<Page, StoreError> {
        let folder = Path::new(env!("BACKSTRAIGHT_DIST"));
        // The program may have been carried to a machine without the workspace.
        if folder.is_dir() { Page::read(folder) } else { Ok(Page::of(BTreeMap::new())) }
    }

    fn read(folder: &Path) -> Result<Page, StoreError> {
        let mut paths = Vec::new();
        walk(folder, &mut paths)?;
        let mut files = BTreeMap::new();
        for path in paths {
            let bytes = std::fs::read(&path).map_err(|source| failed(&path, source))?;
            let name = path.strip_prefix(folder).unwrap_or(&path).to_string_lossy().into_owned();
            files.insert(Cow::Owned(name), bytes.into());
        }
        Ok(Page::of(files))
    }

    /// Puts files and their twins together.
    fn of(mut files: BTreeMap<Cow<'static, str>, Bytes>) -> Page {
        if !files.contains_key(INDEX) {
            files.clear();
            files.insert(INDEX.into(), Bytes::from_static(NONE.as_bytes()));
        }
        let mut page = BTreeMap::new();
        for (name, plain) in &files {
            let ending = name.rsplit('.').next().unwrap_or_default();
            let Some(kind) = kind(ending) else { continue };
            let lasting = name != INDEX && name != WORKER;
            // What a name tells is not read again: a browser that takes a compressed twin leaves the file itself on
            // the disk, out of this process's memory.
            let tag = if lasting {
                name.clone().into_owned()
            } else {
                HEXLOWER.encode(Sha256::digest(plain).get(..8).unwrap_or_default())
            };
            let file = File {
                kind,
                tag,
                lasting,
                plain: plain.clone(),
                br: files.get(format!("{name}.br").as_str()).cloned(),
                gz: files.get(format!("{name}.gz").as_str()).cloned(),
            };
            if name == INDEX {
                page.extend(PLACES.iter().map(|place| ((*place).to_owned(), file.clone())));
            } else {
                page.insert(format!("/{name}"), file);
            }
        }
        Page(page)
    }

    /// Every path.
    pub(crate) fn paths(&self) -> impl Iterator<Item = &str> {
        self.0.keys().map(String::as_str)
    }

    /// The file of a path.
    pub(crate) fn file(&self, path: &str) -> Option<&File> {
        self.0.get(path)
    }
}

/// The type of a file; what has none here is served to nobody.
fn kind(ending: &str) -> Option<&'static str> {
    Some(match ending {
        "html" => "text/html; charset=utf-8",
        "js" => "text/javascript; charset=utf-8",
        "css" => "text/css; charset=utf-8",
        "wasm" => "application/wasm",
        "webmanifest" => "application/manifest+json",
        "svg" => "image/svg+xml",
        "png" => "image/png",
        _ => return None,
    })
}

/// All files under a folder but hidden ones.
fn walk(folder: &Path, paths: &mut Vec<PathBuf>) -> Result<(), StoreError> {
    for entry in std::fs::read_dir(folder).map_err(|source| failed(folder, source))? {
        let entry = entry.map_err(|source| failed(folder, source))?;
        if entry.file_name().to_string_lossy().starts_with('.') {
            continue;
        }
        let path = entry.path();
        if path.is_dir() {
            walk(&path, paths)?;
        } else {
            paths.push(path);
        }
    }
    Ok(())
}

fn failed(path: &Path, source: std::io::Error) -> StoreError {
    StoreError::File { what: format!("page {}", path.display()), source }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(names: &[&'static str]) -> Page {
        Page::of(names.iter().map(|n| (Cow::Borrowed(*n), Bytes::from_static(n.as_bytes()))).collect())
    }

    #[test]
    fn the_page_is_under_its_places_and_twins_are_under_none() {
        let names = ["index.html", "index.html.br", "sw.js", "icons/a-1.png", "app-1.wasm", "app-1.wasm.gz"];
        let page = of(&names);
        let paths: Vec<&str> = page.paths().collect();
        assert_eq!(paths, ["/", "/app-1.wasm", "/icons/a-1.png", "/join", "/set-up", "/sw.js"]);
        let (index, program) = (page.file("/join").unwrap(), page.file("/app-1.wasm").unwrap());
        assert!(index.br.is_some() && index.gz.is_none() && !index.lasting);
        assert!(program.br.is_none() && program.gz.is_some() && program.lasting);
        assert!(!page.file("/sw.js").unwrap().lasting);
        assert_ne!(index.tag, program.tag);
    }

    #[test]
    fn without_the_page_itself_there_is_only_a_word_about_it() {
        let page = of(&["app-1.wasm", "sw.js"]);
        assert_eq!(page.paths().collect::<Vec<_>>(), PLACES);
        let text = String::from_utf8(page.file("/").unwrap().plain.to_vec()).unwrap();
        assert!(text.contains("cargo xtask page"), "{text}");
        assert!(Page::load(Some(Path::new("/nowhere/at/all"))).is_err());
    }
}
