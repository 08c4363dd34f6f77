//! What says who somebody is: access and refresh tokens, invitations, codes, passkeys, signatures, an install's file.

use std::sync::OnceLock;

use backstraight_core::base::id::{ActorId, ChangeHash, InstallId};
use backstraight_core::base::moment::Moment;
use backstraight_core::device::identity::{Identity, InstallKey};
use backstraight_core::exchange::proof::{Invitation, is_secret};
use backstraight_core::exchange::signed::{Carried, Signature, verify};
use backstraight_core::model::name::Kind;
use backstraight_server::folder::Keys;
use backstraight_server::passkey::{
    Assertion, PasskeyError, Purpose, Site, challenge, registered, signed_in,
};
use backstraight_server::secret;
use backstraight_server::token::{Bearer, LEEWAY, LIFETIME, RefreshClaim, Tokens};
use data_encoding::BASE64URL_NOPAD;

use crate::fuzz::feed::Feed;
use crate::replica::{ATHLETE, START, name};

/// Stands in the corpus for the challenge of the moment, which is random.
pub(crate) const CHALLENGE: &str = "$CHALLENGE";
const SIGNING: [u8; 32] = [7; 32];
const SECRET: [u8; 32] = [9; 32];

/// The one server of this target.
pub(crate) fn server() -> &'static Tokens {
    static ONCE: OnceLock<Tokens> = OnceLock::new();
    ONCE.get_or_init(|| Tokens::new(&Keys { signing: SIGNING, secret: SECRET }, [1; 16]))
}

/// The bearer of honest tokens.
pub(crate) const BEARER: Bearer = Bearer { person: ATHLETE, install: InstallId([1; 8]) };

pub(crate) fn tokens(input: &[u8]) -> bool {
    let mut feed = Feed::new(input);
    match feed.byte() % 8 {
        0 => as_it_is(feed.rest()),
        1 => signed_by_us(feed),
        2 => refresh(feed),
        3 => invitation(feed.rest()),
        4 => register(feed),
        5 => sign_in(feed),
        6 => signatures(feed),
        _ => identity(feed.rest()),
    }
}

fn as_it_is(bytes: &[u8]) -> bool {
    let text = String::from_utf8_lossy(bytes);
    // Without our key nobody gets in; an honest token is not among the inputs.
    assert!(server().read_access(&text, START).is_err() && server().good_until(&text, START).is_err());
    text.matches('.').count() == 2
}

/// Header and claims of any kind under a signature of the server's own: it must still be one of its tokens.
fn signed_by_us(mut feed: Feed<'_>) -> bool {
    let header = feed.piece();
    let claims = feed.piece();
    let named = format!("{}.{}", BASE64URL_NOPAD.encode(header), BASE64URL_NOPAD.encode(claims));
    let signature = InstallKey::of(SIGNING).sign(named.as_bytes());
    let text = format!("{named}.{}", BASE64URL_NOPAD.encode(&signature));
    let read = server().read_access(&text, START);
    let until = server().good_until(&text, START);
    if read.is_ok() {
        let until = until.unwrap();
        assert!(until > START && until.0 <= START.0 + (LIFETIME + 2 * LEEWAY) * 1000 + 1000);
    }
    // Whatever moment it is.
    for now in [Moment(i64::MIN), Moment(0), Moment(i64::MAX)] {
        let _ = server().read_access(&text, now);
    }
    read.is_ok()
}

fn refresh(mut feed: Feed<'_>) -> bool {
    let salt = feed.take(16);
    let text = String::from_utf8_lossy(feed.rest()).into_owned();
    let Some(claim) = RefreshClaim::read(&text) else { return false };
    let honest = server().refresh(claim.install, claim.generation, salt);
    assert_eq!(claim.genuine(&SECRET, salt), honest == text);
    true
}

fn invitation(bytes: &[u8]) -> bool {
    let text = String::from_utf8_lossy(bytes);
    let read = Invitation::read(&text);
    if let Some(read) = &read {
        assert!(is_secret(&read.secret));
        let again = Invitation::read(&read.text()).unwrap();
        assert_eq!(again.secret, read.secret);
    }
    let code = secret::read_code(&text);
    if let Some(code) = &code {
        assert_eq!(secret::read_code(code).as_ref(), Some(code));
    }
    read.is_some() || code.is_some()
}

pub(crate) fn site() -> Site {
    Site::of("https://club.example")
}

/// The client's words with a challenge of ours in the place of the mark.
fn client(words: &[u8], purpose: Purpose<'_>) -> Vec<u8> {
    let text = String::from_utf8_lossy(words);
    text.replace(CHALLENGE, &challenge(&SECRET, purpose, START)).into_bytes()
}

fn register(mut feed: Feed<'_>) -> bool {
    let person = [3; 16];
    let words = client(feed.piece(), Purpose::Register(&person));
    let attestation = feed.rest();
    let new = registered(&SECRET, &person, &site(), &words, attestation, START);
    if let Ok(new) = &new {
        assert!(!new.credential.is_empty() && new.credential.len() <= 1023 && new.public_key.len() > 32);
        assert!(registered(&SECRET, &[4; 16], &site(), &words, attestation, START).is_err());
    }
    new.is_ok()
}

fn sign_in(mut feed: Feed<'_>) -> bool {
    let words = client(feed.piece(), Purpose::SignIn);
    let (data, key, signature) = (feed.piece(), feed.piece(), feed.rest());
    let answer = Assertion { client: &words, data, signature };
    let [with, alone] = [false, true].map(|alone| signed_in(&SECRET, key, &site(), answer, alone, START));
    assert!(with.is_ok() || alone.is_err(), "alone it takes more");
    !matches!(with, Err(PasskeyError::Malformed | PasskeyError::Challenge))
}

/// Signatures of any form under changes that are there.
fn signatures(mut feed: Feed<'_>) -> bool {
    let list: Vec<Signature> = minicbor::decode(feed.piece()).unwrap_or_default();
    let mut changes = Vec::new();
    while !feed.is_empty() && changes.len() < 64 {
        let (actor, dep) = (feed.byte() % 4, feed.byte());
        let hash = ChangeHash([u8::try_from(changes.len()).unwrap_or(0); 32]);
        changes.push(Carried {
            hash,
            actor: ActorId([actor; 16]),
            time: 0,
            deps: vec![ChangeHash([dep; 32])],
            range: 0..0,
        });
    }
    let key = |install: InstallId| Some(InstallKey::of([install.0[0]; 32]).public());
    if verify(&name(Kind::Log), &changes, &list, &key).is_ok() {
        assert!(changes.is_empty() || !list.is_empty(), "nothing is believed unsigned");
    }
    !list.is_empty()
}

fn identity(bytes: &[u8]) -> bool {
    let Ok(read) = Identity::from_bytes(bytes) else { return false };
    let again = Identity::from_bytes(&read.to_bytes()).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(again, read);
    let _ = (read.is_stale(START), read.renewal(START));
    true
}
