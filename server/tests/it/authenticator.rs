//! An authenticator in software: makes and answers passkeys as browsers hand them on.

use data_encoding::BASE64URL_NOPAD;
use ed25519_dalek::Signer as _;
use minicbor::Encoder;
use p256::ecdsa::{Signature, SigningKey};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

enum Pair {
    Es256(SigningKey),
    EdDsa(ed25519_dalek::SigningKey),
}

/// One passkey.
pub(crate) struct Authenticator {
    pair: Pair,
    id: Vec<u8>,
    pub(crate) origin: String,
    pub(crate) host: String,
    pub(crate) flags: u8,
    pub(crate) counter: u32,
}

impl Authenticator {
    pub(crate) fn es256(host: &str) -> Authenticator {
        let pair = loop {
            if let Ok(key) = SigningKey::from_slice(&backstraight_server::secret::random::<32>()) {
                break Pair::Es256(key);
            }
        };
        Authenticator::with(pair, host)
    }

    pub(crate) fn eddsa(host: &str) -> Authenticator {
        let key = ed25519_dalek::SigningKey::from_bytes(&backstraight_server::secret::random());
        Authenticator::with(Pair::EdDsa(key), host)
    }

    fn with(pair: Pair, host: &str) -> Authenticator {
        Authenticator {
            pair,
            id: backstraight_server::secret::random::<16>().to_vec(),
            origin: format!("https://{host}"),
            host: host.to_owned(),
            // Present and verified.
            flags: 0x05,
            counter: 0,
        }
    }

    pub(crate) fn credential(&self) -> String {
        BASE64URL_NOPAD.encode(&self.id)
    }

    fn client(&self, kind: &str, challenge: &str) -> Vec<u8> {
        let data = json!({
            "type": kind, "challenge": challenge, "origin": self.origin, "crossOrigin": false, "extra": 1,
        });
        data.to_string().into_bytes()
    }

    fn data(&self, flags: u8) -> Vec<u8> {
        let mut data = Sha256::digest(self.host.as_bytes()).to_vec();
        data.push(flags);
        data.extend_from_slice(&self.counter.to_be_bytes());
        data
    }

    fn cose(&self) -> Vec<u8> {
        let mut e = Encoder::new(Vec::new());
        match &self.pair {
            Pair::Es256(key) => {
                let point = key.verifying_key().to_sec1_point(false).as_bytes().to_vec();
                e.map(5).unwrap().u8(1).unwrap().u8(2).unwrap().u8(3).unwrap().i8(-7).unwrap();
                e.i8(-1).unwrap().u8(1).unwrap();
                e.i8(-2).unwrap().bytes(&point[1..33]).unwrap().i8(-3).unwrap().bytes(&point[33..]).unwrap();
            }
            Pair::EdDsa(key) => {
                e.map(4).unwrap().u8(1).unwrap().u8(1).unwrap().u8(3).unwrap().i8(-8).unwrap();
                e.i8(-1).unwrap().u8(6).unwrap();
                e.i8(-2).unwrap().bytes(key.verifying_key().as_bytes()).unwrap();
            }
        }
        e.into_writer()
    }

    /// The body that registers it.
    pub(crate) fn register(&self, challenge: &str) -> Value {
        let mut data = self.data(self.flags | 0x40);
        data.extend_from_slice(&[7; 16]);
        data.extend_from_slice(&u16::try_from(self.id.len()).unwrap().to_be_bytes());
        data.extend_from_slice(&self.id);
        data.extend_from_slice(&self.cose());
        let mut e = Encoder::new(Vec::new());
        e.map(3).unwrap().str("fmt").unwrap().str("none").unwrap();
        e.str("attStmt").unwrap().map(0).unwrap().str("authData").unwrap().bytes(&data).unwrap();
        json!({
            "name": "the blue one",
            "client_data": BASE64URL_NOPAD.encode(&self.client("webauthn.create", challenge)),
            "attestation": BASE64URL_NOPAD.encode(&e.into_writer()),
        })
    }

    /// What it answers to sign in.
    pub(crate) fn answer(&mut self, challenge: &str) -> Value {
        if self.counter > 0 {
            self.counter += 1;
        }
        let (client, data) = (self.client("webauthn.get", challenge), self.data(self.flags));
        let mut signed = data.clone();
        signed.extend_from_slice(&Sha256::digest(&client));
        let signature = match &self.pair {
            Pair::Es256(key) => {
                let signature: Signature = key.sign(&signed);
                signature.to_der().as_bytes().to_vec()
            }
            Pair::EdDsa(key) => key.sign(&signed).to_bytes().to_vec(),
        };
        json!({
            "credential": self.credential(),
            "client_data": BASE64URL_NOPAD.encode(&client),
            "authenticator_data": BASE64URL_NOPAD.encode(&data),
            "signature": BASE64URL_NOPAD.encode(&signature),
        })
    }
}
