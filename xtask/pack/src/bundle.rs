//! Which files the page consists of, and how they refer to each other. Everything but the page's own address and
//! the worker has a hash of its content in its name: what is kept under such a name never gets old.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use data_encoding::HEXLOWER;
use sha2::{Digest as _, Sha256};

use crate::fill::{self, Names};
use crate::part::Parted;

/// Files by the names under which they are served.
pub(crate) type Files = BTreeMap<String, Vec<u8>>;

/// The page under the name that never changes.
pub(crate) const INDEX: &str = "index.html";
/// The worker; its address must never change.
const WORKER: &str = "sw.js";
/// Hex digits of a hash in a name.
const DIGITS: usize = 16;

/// What was made of the compiled page.
pub(crate) struct Made {
    /// The script between program and browser.
    pub(crate) glue: String,
    /// The program, as that script wants it.
    pub(crate) program: Vec<u8>,
    /// What is beside the program.
    pub(crate) parted: Parted,
}

/// All files, and which of them only some devices load.
pub(crate) struct Page {
    /// By names.
    pub(crate) files: Files,
    /// Names of files with parts of the program.
    pub(crate) parts: Vec<String>,
}

/// Collects files and their served names.
#[derive(Default)]
struct Bundle {
    files: Files,
    names: Names,
}

impl Bundle {
    /// Adds a file under its name with a hash in it, and hands back the path under which it is served.
    fn add(&mut self, name: &str, bytes: Vec<u8>) -> String {
        let served = hashed(name, &bytes);
        self.names.insert(name.to_owned(), served.clone());
        let path = format!("/{served}");
        self.files.insert(served, bytes);
        path
    }
}

/// `a/b.css` with the hash of its content: `a/b-0123456789abcdef.css`.
fn hashed(name: &str, bytes: &[u8]) -> String {
    let hash = hash(bytes);
    let (stem, ending) = name.rsplit_once('.').unwrap_or((name, "bin"));
    format!("{stem}-{hash}.{ending}")
}

fn hash(bytes: &[u8]) -> String {
    let mut hex = HEXLOWER.encode(&Sha256::digest(bytes));
    hex.truncate(DIGITS);
    hex
}

/// All files of the page.
pub(crate) fn put_together(sources: &Path, made: &Made) -> Result<Page, String> {
    let mut bundle = Bundle::default();
    for path in files_of(&sources.join("icons"), &["png", "svg"])? {
        let name = path.file_name().and_then(|n| n.to_str()).unwrap_or_default();
        bundle.add(&format!("icons/{name}"), bytes(&path)?);
    }
    bundle.add("style.css", styles(sources)?);
    let mut parts = Vec::new();
    for part in &made.parted.parts {
        parts.push((part.name.as_str(), bundle.add(&format!("{}.wasm", part.name), part.bytes.clone())));
    }
    let served = |name: &str| parts.iter().find(|(part, _)| *part == name).map(|(_, path)| path.clone());
    let glue = made.parted.put_into(&made.glue, &served)?;
    let program = bundle.add("app.wasm", made.program.clone());
    let glue = bundle.add("app.js", glue.into_bytes());
    let boot = fill::places(&text(&sources.join("boot.js"))?, &[("glue", glue), ("program", program)])
        .map_err(|why| format!("boot.js: {why}"))?;
    bundle.add("boot.js", boot.into_bytes());
    let manifest =
        fill::links(&text(&sources.join("manifest.webmanifest"))?, &["\"src\": \""], &bundle.names)
            .map_err(|why| format!("manifest.webmanifest: {why}"))?;
    bundle.add("manifest.webmanifest", manifest.into_bytes());
    let index = page(&text(&sources.join(INDEX))?, &bundle.names).map_err(|why| format!("{INDEX}: {why}"))?;
    let page = bundle.add(INDEX, index.clone().into_bytes());
    let mut others: Vec<String> =
        bundle.files.keys().map(|n| format!("/{n}")).filter(|n| *n != page).collect();
    let version = hash([std::slice::from_ref(&page), others.as_slice()].concat().join("\n").as_bytes());
    let parts: Vec<String> = parts.into_iter().map(|(_, path)| path).collect();
    others.retain(|path| !parts.contains(path));
    let list = |paths: &[String]| {
        format!("[\n{}]", paths.iter().map(|n| format!("  \"{n}\",\n")).collect::<String>())
    };
    let values = [("version", version), ("page", page), ("files", list(&others)), ("parts", list(&parts))];
    let worker =
        fill::places(&text(&sources.join(WORKER))?, &values).map_err(|why| format!("{WORKER}: {why}"))?;
    bundle.files.insert(WORKER.to_owned(), worker.into_bytes());
    bundle.files.insert(INDEX.to_owned(), index.into_bytes());
    let parts = parts.iter().map(|path| path.trim_start_matches('/').to_owned()).collect();
    Ok(Page { files: bundle.files, parts })
}

/// The page with links to everything that it needs.
fn page(text: &str, names: &Names) -> Result<String, String> {
    let linked = concat!(
        "<link rel=\"stylesheet\" href=\"style.css\">\n",
        "<link rel=\"manifest\" href=\"manifest.webmanifest\">\n",
        "<link rel=\"icon\" href=\"icons/lane.svg\" type=\"image/svg+xml\">\n",
        "<link rel=\"apple-touch-icon\" href=\"icons/lane-full-192.png\">\n",
        "<link rel=\"modulepreload\" href=\"app.js\">\n",
        "<link rel=\"preload\" href=\"app.wasm\" as=\"fetch\" type=\"application/wasm\" crossorigin>\n",
        "<script type=\"module\" src=\"boot.js\"></script>\n",
    );
    let (head, body) = text.split_once("</head>").ok_or("the head has no end")?;
    for line in linked.lines() {
        let name = line.split('"').find(|part| names.contains_key(*part));
        if let Some(name) = name.filter(|name| head.contains(&format!("{name}\""))) {
            return Err(format!("{name} is linked by the build: leave it out of the head"));
        }
    }
    fill::links(&format!("{head}{linked}</head>{body}"), &["href=\"", "src=\""], names)
}

/// All styles as one file: `*.css` and `css/*.css`, each by order of names.
fn styles(sources: &Path) -> Result<Vec<u8>, String> {
    let mut all = Vec::new();
    for folder in [sources.to_owned(), sources.join("css")] {
        for path in files_of(&folder, &["css"])? {
            all.extend(bytes(&path)?);
            all.push(b'\n');
        }
    }
    Ok(all)
}

/// Files with one of these endings in a folder, by name; none when it is not there.
fn files_of(folder: &Path, endings: &[&str]) -> Result<Vec<PathBuf>, String> {
    let entries = match std::fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(e) => return Err(format!("{}: {e}", folder.display())),
    };
    let mut found = Vec::new();
    for entry in entries {
        let path = entry.map_err(|e| format!("{}: {e}", folder.display()))?.path();
        if path.extension().and_then(|e| e.to_str()).is_some_and(|e| endings.contains(&e)) {
            found.push(path);
        }
    }
    found.sort();
    Ok(found)
}

fn bytes(path: &Path) -> Result<Vec<u8>, String> {
    std::fs::read(path).map_err(|e| format!("{}: {e}", path.display()))
}

fn text(path: &Path) -> Result<String, String> {
    String::from_utf8(bytes(path)?).map_err(|e| format!("{}: {e}", path.display()))
}

/// Takes away what an earlier build left, but for what git keeps there.
pub(crate) fn clear(out: &Path) -> std::io::Result<()> {
    std::fs::create_dir_all(out)?;
    for entry in std::fs::read_dir(out)? {
        let entry = entry?;
        if entry.file_type()?.is_dir() {
            std::fs::remove_dir_all(entry.path())?;
        } else if entry.file_name() != ".gitignore" {
            std::fs::remove_file(entry.path())?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sources() -> PathBuf {
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../../app/web")
    }

    fn made(program: &[u8], part: &[u8]) -> Page {
        let glue = "import * as import1 from \"./__wasm_split.js\"\nexport default () => {};".to_owned();
        let parted = Parted::like(&[("coach", part)]);
        put_together(&sources(), &Made { glue, program: program.to_vec(), parted }).unwrap()
    }

    fn bundle(program: &[u8]) -> Files {
        made(program, b"part").files
    }

    fn of(files: &Files, name: &str) -> String {
        String::from_utf8(files[name].clone()).unwrap()
    }

    #[test]
    fn the_worker_lists_every_file_but_itself_and_the_page_twice() {
        let files = bundle(b"program");
        let worker = of(&files, WORKER);
        for name in files.keys().filter(|n| *n != WORKER && *n != INDEX) {
            assert!(worker.contains(&format!("\"/{name}\"")), "{name}: {worker}");
        }
        let page = files.keys().find(|n| n.starts_with("index-")).unwrap();
        assert_eq!(files[page], files[INDEX]);
        assert!(!worker.contains("\"/index.html\"") && !worker.contains("\"/sw.js\""));
    }

    #[test]
    fn whatever_changes_changes_the_version() {
        let (one, other) = (bundle(b"program"), bundle(b"programme"));
        assert_eq!(one, bundle(b"program"), "the same twice");
        assert_ne!(one[WORKER], other[WORKER]);
        assert_ne!(one[INDEX], other[INDEX]);
        let other = made(b"program", b"another part").files;
        assert_ne!(one[WORKER], other[WORKER]);
        assert_ne!(one[INDEX], other[INDEX]);
    }

    #[test]
    fn a_part_is_in_a_list_of_its_own() {
        let page = made(b"program", b"part");
        let [part] = page.parts.as_slice() else { panic!("one part: {:?}", page.parts) };
        assert_eq!(page.files[part], b"part");
        let worker = of(&page.files, WORKER);
        let (files, parts) = worker.split_once("const PARTS").unwrap();
        assert!(parts.contains(part) && !files.contains(part), "{worker}");
        let glue = page.files.keys().find(|n| n.starts_with("app-") && n.ends_with(".js")).unwrap();
        assert!(of(&page.files, glue).contains(part));
    }

    #[test]
    fn nothing_runs_or_is_styled_from_inside_the_page() {
        let page = of(&bundle(b"program"), INDEX);
        assert_eq!(
            page.matches("<script").count(),
            page.matches("<script type=\"module\" src=\"/boot-").count()
        );
        assert!(!page.contains(" style=") && !page.contains("<style") && !page.contains(" onclick"));
    }

    #[test]
    fn a_page_that_links_what_the_build_links_is_refused() {
        let mut names = Names::new();
        names.insert("style.css".to_owned(), "style-1.css".to_owned());
        let text = "<head><link rel=\"stylesheet\" href=\"/style.css\"></head>";
        assert!(page(text, &names).unwrap_err().contains("style.css"));
        assert!(page("<body>", &names).is_err());
    }

    #[test]
    fn a_name_tells_its_content() {
        assert_eq!(hashed("icons/a.png", b""), "icons/a-e3b0c44298fc1c14.png");
        assert_ne!(hashed("a.css", b"x"), hashed("a.css", b"y"));
    }
}
