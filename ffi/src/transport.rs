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

#[cfg(all(feature = "http", feature = "doors"))]
pub use courier::HttpCourier;

#[cfg(all(feature = "http", feature = "doors"))]
mod courier {
    use std::time::{Duration, Instant};

    use backstraight_core::exchange::wire::MAX_BODY;

    use super::http::{agent, twice};
    use crate::doors::outside::{Courier, CourierError, Header, Parcel, Reply};

    /// The blocking client behind the doors.
    #[derive(Debug)]
    pub struct HttpCourier(ureq::Agent);

    impl Default for HttpCourier {
        fn default() -> HttpCourier {
            HttpCourier(agent())
        }
    }

    impl Courier for HttpCourier {
        fn carry(&self, parcel: Parcel) -> Result<Reply, CourierError> {
            let until = Instant::now() + Duration::from_millis(u64::from(parcel.timeout_ms));
            let mut answer = twice(|| {
                let mut post = self.0.post(&parcel.url);
                for header in &parcel.headers {
                    post = post.header(&header.name, &header.value);
                }
                // The second try has what the first one left.
                let left = until.saturating_duration_since(Instant::now()).max(Duration::from_millis(1));
                post.config().timeout_global(Some(left)).build().send(&parcel.body[..])
            })
            .map_err(|e| trouble(&e))?;
            let headers = answer.headers().iter();
            let headers = headers.filter_map(|(name, value)| {
                Some(Header { name: name.to_string(), value: value.to_str().ok()?.to_owned() })
            });
            let (status, headers) = (answer.status().as_u16(), headers.collect());
            let body = answer.body_mut().with_config().limit(MAX_BODY as u64 + 1).read_to_vec();
            Ok(Reply { status, headers, body: body.map_err(|e| trouble(&e))? })
        }
    }

    fn trouble(e: &ureq::Error) -> CourierError {
        match e {
            ureq::Error::Timeout(_) => CourierError::TimedOut,
            ureq::Error::BodyExceedsLimit(_) => CourierError::Failed,
            _ => CourierError::Offline,
        }
    }
}

#[cfg(feature = "http")]
mod http {
    use std::io::{ErrorKind, Read as _};
    use std::sync::mpsc::{Receiver, RecvTimeoutError, sync_channel};
    use std::time::Duration;

    use super::{PhoneError, Renewal, Tokens, Transport};
    use crate::identity::{self, Identity, InstallKey};
    use crate::news::{Line, Listen};
    use crate::request::{self, Ask, Said, words};
    use backstraight_core::exchange::proof::Invitation;
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

    pub(super) fn agent() -> ureq::Agent {
        ureq::Agent::config_builder()
            .timeout_global(Some(Duration::from_secs(30)))
            .http_status_as_error(false)
            // A request has a token with it and goes where it was sent.
            .max_redirects(0)
            .build()
            .into()
    }

    impl Transport for Http {
        fn exchange(&mut self, access: &str, body: &[u8]) -> Result<Vec<u8>, PhoneError> {
            let ask = request::exchange(access, body)?;
            self.sent += ask.body.len() as u64;
            self.round_trips += 1;
            let said = carry(&self.agent, &self.server, &ask)?;
            self.received += said.body.len() as u64;
            request::exchanged(said)
        }

        fn renew(&mut self, ask: &Renewal) -> Result<Tokens, PhoneError> {
            request::renewed(&carry(&self.agent, &self.server, &request::renewal(ask))?)
        }
    }

    /// Carries a request to a server. One that broke off before an answer goes again: they do no harm when
    /// they arrive twice.
    fn carry(agent: &ureq::Agent, server: &str, ask: &Ask) -> Result<Said, PhoneError> {
        let mut answer = twice(|| {
            let mut post = agent.post(format!("{server}{}", ask.path));
            for (name, value) in &ask.headers {
                post = post.header(*name, value);
            }
            post.send(&ask.body[..])
        })
        .map_err(|e| PhoneError::Offline(e.to_string()))?;
        let status = answer.status().as_u16();
        let zipped = answer.headers().get("content-encoding").is_some_and(|v| v == "gzip");
        let body = answer
            .body_mut()
            .with_config()
            .limit(MAX_BODY as u64 + 1)
            .read_to_vec()
            .map_err(|e| PhoneError::Offline(e.to_string()))?;
        Ok(Said { status, zipped, body })
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
        // A lost answer may be asked for again: the key says that it is the same install.
        let said = carry(&agent(), server, &request::enrolment(code, device, &key))?;
        request::enrolled(&said, server, key)
    }

    pub(super) type Answer = ureq::http::Response<ureq::Body>;

    /// Asks, and once more when the connection broke off before an answer: one that was kept from
    /// the last time may have been closed by the other side meanwhile. Only for requests that do no
    /// harm when they arrive twice.
    pub(super) fn twice(ask: impl Fn() -> Result<Answer, ureq::Error>) -> Result<Answer, ureq::Error> {
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
    }
}
