//! Requests as bytes, for those that no library of clients would send, and every route that there is.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::Duration;

use serde_json::Value;

/// An answer, taken apart.
#[derive(Debug)]
pub(crate) struct Answer {
    pub(crate) status: u16,
    head: String,
    pub(crate) body: String,
}

impl Answer {
    /// A header, when it is there once.
    pub(crate) fn header(&self, name: &str) -> Option<&str> {
        let mut values = self.head.lines().filter_map(|line| {
            let (n, value) = line.split_once(':')?;
            n.eq_ignore_ascii_case(name).then_some(value.trim())
        });
        let value = values.next()?;
        assert_eq!(values.next(), None, "{name} twice: {}", self.head);
        Some(value)
    }

    /// The code of a problem document; it must be one.
    pub(crate) fn code(&self) -> String {
        assert_eq!(self.header("content-type"), Some("application/problem+json"), "{self:?}");
        let body: Value = serde_json::from_str(&self.body).unwrap_or_else(|e| panic!("{e}: {self:?}"));
        assert_eq!(body["status"], self.status, "{self:?}");
        body["code"].as_str().unwrap().to_owned()
    }
}

/// Connects; reading gives up after a while.
pub(crate) fn connect(url: &str) -> TcpStream {
    let socket = TcpStream::connect(url.split("://").nth(1).unwrap()).unwrap();
    socket.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
    socket
}

/// Sends bytes and reads the answer; the body only as far as it is announced.
pub(crate) fn send(url: &str, bytes: &[u8]) -> Answer {
    let mut socket = connect(url);
    // Who refuses the head may close before all has been sent.
    let _ = socket.write_all(bytes);
    read(&mut socket)
}

/// Reads an answer.
pub(crate) fn read(socket: &mut TcpStream) -> Answer {
    let mut got = Vec::new();
    let mut piece = [0; 4_096];
    let end = loop {
        if let Some(at) = got.windows(4).position(|w| w == b"\r\n\r\n") {
            break at;
        }
        let n = socket.read(&mut piece).unwrap_or(0);
        assert!(n > 0, "no answer: {}", String::from_utf8_lossy(&got));
        got.extend_from_slice(&piece[..n]);
    };
    let head = String::from_utf8(got[..end].to_vec()).unwrap();
    let mut body = got.split_off(end + 4);
    let status = head.split(' ').nth(1).unwrap().parse().unwrap();
    let mut answer = Answer { status, head, body: String::new() };
    let length = answer.header("content-length").map_or(0, |n| n.parse::<usize>().unwrap());
    while body.len() < length {
        let n = socket.read(&mut piece).unwrap();
        assert!(n > 0, "the body breaks off: {answer:?}");
        body.extend_from_slice(&piece[..n]);
    }
    // What comes after it answers something else.
    body.truncate(length);
    answer.body = String::from_utf8_lossy(&body).into_owned();
    answer
}

/// A request by its parts.
pub(crate) fn request(method: &str, path: &str, headers: &[(&str, &str)], body: &[u8]) -> Vec<u8> {
    let mut out = format!("{method} {path} HTTP/1.1\r\nhost: club.example\r\n").into_bytes();
    for (name, value) in headers {
        out.extend_from_slice(format!("{name}: {value}\r\n").as_bytes());
    }
    if method != "GET" || !body.is_empty() {
        out.extend_from_slice(format!("content-length: {}\r\n", body.len()).as_bytes());
    }
    out.extend_from_slice(b"\r\n");
    out.extend_from_slice(body);
    out
}

/// A route of the document that the server serves.
#[derive(Debug)]
pub(crate) struct Route {
    pub(crate) method: String,
    pub(crate) path: String,
    /// Whether it asks for a token.
    pub(crate) secured: bool,
    /// Names of its parameters in the query.
    pub(crate) query: Vec<String>,
    /// Fields of its JSON body.
    pub(crate) fields: Option<Vec<String>>,
    /// Whether any of them has to be there.
    pub(crate) needs: bool,
}

impl Route {
    /// The path with `id` in every place of an identity or key.
    pub(crate) fn at(&self, id: &str) -> String {
        let parts = self.path.split('/').map(|part| if part.starts_with('{') { id } else { part });
        parts.collect::<Vec<_>>().join("/")
    }

    pub(crate) fn has_id(&self) -> bool {
        self.path.contains('{')
    }
}

/// The fields of a schema and of those that it takes in.
fn fields_of(document: &Value, schema: &str) -> Vec<String> {
    let found = &document["components"]["schemas"][schema.rsplit('/').next().unwrap()];
    let mut fields = Vec::new();
    for part in std::iter::once(found).chain(found["allOf"].as_array().into_iter().flatten()) {
        fields.extend(part["properties"].as_object().into_iter().flat_map(|p| p.keys().cloned()));
        fields.extend(part["$ref"].as_str().into_iter().flat_map(|part| fields_of(document, part)));
    }
    fields
}

/// Whether a schema, or one that it takes in, has a field that must be there.
fn needs(document: &Value, schema: &str) -> bool {
    let found = &document["components"]["schemas"][schema.rsplit('/').next().unwrap()];
    std::iter::once(found).chain(found["allOf"].as_array().into_iter().flatten()).any(|part| {
        part["required"].as_array().is_some_and(|r| !r.is_empty())
            || part["$ref"].as_str().is_some_and(|part| needs(document, part))
    })
}

/// All of them.
pub(crate) fn routes() -> Vec<Route> {
    let document = serde_json::to_value(backstraight_server::routes::document()).unwrap();
    let mut all = Vec::new();
    for (path, methods) in document["paths"].as_object().unwrap() {
        for (method, about) in methods.as_object().unwrap() {
            let parameters = about["parameters"].as_array().cloned().unwrap_or_default();
            let named = |p: &Value| (p["in"] == "query").then(|| p["name"].as_str().unwrap().to_owned());
            let json = &about["requestBody"]["content"]["application/json"]["schema"]["$ref"];
            let fields = json.as_str().map(|schema| {
                let fields = fields_of(&document, schema);
                assert!(!fields.is_empty(), "{schema}");
                fields
            });
            all.push(Route {
                method: method.to_uppercase(),
                path: path.clone(),
                secured: about["security"].is_array(),
                query: parameters.iter().filter_map(named).collect(),
                fields,
                needs: json.as_str().is_none_or(|schema| needs(&document, schema)),
            });
        }
    }
    assert!(all.len() > 15, "{all:?}");
    all
}
