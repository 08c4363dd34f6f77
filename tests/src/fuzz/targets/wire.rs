//! What comes over the wire: the small form of changes, requests, answers, packed bodies, the stream of nudges.

use std::io::Write as _;

use backstraight_core::base::moment::Moment;
use backstraight_core::doc::thin::{ThinLimits, pack, unpack};
use backstraight_core::exchange::carry::{MAX_PLAIN, Parcel};
use backstraight_core::exchange::device::{Standing, read};
use backstraight_core::exchange::nudge::{Nudge, Reader, event};
use backstraight_core::exchange::signed;
use backstraight_core::exchange::wire::{Down, MAX_BODY, Up, heads, name};
use backstraight_server::exchange::gzip;
use flate2::Compression;
use flate2::write::DeflateEncoder;

use crate::fuzz::feed::Feed;

/// The small form. The first byte says which layers are made anew around the rest.
pub(crate) fn thin(input: &[u8]) -> bool {
    let mut feed = Feed::new(input);
    let what = feed.byte() % 4;
    let rest = feed.rest();
    match what {
        0 => unpacks(rest),
        1 => unpacks(&deflated(1, rest)),
        2 => unpacks(&deflated(2, rest)),
        _ => {
            let packed = pack(rest);
            assert!(packed.len() <= rest.len() + 1);
            assert_eq!(unpack(&packed, ThinLimits::default()).as_deref(), Ok(rest));
            packed.first() == Some(&2)
        }
    }
}

pub(crate) fn deflated(form: u8, body: &[u8]) -> Vec<u8> {
    let mut encoder = DeflateEncoder::new(vec![form], Compression::fast());
    encoder.write_all(body).unwrap();
    encoder.finish().unwrap()
}

fn unpacks(packed: &[u8]) -> bool {
    let most = ThinLimits { bytes: 1 << 20, changes: 500 };
    let Ok(plain) = unpack(packed, most) else { return false };
    assert!(plain.len() <= most.bytes);
    assert_eq!(unpack(&pack(&plain), ThinLimits::default()).as_deref(), Ok(plain.as_slice()));
    true
}

/// Requests and answers, and what they are wrapped in.
pub(crate) fn exchange(input: &[u8]) -> bool {
    let mut feed = Feed::new(input);
    let what = feed.byte() % 4;
    let rest = feed.rest();
    match what {
        0 => up(rest),
        1 => down(rest),
        2 => {
            let Ok(plain) = gzip::unpack(rest, MAX_BODY, 100) else { return false };
            let again = gzip::pack(&plain);
            assert_eq!(gzip::unpack(&again, MAX_BODY, 1_000).as_deref(), Ok(plain.as_slice()));
            up(&plain)
        }
        _ => nudges(rest),
    }
}

fn up(bytes: &[u8]) -> bool {
    let Ok(up) = Up::from_bytes(bytes) else { return false };
    let again = up.to_bytes();
    assert_eq!(Up::from_bytes(&again).as_ref(), Ok(&up), "a request reads back");
    for doc in &up.docs {
        assert!(name(&doc.name).is_ok() && heads(&doc.heads).is_ok());
        if let Some(packed) = &doc.changes {
            let _ = unpack(packed, ThinLimits::default());
        }
    }
    parcels(up.carried.as_deref().unwrap_or_default());
    true
}

/// Parcels are of a sound form once they are read; what they hold is read or refused.
pub(crate) fn parcels(list: &[Parcel]) {
    let mut room = MAX_PLAIN;
    for parcel in list {
        let document = parcel.document().unwrap();
        parcel.form().unwrap();
        let Ok(plain) = parcel.plain(&mut room) else { continue };
        let Ok(changes) = signed::changes(&plain) else { continue };
        let _ = signed::verify(&document, &changes, &parcel.signatures, &|_| Some([3; 32]));
        assert!(signed::signers(&parcel.signatures).count() <= parcel.signatures.len());
    }
}

fn down(bytes: &[u8]) -> bool {
    let Ok(down) = Down::from_bytes(bytes) else { return false };
    assert_eq!(Down::from_bytes(&down.to_bytes()).as_ref(), Ok(&down), "an answer reads back");
    let standing = Standing {
        epoch: Some([7; 16]),
        people: 1,
        local_day: None,
        clock: Moment(i64::MAX),
        app: String::new(),
    };
    read(&down, &standing).is_ok()
}

/// However the stream is cut, it says the same.
fn nudges(bytes: &[u8]) -> bool {
    let mut feed = Feed::new(bytes);
    let cut = usize::from(feed.byte()).max(1);
    let rest = feed.rest();
    let whole = Reader::default().take(rest);
    let mut reader = Reader::default();
    let parts: Result<Vec<_>, _> = rest.chunks(cut).map(|part| reader.take(part)).collect();
    assert_eq!(parts.map(|p| p.concat()), whole);
    let heard = whole.unwrap_or_default();
    for heard in &heard {
        if let backstraight_core::exchange::nudge::Heard::Event(nudge, _) = heard {
            let told = event("1", nudge);
            assert!(Reader::default().take(told.as_bytes()).is_ok());
            assert!(!matches!(nudge, Nudge::News(names) if names.len() > 256));
        }
    }
    !heard.is_empty()
}
