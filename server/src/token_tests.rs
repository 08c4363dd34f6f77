//! Tests of the tokens: every form that must be refused, and an independent reader.

use backstraight_core::base::id::{InstallId, PersonId};
use backstraight_core::base::moment::Moment;
use serde_json::{Value, json};
use uuid::Uuid;

use super::*;

const NOW: Moment = Moment(1_790_000_000_000);
const WHO: Bearer = Bearer { person: PersonId(Uuid::from_u128(7)), install: InstallId([3; 8]) };

fn server(seed: u8) -> Tokens {
    Tokens::new(&Keys { signing: [seed; 32], secret: [seed; 32] }, [9; 16])
}

fn forge(tokens: &Tokens, header: &Value, claims: &Value) -> String {
    let signed = format!("{}.{}", part(header), part(claims));
    let signature = tokens.ring.read().unwrap().signing.sign(signed.as_bytes());
    format!("{signed}.{}", BASE64URL_NOPAD.encode(&signature.to_bytes()))
}

fn good(tokens: &Tokens) -> (Value, Value) {
    let text = tokens.access(WHO, NOW);
    let mut parts = text.split('.').map(|p| BASE64URL_NOPAD.decode(p.as_bytes()).unwrap());
    let mut next = || serde_json::from_slice(&parts.next().unwrap()).unwrap();
    (next(), next())
}

#[test]
fn a_token_speaks_for_its_install_for_fifteen_minutes() {
    let t = server(1);
    let text = t.access(WHO, NOW);
    assert_eq!(t.read_access(&text, NOW), Ok(WHO));
    let at = |seconds: i64| t.read_access(&text, NOW.plus_ms(seconds * 1000));
    assert_eq!(at(-LEEWAY), Ok(WHO));
    assert_eq!(at(-LEEWAY - 1), Err(TokenError::Time));
    assert_eq!(at(LIFETIME + LEEWAY - 1), Ok(WHO));
    assert_eq!(at(LIFETIME + LEEWAY), Err(TokenError::Time));
}

#[test]
fn another_program_reads_it_as_the_standard_says() {
    use jsonwebtoken::{Algorithm, DecodingKey, Validation, decode, decode_header};
    let t = server(1);
    let now = Moment(i64::try_from(jsonwebtoken::get_current_timestamp()).unwrap() * 1000);
    let text = t.access(WHO, now);
    assert_eq!(decode_header(&text).unwrap().typ.as_deref(), Some("at+jwt"));
    let mut rules = Validation::new(Algorithm::EdDSA);
    rules.set_audience(&[AUDIENCE]);
    rules.set_issuer(&[&t.issuer]);
    let x = BASE64URL_NOPAD.encode(t.ring.read().unwrap().verifying.as_bytes());
    let key = DecodingKey::from_ed_components(&x).unwrap();
    let seen = decode::<Value>(&text, &key, &rules).unwrap();
    assert_eq!(seen.claims.get("did").unwrap(), "0303030303030303");
}

#[test]
fn every_other_header_is_refused() {
    let t = server(1);
    let (header, claims) = good(&t);
    assert_eq!(t.read_access(&forge(&t, &header, &claims), NOW), Ok(WHO));
    let changed = |name: &str, value: Value| {
        let mut h = header.clone();
        h.as_object_mut().unwrap().insert(name.to_owned(), value);
        h
    };
    for (name, value) in [
        ("crit", json!(["exp"])),
        ("jku", json!("https://example.org/keys")),
        ("jwk", json!({})),
        ("x5u", json!("https://example.org/cert")),
        ("x5c", json!([])),
        ("alg", json!("none")),
        ("alg", json!("HS256")),
        ("alg", json!("eddsa")),
        ("typ", json!("JWT")),
        ("kid", json!("0000000000000000")),
        ("kid", json!(1)),
        ("cty", json!("JWT")),
    ] {
        assert_eq!(
            t.read_access(&forge(&t, &changed(name, value), &claims), NOW),
            Err(TokenError::Header),
            "{name}"
        );
    }
    for name in ["alg", "typ", "kid"] {
        let mut h = header.clone();
        h.as_object_mut().unwrap().remove(name);
        assert_eq!(t.read_access(&forge(&t, &h, &claims), NOW), Err(TokenError::Header), "{name}");
    }
}

#[test]
fn every_other_set_of_claims_is_refused() {
    let t = server(1);
    let (header, claims) = good(&t);
    for name in ["iss", "aud", "sub", "did", "jti", "iat", "nbf", "exp"] {
        let mut c = claims.clone();
        c.as_object_mut().unwrap().remove(name);
        assert_eq!(t.read_access(&forge(&t, &header, &c), NOW), Err(TokenError::Malformed), "{name}");
    }
    let exp = claims.get("exp").unwrap().as_i64().unwrap();
    for (name, value, why) in [
        ("iss", json!("backstraight/other"), TokenError::Elsewhere),
        ("aud", json!("other"), TokenError::Elsewhere),
        ("aud", json!([AUDIENCE]), TokenError::Malformed),
        ("exp", json!(exp.to_string()), TokenError::Malformed),
        ("exp", json!(exp + 1), TokenError::Time),
        ("exp", json!(i64::MAX), TokenError::Time),
        ("exp", json!(i64::MIN), TokenError::Time),
        ("nbf", json!(exp), TokenError::Time),
        ("iat", json!(exp + 1), TokenError::Time),
        ("iat", json!(i64::MIN), TokenError::Time),
        ("sub", json!("7"), TokenError::Malformed),
        ("did", json!("zz"), TokenError::Malformed),
        ("admin", json!(true), TokenError::Malformed),
    ] {
        let mut c = claims.clone();
        c.as_object_mut().unwrap().insert(name.to_owned(), value.clone());
        assert_eq!(t.read_access(&forge(&t, &header, &c), NOW), Err(why), "{name} {value}");
    }
}

#[test]
fn every_changed_character_and_every_cut_is_refused() {
    let t = server(1);
    let text = t.access(WHO, NOW);
    assert!(server(2).read_access(&text, NOW).is_err());
    assert!(t.read_access(&server(2).access(WHO, NOW), NOW).is_err());
    for n in 0..text.len() {
        assert!(t.read_access(text.get(..n).unwrap(), NOW).is_err(), "{n}");
        let mut bytes = text.clone().into_bytes();
        let b = bytes.get_mut(n).unwrap();
        *b = if *b == b'A' { b'B' } else { b'A' };
        assert!(t.read_access(&String::from_utf8(bytes).unwrap(), NOW).is_err(), "{n}");
    }
    assert!(t.read_access(&format!("{text}="), NOW).is_err());
    assert!(t.read_access(&format!("{text}.{text}"), NOW).is_err());
    assert!(t.read_access(&"a.".repeat(2_000), NOW).is_err());
}

#[test]
fn a_refresh_token_is_bound_to_install_number_salt_and_key() {
    let t = server(1);
    let text = t.refresh(WHO.install, 5, &[1; 16]);
    assert_eq!(text, t.refresh(WHO.install, 5, &[1; 16]));
    let claim = RefreshClaim::read(&text).unwrap();
    assert_eq!((claim.install, claim.generation), (WHO.install, 5));
    assert!(claim.genuine(t.secret(), &[1; 16]));
    assert!(!claim.genuine(t.secret(), &[2; 16]));
    assert!(!claim.genuine(server(2).secret(), &[1; 16]));
    assert!(!RefreshClaim { generation: 6, ..claim }.genuine(t.secret(), &[1; 16]));
    assert!(RefreshClaim::read(text.get(1..).unwrap()).is_none());
    assert!(RefreshClaim::read("").is_none());
}
