//! How bytes travel. The app may bring its own; the blocking HTTP one here serves Rust programs.

pub use backstraight_core::device::session::{Renewal, Tokens};

use crate::error::PhoneError;

/// Carries one request to the server and its answer back.
pub trait Transport {
    /// Sends the (unpacked) body of an exchange and gives back the (unpacked) answer.
    ///
    /// # Errors
    /// [`PhoneError::Offline`] when nothing came back, [`PhoneError::SignedOut`] when the server
    /// does not accept the token.
    fn exchange(&mut self, access: &str, body: &[u8]) -> Result<Vec<u8>, PhoneError>;

    /// Trades a refresh token for a new pair.
    ///
    /// # Errors
    /// As above, and [`PhoneError::ClockApart`] when the time that was signed is not the server's.
    fn renew(&mut self, ask: &Renewal) -> Result<Tokens, PhoneError>;
}

#[cfg(feature = "http")]
pub use http::{Http, enrol, enrol_by_picture, enrol_with};

#[cfg(feature = "http")]
mod http {
    use std::io::{ErrorKind, Read, Write as _};
    use std::sync::mpsc::{Receiver, RecvTimeoutError, sync_channel};
    use std::time::Duration;

    use flate2::Compression;
    use flate2::read::GzDecoder;
    use flate2::write::GzEncoder;

    use super::{PhoneError, Renewal, Tokens, Transport};
    use crate::identity::{self, Identity, InstallKey};
    use crate::news::{Line, Listen};
    use backstraight_core::base::hex::hex;
    use backstraight_core::base::moment::Moment;
    use backstraight_core::exchange::proof::{self, Invitation};
    use backstraight_core::exchange::wire::MAX_BODY;

    /// The exchange over HTTP by a blocking client.
    #[derive(Debug)]
    pub struct Http {
        server: String,
        agent: ureq::Agent,
        /// Bytes of bodies sent and received, packed: what a person's data plan pays for.
        pub sent: u64,
        /// Bytes of answers received, packed.
        pub received: u64,
        /// Round trips made.
        pub round_trips: u32,
    }

    impl Http {
        /// A transport to a server such as `http://127.0.0.1:8080`.
        #[must_use]
        pub fn new(server: &str) -> Http {
            Http {
                server: server.trim_end_matches('/').to_owned(),
                agent: agent(),
                sent: 0,
                received: 0,
                round_trips: 0,
            }
        }
    }

    fn agent() -> ureq::Agent {
        ureq::Agent::config_builder()
            .timeout_global(Some(Duration::from_secs(30)))
            .http_status_as_error(false)
            .build()
            .into()
    }

    fn gzip(body: &[u8]) -> Result<Vec<u8>, PhoneError> {
        let mut encoder = GzEncoder::new(Vec::new(), Compression::best());
        encoder
            .write_all(body)
            .and_then(|()| encoder.finish())
            .map_err(|e| PhoneError::Answer(format!("packing failed: {e}")))
    }

    impl Transport for Http {
        fn exchange(&mut self, access: &str, body: &[u8]) -> Result<Vec<u8>, PhoneError> {
            let packed = gzip(body)?;
            self.sent += packed.len() as u64;
            self.round_trips += 1;
            let ask = || {
                self.agent
                    .post(format!("{}/v1/exchange", self.server))
                    .header("authorization", format!("Bearer {access}"))
                    .header("content-type", "application/cbor")
                    .header("content-encoding", "gzip")
                    .header("accept-encoding", "gzip")
                    .send(&packed[..])
            };
            let mut answer = twice(ask)?;
            let status = answer.status().as_u16();
            let zipped = answer.headers().get("content-encoding").is_some_and(|v| v == "gzip");
            let raw = answer
                .body_mut()
                .with_config()
                .limit(MAX_BODY as u64 + 1)
                .read_to_vec()
                .map_err(|e| PhoneError::Offline(e.to_string()))?;
            self.received += raw.len() as u64;
            match status {
                200 => {}
                401 => return Err(PhoneError::SignedOut("the access token was not accepted".to_owned())),
                _ => return Err(PhoneError::Answer(format!("status {status}: {}", words(&raw)))),
            }
            if !zipped {
                return Ok(raw);
            }
            let mut out = Vec::new();
            GzDecoder::new(raw.as_slice())
                .take(MAX_BODY as u64 + 1)
                .read_to_end(&mut out)
                .map_err(|e| PhoneError::Answer(e.to_string()))?;
            Ok(out)
        }

        fn renew(&mut self, ask: &Renewal) -> Result<Tokens, PhoneError> {
            let url = format!("{}/v1/token", self.server);
            let mut body = serde_json::json!({ "refresh_token": ask.refresh });
            if !ask.signature.is_empty() {
                body = serde_json::json!({
                    "refresh_token": ask.refresh, "at": ask.at.0, "signature": ask.signature,
                });
            }
            let answer = read(twice(|| post(&self.agent, &url, &body))?)?;
            let get = |key: &str| field(&answer, key).ok_or_else(|| PhoneError::Answer(format!("no {key}")));
            // Without the time the token is tried until it is refused.
            let good_for = answer.get("expires_in").and_then(serde_json::Value::as_i64);
            Ok(Tokens {
                access: get("access_token")?,
                refresh: get("refresh_token")?,
                good_for: good_for.unwrap_or(i64::MAX),
            })
        }
    }

    impl Listen for Http {
        fn listen(&mut self, access: &str, position: Option<&str>) -> Result<Box<dyn Line>, PhoneError> {
            // No limit of time on the whole: a stream is open for as long as its token is good.
            let config = ureq::Agent::config_builder()
                .timeout_connect(Some(Duration::from_secs(30)))
                .timeout_recv_response(Some(Duration::from_secs(30)))
                .http_status_as_error(false);
            let mut ask = ureq::Agent::from(config.build())
                .get(format!("{}/v1/nudge", self.server))
                .header("accept", "text/event-stream")
                .header("authorization", format!("Bearer {access}"));
            if let Some(position) = position {
                ask = ask.header("last-event-id", position);
            }
            let mut answer = ask.call().map_err(|e| PhoneError::Offline(e.to_string()))?;
            match answer.status().as_u16() {
                200 => {}
                401 => return Err(PhoneError::SignedOut("the access token was not accepted".to_owned())),
                429 | 500.. => return Err(PhoneError::Offline("the server has no room now".to_owned())),
                status => {
                    let raw = answer.body_mut().read_to_vec().unwrap_or_default();
                    return Err(PhoneError::Answer(format!("status {status}: {}", words(&raw))));
                }
            }
            let mut body = answer.into_body().into_reader();
            let (send, receive) = sync_channel(4);
            // Reading blocks until something comes; whoever waits wants to be asked to stop meanwhile.
            // The thread ends with the line, or with the next sign of life after nobody listens.
            let read = move || {
                let mut bytes = [0; 2048];
                while let Ok(n) = body.read(&mut bytes) {
                    let part = bytes.get(..n).unwrap_or_default().to_vec();
                    if n == 0 || send.send(part).is_err() {
                        return;
                    }
                }
            };
            std::thread::Builder::new()
                .name("nudges".to_owned())
                .spawn(read)
                .map_err(|e| PhoneError::Offline(e.to_string()))?;
            Ok(Box::new(Received(receive)))
        }
    }

    /// What a reading thread sends.
    struct Received(Receiver<Vec<u8>>);

    impl Line for Received {
        fn next(&mut self) -> Result<Vec<u8>, PhoneError> {
            match self.0.recv_timeout(Duration::from_millis(500)) {
                Ok(bytes) => Ok(bytes),
                Err(RecvTimeoutError::Timeout) => Ok(Vec::new()),
                Err(RecvTimeoutError::Disconnected) => {
                    Err(PhoneError::Offline("the stream has ended".to_owned()))
                }
            }
        }
    }

    /// Trades an invitation for an install with a key of its own: the code as it was typed, and the server's
    /// address.
    ///
    /// # Errors
    /// When the server is not reached or does not accept the code.
    pub fn enrol(server: &str, code: &str, device: &str) -> Result<Identity, PhoneError> {
        enrol_with(server, code, device, identity::fresh_key()?)
    }

    /// The same with the text of an invitation's picture.
    ///
    /// # Errors
    /// When it is no invitation, or as [`enrol`].
    pub fn enrol_by_picture(text: &str, device: &str) -> Result<Identity, PhoneError> {
        let it = Invitation::read(text)
            .ok_or_else(|| PhoneError::Answer("the picture is no invitation".to_owned()))?;
        enrol(&it.server, &it.secret, device)
    }

    /// The same with a key that is kept: a phone that asks again because the answer was lost gets the same
    /// install.
    ///
    /// # Errors
    /// As [`enrol`].
    pub fn enrol_with(
        server: &str,
        code: &str,
        device: &str,
        key: InstallKey,
    ) -> Result<Identity, PhoneError> {
        let server = server.trim_end_matches('/');
        let public = key.public();
        let signature = key.sign(&proof::enrol(code, &public, device));
        let body = serde_json::json!({
            "code": code, "device": device, "public_key": hex(&public), "signature": hex(&signature),
        });
        // A lost answer may be asked for again: the key says that it is the same install.
        let answer = read(twice(|| post(&agent(), &format!("{server}/v1/enrol"), &body))?)?;
        let get = |key: &str| field(&answer, key).ok_or_else(|| PhoneError::Answer(format!("no {key}")));
        let bad = |key: &str| PhoneError::Answer(format!("{key} is not well formed"));
        Ok(Identity {
            install: get("install")?.parse().map_err(|_| bad("install"))?,
            person: get("person")?.parse().map_err(|_| bad("person"))?,
            club: get("club")?.parse().map_err(|_| bad("club"))?,
            role: get("role")?.parse().map_err(|_| bad("role"))?,
            name: get("name")?,
            server: server.to_owned(),
            access: get("access_token")?,
            refresh: get("refresh_token")?,
            access_until: None,
            key: Some(key),
        })
    }

    type Answer = ureq::http::Response<ureq::Body>;

    /// Asks, and once more when the connection broke off before an answer: one that was kept from
    /// the last time may have been closed by the other side meanwhile. Only for requests that do no
    /// harm when they arrive twice.
    fn twice(ask: impl Fn() -> Result<Answer, ureq::Error>) -> Result<Answer, PhoneError> {
        let broke_off = |e: &ureq::Error| {
            matches!(e, ureq::Error::Io(e) if matches!(
                e.kind(),
                ErrorKind::UnexpectedEof
                    | ErrorKind::ConnectionReset
                    | ErrorKind::ConnectionAborted
                    | ErrorKind::BrokenPipe
            ))
        };
        match ask() {
            Err(e) if broke_off(&e) => ask(),
            other => other,
        }
        .map_err(|e| PhoneError::Offline(e.to_string()))
    }

    fn post(agent: &ureq::Agent, url: &str, body: &serde_json::Value) -> Result<Answer, ureq::Error> {
        agent.post(url).header("content-type", "application/json").send(body.to_string().as_bytes())
    }

    fn read(mut answer: Answer) -> Result<serde_json::Value, PhoneError> {
        let status = answer.status().as_u16();
        let raw = answer.body_mut().read_to_vec().map_err(|e| PhoneError::Offline(e.to_string()))?;
        if let Some(now) = clock_apart(&raw) {
            return Err(PhoneError::ClockApart(now));
        }
        match status {
            200 | 201 => serde_json::from_slice(&raw).map_err(|e| PhoneError::Answer(e.to_string())),
            401 | 403 | 404 | 409 | 410 => Err(PhoneError::SignedOut(words(&raw))),
            _ => Err(PhoneError::Answer(format!("status {status}: {}", words(&raw)))),
        }
    }

    /// The server's time, when that is why it refused.
    fn clock_apart(raw: &[u8]) -> Option<Moment> {
        let json: serde_json::Value = serde_json::from_slice(raw).ok()?;
        (json.get("code")?.as_str()? == "clock").then_some(())?;
        json.get("now")?.as_i64().map(Moment)
    }

    fn field(answer: &serde_json::Value, key: &str) -> Option<String> {
        answer.get(key)?.as_str().map(str::to_owned)
    }

    /// The words of a problem document, for a person.
    fn words(raw: &[u8]) -> String {
        let json: Option<serde_json::Value> = serde_json::from_slice(raw).ok();
        let text = |key: &str| json.as_ref()?.get(key)?.as_str().map(str::to_owned);
        text("detail").or_else(|| text("title")).unwrap_or_else(|| "no reason given".to_owned())
    }
}
