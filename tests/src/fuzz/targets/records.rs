//! Records of every kind from stored values of any type, and records in one value from any bytes: read or refused,
//! and what is read is written again as it was.

use backstraight_core::base::day::Day;
use backstraight_core::model::any::AnyRecord;
use backstraight_core::model::care::*;
use backstraight_core::model::log::*;
use backstraight_core::model::plan::*;
use backstraight_core::model::spec::{FieldKind, Record, Scalar};
use backstraight_core::model::whole;
use backstraight_core::view::library::Library;
use backstraight_core::view::{judge, show};

use crate::fuzz::feed::Feed;

pub(crate) fn records(input: &[u8]) -> bool {
    let mut feed = Feed::new(input);
    let which = feed.byte();
    if which >= 0x80 {
        return in_one_value(feed.rest());
    }
    macro_rules! one_of {
        ($($name:ident),+ $(,)?) => {{
            let kinds: &[fn(Feed<'_>) -> bool] = &[$(any::<$name>),+];
            kinds[usize::from(which) % kinds.len()](feed)
        }};
    }
    one_of!(
        SetDone,
        Prescription,
        Exercise,
        Cue,
        Venue,
        Protocol,
        Template,
        Settings,
        SquadAbout,
        Member,
        Meet,
        SquadSession,
        Emphasis,
        Remark,
        PlanAbout,
        Phase,
        Week,
        Session,
        Group,
        Condition,
        Decision,
        SessionDone,
        Work,
        CheckIn,
        Trial,
        Comment,
        Observation,
        Competency,
        Entered,
        Excuse,
        Report,
        Assessment,
        Restriction,
        Availability,
    )
}

/// The place of a kind of record in the choice above, for the corpus.
pub(crate) const PRESCRIPTION: u8 = 1;

/// A stored value, mostly of the type that the field wants.
fn scalar(feed: &mut Feed<'_>, kind: FieldKind) -> Option<Scalar> {
    let text = |feed: &mut Feed<'_>| {
        let n = usize::from(feed.byte());
        String::from_utf8_lossy(feed.take(n)).into_owned()
    };
    Some(match (feed.byte(), kind) {
        (0, _) => return None,
        (1, _) => Scalar::Int(feed.long().cast_signed()),
        (2, _) => Scalar::Text(text(feed)),
        (3, _) => Scalar::Bytes(feed.piece().to_vec()),
        (4, _) => Scalar::Bool(feed.byte() % 2 == 1),
        (5, _) => Scalar::Time(feed.long().cast_signed()),
        (_, FieldKind::Int { min, max }) => {
            let span = max.abs_diff(min).saturating_add(3);
            Scalar::Int((min - 1).saturating_add_unsigned(feed.long() % span))
        }
        (_, FieldKind::Text { .. }) => Scalar::Text(text(feed)),
        (_, FieldKind::Bytes { .. }) => Scalar::Bytes(feed.piece().to_vec()),
        (_, FieldKind::Bool) => Scalar::Bool(feed.byte() % 2 == 1),
        (_, FieldKind::Time) => Scalar::Time(feed.long().cast_signed()),
    })
}

fn any<R: Record + Into<AnyRecord>>(mut feed: Feed<'_>) -> bool {
    let fields: Vec<(&str, Option<Scalar>)> =
        R::SPEC.fields.iter().map(|f| (f.name, scalar(&mut feed, f.kind))).collect();
    let mut get = |name: &'static str| fields.iter().find(|(n, _)| *n == name).and_then(|(_, v)| v.clone());
    let Ok((record, _)) = R::from_fields(&mut get) else { return false };
    written_again(&record);
    shown(&record.into());
    true
}

fn written_again<R: Record>(record: &R) {
    let fields = record.fields();
    for (name, value) in &fields {
        let (_, spec) = R::SPEC.field(name).unwrap();
        assert!(spec.kind.admits(value), "{name} is written within its limits");
    }
    let mut get = |name: &'static str| fields.iter().find(|(n, _)| *n == name).map(|(_, v)| v.clone());
    let (again, unread) = R::from_fields(&mut get).unwrap_or_else(|f| panic!("{f} does not read back"));
    assert!(unread.is_empty(), "{unread:?}");
    assert_eq!(again.fields(), fields);
}

fn shown(record: &AnyRecord) {
    let library = Library::default();
    for (name, value) in record.fields() {
        let _ = show::scalar(name, &value, &library);
    }
    match record {
        AnyRecord::SetDone(set) => set_shown(set),
        AnyRecord::Prescription(item) => {
            let _ = show::variation(item);
            let target = judge::target_now(item, item.sets);
            let _ = show::target(&target, &library);
            for n in 0..4 {
                let _ = judge::set_asked(n, Some(&target));
            }
        }
        AnyRecord::Settings(settings) => {
            let limits = backstraight_core::view::club::Thresholds::of(Some(settings));
            let _ = limits.season("2026-11-25".parse::<Day>().unwrap());
            let _ = judge::Tolerance::of(Some(settings));
        }
        _ => {}
    }
}

fn set_shown(set: &SetDone) {
    let _ = show::set(set);
    let asked = judge::set_asked(0, None);
    super::readers::sound("share", &judge::compare(&asked, set, judge::Tolerance::of(None)));
}

/// A set in one value.
fn in_one_value(bytes: &[u8]) -> bool {
    let fits = whole::fits(bytes, SetDone::SPEC);
    let read = whole::unpack(bytes, SetDone::SPEC);
    assert!(read.is_some() || !fits, "what fits can be read");
    let Some((values, newer)) = read else { return false };
    let named: Vec<(&'static str, Scalar)> =
        values.into_iter().map(|(n, v)| (SetDone::SPEC.fields[n].name, v)).collect();
    let packed = whole::pack(&named, SetDone::SPEC);
    let again = whole::unpack(&packed, SetDone::SPEC);
    if !newer {
        let again = again.map(|(list, _)| list.into_iter().map(|(_, v)| v).collect::<Vec<_>>());
        assert_eq!(again, Some(named.iter().map(|(_, v)| v.clone()).collect()), "a set reads back");
    }
    let mut get = |name: &'static str| named.iter().find(|(n, _)| *n == name).map(|(_, v)| v.clone());
    if let Ok((set, unread)) = SetDone::from_fields(&mut get) {
        written_again(&set);
        set_shown(&set);
        assert!(!fits || unread.len() <= named.len());
    }
    fits
}
