//! Encryption by the server itself, with certificates that the test makes.

use std::io::Read;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use ureq::tls::{Certificate, PemItem, RootCerts, TlsConfig, parse_pem};

use crate::command_line::run;
use crate::raw::{connect, request, send};
use crate::support::Server;

/// Writes a certificate for 127.0.0.1 and its key; the certificate.
fn certificate(dir: &Path) -> String {
    let made = rcgen::generate_simple_self_signed(["127.0.0.1".to_owned()]).unwrap();
    std::fs::write(dir.join("key.pem"), made.signing_key.serialize_pem()).unwrap();
    std::fs::write(dir.join("cert.pem"), made.cert.pem()).unwrap();
    made.cert.pem()
}

fn with_tls(dir: &Path) -> Server {
    Server::with(&dir.join("data"), |c| {
        c.tls_cert = Some(dir.join("cert.pem"));
        c.tls_key = Some(dir.join("key.pem"));
        c.limits.handshake_seconds = 1;
    })
}

/// Asks somebody who trusts only this certificate: the status and the header that says to come encrypted.
fn ask(server: &Server, trusted: &str) -> Result<(u16, String), String> {
    let roots: Vec<Certificate<'static>> = parse_pem(trusted.as_bytes())
        .map(|item| match item.unwrap() {
            PemItem::Certificate(c) => c,
            _ => panic!("no certificate"),
        })
        .collect();
    let tls = TlsConfig::builder().root_certs(RootCerts::Specific(Arc::new(roots))).build();
    let agent: ureq::Agent = ureq::Agent::config_builder().tls_config(tls).build().into();
    let answer = agent.get(format!("{}/healthz", server.url.replace("http:", "https:"))).call();
    let answer = answer.map_err(|e| e.to_string())?;
    let told = answer.headers().get("strict-transport-security").unwrap().to_str().unwrap();
    Ok((answer.status().as_u16(), told.to_owned()))
}

#[test]
fn an_encrypted_server_is_reached_by_who_trusts_its_certificate_and_takes_the_next_one() {
    let dir = tempfile::tempdir().unwrap();
    let first = certificate(dir.path());
    let server = with_tls(dir.path());
    let good = Ok((200, "max-age=63072000".to_owned()));
    assert_eq!(ask(&server, &first), good);
    let stranger = tempfile::tempdir().unwrap();
    assert!(ask(&server, &certificate(stranger.path())).is_err());
    // Renewed: the next connection has it.
    let second = certificate(dir.path());
    assert!(ask(&server, &second).is_err());
    let tls = server.app().tls.clone().unwrap();
    tls.reload();
    assert_eq!(ask(&server, &second), good);
    assert!(ask(&server, &first).is_err());
    // What cannot be used changes nothing.
    std::fs::write(dir.path().join("cert.pem"), "no certificate").unwrap();
    tls.reload();
    assert_eq!(ask(&server, &second), good);
}

#[test]
fn who_does_not_encrypt_is_not_talked_to() {
    let dir = tempfile::tempdir().unwrap();
    certificate(dir.path());
    let server = with_tls(dir.path());
    let plain = std::panic::catch_unwind(|| send(&server.url, &request("GET", "/healthz", &[], b"")));
    assert!(plain.is_err(), "{plain:?}");
    let begun = Instant::now();
    let mut socket = connect(&server.url);
    let mut said = Vec::new();
    let _ = socket.read_to_end(&mut said);
    assert!(said.is_empty() && begun.elapsed() < Duration::from_secs(10), "{said:?}");
}

#[test]
fn files_that_cannot_be_used_are_named_at_the_start() {
    let dir = tempfile::tempdir().unwrap();
    certificate(dir.path());
    let other = tempfile::tempdir().unwrap();
    certificate(other.path());
    std::fs::write(dir.path().join("empty.pem"), "").unwrap();
    let file = |dir: &Path, name: &str| dir.join(name).to_str().unwrap().to_owned();
    let (cert, key) = (file(dir.path(), "cert.pem"), file(dir.path(), "key.pem"));
    for (cert, key, words) in [
        (file(dir.path(), "empty.pem"), key.clone(), "no certificate in PEM"),
        (file(dir.path(), "none.pem"), key, "no certificate in PEM"),
        (cert.clone(), cert.clone(), "no key in PEM"),
        (cert, file(other.path(), "key.pem"), "certificate and key cannot be used"),
    ] {
        let args = ["serve", "--listen", "127.0.0.1:0", "--tls-cert", &cert, "--tls-key", &key];
        let out = run(&args, &dir.path().join("data"));
        let said = String::from_utf8_lossy(&out.stderr);
        assert!(!out.status.success() && said.contains(words) && said.contains(".pem"), "{words}: {said}");
    }
}
