//! Deeds of three devices on one document, with exchanges in any order, doubled and cut deliveries, restarts and
//! clocks that jump. In the end all copies are equal, however the changes came.

use backstraight_core::doc::command::Command;
use backstraight_core::doc::command::apply::CommandError;
use backstraight_core::doc::open::Document;

use super::gate::kind;
use super::readers::everything;
use crate::content::content;
use crate::deed::{Deed, command};
use crate::fuzz::feed::Feed;
use crate::replica::{Replica, chunks, exchange, name};

/// Most steps of a script: enough for every pair of deeds to meet, and quick.
pub(crate) const MOST_STEPS: usize = 24;
/// Bytes of a step.
pub(crate) const STEP: usize = 6;

pub(crate) fn commands(input: &[u8]) -> bool {
    let mut feed = Feed::new(input);
    let kind = kind(feed.byte());
    let mut devices = [0, 1, 2].map(|n| Replica::new(kind, n + 1));
    let mut starts = [0_u8; 3];
    let mut last: [Option<Command>; 3] = [None, None, None];
    for _ in 0..MOST_STEPS {
        if feed.is_empty() {
            break;
        }
        let (what, who) = (feed.byte() % 20, usize::from(feed.byte()));
        let (deed_of, which, value) = (feed.byte(), feed.byte(), feed.short());
        let (one, other) = (who % 3, (who / 3) % 3);
        match what {
            0..=11 => {
                let deed = Deed { what: deed_of, which: u16::from(which) * 7, value: value % 400 };
                let Some(command) = command(&mut devices[one], deed) else { continue };
                if does(&mut devices[one], &command) {
                    last[one] = Some(command);
                }
            }
            12 => {
                // Taken back.
                let inverse = last[one].take().and_then(|c| inverse(&mut devices[one], &c));
                if let Some(inverse) = inverse {
                    does(&mut devices[one], &inverse);
                }
            }
            13 | 14 => send(&mut devices, one, other),
            15 => {
                send(&mut devices, one, other);
                send(&mut devices, other, one);
            }
            16 => {
                // Some of the changes, the last first, each twice.
                let bytes = devices[one].doc.changes_since(&[]);
                let mut parts = chunks(&bytes);
                parts.reverse();
                parts.truncate(1 + usize::from(which) % 8);
                for part in parts.iter().chain(&parts) {
                    devices[other].receive(part);
                }
            }
            17 => {
                // A new start of the app, from its disk.
                starts[one] = starts[one].wrapping_add(1);
                let saved = devices[one].doc.save();
                let doc = Document::open(name(kind), &saved).unwrap_or_else(|e| panic!("{e}"));
                assert_eq!(doc.heads(), devices[one].doc.heads());
                let now = devices[one].now;
                // What waited is gone with the app; it comes again.
                devices[one] = Replica::started(doc, u8::try_from(one).unwrap() + 1, starts[one]);
                devices[one].now = now;
            }
            18 => devices[one].now = devices[one].now.plus_ms((i64::from(value) - 32_768) * 60_000),
            _ => {}
        }
    }
    ends_equal(&mut devices);
    devices[0].doc.change_count() > 1
}

fn send(devices: &mut [Replica; 3], from: usize, to: usize) {
    if from != to {
        let bytes = devices[from].doc.changes_since(&devices[to].doc.heads());
        devices[to].receive(&bytes);
    }
}

/// Whether it was done. A list of problems is an answer; anything else is none.
fn does(device: &mut Replica, command: &Command) -> bool {
    let before = device.doc.heads();
    match device.try_do(command) {
        Ok(hash) => {
            assert!(device.doc.holds(&hash));
            true
        }
        Err(CommandError::Problems(list)) => {
            assert!(!list.is_empty());
            assert_eq!(device.doc.heads(), before, "what has problems is not done");
            false
        }
        Err(CommandError::Document(error)) => panic!("{error}"),
    }
}

fn inverse(device: &mut Replica, command: &Command) -> Option<Command> {
    let (key, at) = (device.key(), device.now);
    command.inverse(&key, at)
}

fn ends_equal(devices: &mut [Replica; 3]) {
    for _ in 0..2 {
        let [a, b, c] = devices;
        exchange(a, b);
        exchange(b, c);
        exchange(a, c);
    }
    let [a, b, c] = devices;
    for device in [&*a, &*b, &*c] {
        assert_eq!(device.waiting(), 0, "nothing waits once everything came");
        assert_eq!(device.doc.heads(), a.doc.heads());
    }
    let shown = content(&a.doc);
    assert_eq!(content(&b.doc), shown);
    assert_eq!(content(&c.doc), shown);
    // A device that gets all of it at once, and one that opens it from a disk.
    let mut fresh = Document::create(a.doc.name()).unwrap();
    fresh.admit(&a.doc.changes_since(&[]), &|_| true).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(content(&fresh), shown);
    let opened = Document::open(a.doc.name(), &b.doc.save()).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(content(&opened), shown);
    everything(&opened);
}
