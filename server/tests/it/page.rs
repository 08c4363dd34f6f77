//! The page as a browser gets it: from any address of its own, small, fresh where it must be and kept where it may.

use std::fs;
use std::io::{Read as _, Write as _};
use std::path::Path;

use crate::raw::{Answer, connect, request, send};
use crate::support::Server;

const PAGE: &str = "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self'; \
    img-src 'self' data: blob:; font-src 'self'; connect-src 'self'; worker-src 'self'; \
    manifest-src 'self'; form-action 'self'; base-uri 'none'; object-src 'none'; frame-ancestors 'none'; \
    require-trusted-types-for 'script'; trusted-types default";
const WITH_ALL: [(&str, &str); 1] = [("accept-encoding", "gzip, deflate, br, zstd")];

fn built(folder: &Path) {
    fs::create_dir_all(folder.join("icons")).unwrap();
    for (name, text) in [
        ("index.html", "<!doctype html><title>lanes</title>"),
        ("index.html.br", "index by brotli"),
        ("index.html.gz", "index by gzip"),
        ("sw.js", "// worker"),
        ("app-0011223344556677.wasm", "\0asm and a long rest"),
        ("app-0011223344556677.wasm.br", "asm by brotli"),
        ("boot-0011223344556677.js", "// boot"),
        ("style-0011223344556677.css", "p {}"),
        ("manifest-0011223344556677.webmanifest", "{}"),
        ("icons/lane-0011223344556677.svg", "<svg/>"),
        (".hidden.js", "// nobody's"),
        ("notes.txt", "nobody's"),
    ] {
        fs::write(folder.join(name), text).unwrap();
    }
}

fn get(server: &Server, path: &str, headers: &[(&str, &str)]) -> Answer {
    send(&server.url, &request("GET", path, headers, b""))
}

#[test]
fn files_are_served_with_their_types_and_kept_by_their_names() {
    let dir = tempfile::tempdir().unwrap();
    let page = dir.path().join("page");
    built(&page);
    let server = Server::with(&dir.path().join("data"), |c| c.page = Some(page));
    let lasting = "public, max-age=31536000, immutable";
    for (path, kind, keep, policy) in [
        ("/", "text/html; charset=utf-8", "no-cache", Some(PAGE)),
        ("/join", "text/html; charset=utf-8", "no-cache", Some(PAGE)),
        ("/set-up?x=1", "text/html; charset=utf-8", "no-cache", Some(PAGE)),
        ("/sw.js", "text/javascript; charset=utf-8", "no-cache", Some(PAGE)),
        ("/boot-0011223344556677.js", "text/javascript; charset=utf-8", lasting, Some(PAGE)),
        ("/app-0011223344556677.wasm", "application/wasm", lasting, None),
        ("/style-0011223344556677.css", "text/css; charset=utf-8", lasting, None),
        ("/manifest-0011223344556677.webmanifest", "application/manifest+json", lasting, None),
        ("/icons/lane-0011223344556677.svg", "image/svg+xml", lasting, None),
    ] {
        let answer = get(&server, path, &[]);
        assert_eq!(answer.status, 200, "{path}: {answer:?}");
        assert_eq!(answer.header("content-type"), Some(kind), "{path}");
        assert_eq!(answer.header("cache-control"), Some(keep), "{path}");
        assert_eq!(answer.header("vary"), Some("accept-encoding"), "{path}");
        assert_eq!(answer.header("content-encoding"), None, "{path}");
        assert_eq!(answer.header("x-content-type-options"), Some("nosniff"), "{path}");
        if let Some(policy) = policy {
            assert_eq!(answer.header("content-security-policy"), Some(policy), "{path}");
        }
        let whole = answer.header("content-length").unwrap().to_owned();
        assert_eq!(whole, answer.body.len().to_string(), "{path}");
        assert_eq!(head(&server.url, path), (200, whole, String::new()), "{path}");
    }
    for path in
        ["/.hidden.js", "/notes.txt", "/index.html", "/index.html.br", "/icons", "/icons/", "/../data"]
    {
        let answer = get(&server, path, &[]);
        assert_eq!((answer.status, answer.code().as_str()), (404, "not-found"), "{path}");
    }
    let posted = send(&server.url, &request("POST", "/join", &[], b""));
    assert_eq!((posted.status, posted.code().as_str()), (405, "method-not-allowed"));
    assert_eq!(posted.header("allow"), Some("GET,HEAD"));
}

#[test]
fn the_smallest_form_that_is_taken_is_sent_and_only_once() {
    let dir = tempfile::tempdir().unwrap();
    let page = dir.path().join("page");
    built(&page);
    let server = Server::with(&dir.path().join("data"), |c| c.page = Some(page));
    for (path, accepted, coding, body) in [
        ("/", "gzip, deflate, br, zstd", Some("br"), "index by brotli"),
        ("/", "gzip", Some("gzip"), "index by gzip"),
        ("/", "br;q=0, gzip;q=0.5", Some("gzip"), "index by gzip"),
        ("/", "identity", None, "<!doctype html><title>lanes</title>"),
        ("/app-0011223344556677.wasm", "gzip, br", Some("br"), "asm by brotli"),
        ("/app-0011223344556677.wasm", "gzip", None, "\0asm and a long rest"),
        ("/sw.js", "gzip, br", None, "// worker"),
    ] {
        let answer = get(&server, path, &[("accept-encoding", accepted)]);
        assert_eq!(
            (answer.header("content-encoding"), answer.body.as_str()),
            (coding, body),
            "{path} {accepted}"
        );
        let tag = answer.header("etag").unwrap();
        let again = get(&server, path, &[("accept-encoding", accepted), ("if-none-match", tag)]);
        assert_eq!((again.status, again.body.as_str(), again.header("etag")), (304, "", Some(tag)), "{path}");
        assert_eq!(again.header("cache-control"), answer.header("cache-control"), "{path}");
        let other = get(&server, path, &[("accept-encoding", accepted), ("if-none-match", "\"other\"")]);
        assert_eq!(other.status, 200, "{path}");
    }
    // One form's tag is not another's.
    let br = get(&server, "/", &WITH_ALL);
    let plain = get(&server, "/", &[("if-none-match", br.header("etag").unwrap())]);
    assert_eq!(plain.status, 200);
}

#[test]
fn a_server_without_a_page_says_how_to_build_it() {
    let dir = tempfile::tempdir().unwrap();
    let page = dir.path().join("page");
    fs::create_dir(&page).unwrap();
    let server = Server::with(&dir.path().join("data"), |c| c.page = Some(page));
    for path in ["/", "/join", "/set-up"] {
        let answer = get(&server, path, &WITH_ALL);
        assert_eq!(answer.status, 200);
        assert!(answer.body.contains("cargo xtask page"), "{answer:?}");
    }
    assert_eq!(get(&server, "/sw.js", &[]).status, 404);
}

/// Status, announced length and everything behind the head of the answer to `HEAD`.
fn head(url: &str, path: &str) -> (u16, String, String) {
    let mut socket = connect(url);
    socket
        .write_all(
            format!("HEAD {path} HTTP/1.1\r\nhost: club.example\r\nconnection: close\r\n\r\n").as_bytes(),
        )
        .unwrap();
    let mut all = String::new();
    socket.read_to_string(&mut all).unwrap();
    let (head, body) = all.split_once("\r\n\r\n").unwrap();
    let length = head.lines().find_map(|l| l.strip_prefix("content-length: ")).unwrap_or_default();
    (head.split(' ').nth(1).unwrap().parse().unwrap(), length.to_owned(), body.to_owned())
}
