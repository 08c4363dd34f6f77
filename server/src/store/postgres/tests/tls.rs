//! The way to a database server on another machine: encrypted, and only to the one that is meant.

use std::path::{Path, PathBuf};

use backstraight_cluster::Cluster;

use crate::folder::Folder;
use crate::store::postgres::Database;
use crate::store::{Store, StoreError, StoreOptions};

/// An authority, its certificate in a file, and a server's certificate and key for a name.
fn authority(dir: &Path, name: &str) -> (PathBuf, String, String) {
    let mut params = rcgen::CertificateParams::new(Vec::new()).unwrap();
    params.is_ca = rcgen::IsCa::Ca(rcgen::BasicConstraints::Unconstrained);
    let key = rcgen::KeyPair::generate().unwrap();
    let itself = params.self_signed(&key).unwrap();
    let file = dir.join(format!("{name}.pem"));
    std::fs::write(&file, itself.pem()).unwrap();
    let issuer = rcgen::Issuer::new(params, key);
    let key = rcgen::KeyPair::generate().unwrap();
    let server = rcgen::CertificateParams::new(vec!["localhost".to_owned()]).unwrap();
    let certificate = server.signed_by(&key, &issuer).unwrap();
    (file, certificate.pem(), key.serialize_pem())
}

#[test]
#[ignore = "needs PostgreSQL: cargo xtask postgres"]
fn the_server_must_be_the_one_that_is_meant() {
    let dir = tempfile::tempdir().unwrap();
    let cluster = Cluster::start();
    drop(cluster.database());
    let port = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let (ca, certificate, key) = authority(dir.path(), "ours");
    let (other, ..) = authority(dir.path(), "other");
    cluster.put("server.crt", certificate.as_bytes());
    cluster.put("server.key", key.as_bytes());
    cluster.crash();
    cluster.configure(&format!("listen_addresses = 'localhost'\nport = {port}\nssl = on\n"));
    cluster.up();
    let folder = Folder::open(&dir.path().join("data")).unwrap();
    let open = |host: &str, mode: &str, ca: Option<&PathBuf>| {
        let url = format!("host={host} port={port} user=backstraight dbname=test0 sslmode={mode}");
        let database = Database { ca: ca.cloned(), ..Database::at(url.parse().unwrap()) };
        Store::open(&folder, StoreOptions { database, ..StoreOptions::default() })
    };
    let encrypted = |store: &Store| -> bool {
        let sql = "SELECT ssl FROM pg_stat_ssl WHERE pid = pg_backend_pid()";
        store.read_blocking(|db| Ok(db.query_row(sql, [], |r| r.get(0))?)).unwrap()
    };
    assert!(encrypted(&open("localhost", "require", Some(&ca)).unwrap()));
    assert!(encrypted(&open("localhost", "verify-full", Some(&ca)).unwrap()));
    assert!(!encrypted(&open("localhost", "disable", None).unwrap()));
    let refused = |opened: Result<Store, StoreError>| {
        let said = opened.map(drop).unwrap_err().to_string();
        assert!(said.contains("certificate"), "{said}");
    };
    refused(open("localhost", "require", Some(&other)));
    refused(open("localhost", "require", None));
    refused(open("127.0.0.1", "require", Some(&ca)));
}
