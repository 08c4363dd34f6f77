//! A stored value as it is told to people who take their data along: whole numbers as they are in the document,
//! lists as lists, a record that stands in one value field by field, times as moments. One form for the copy
//! that a server makes and for the one that a device makes. Knows no format of files.

use super::any;
use super::name::Kind;
use super::number::Speeds;
use super::spec::{Field as _, RecordSpec, Scalar};
use super::whole;
use crate::base::hex::hex;
use crate::base::moment::Moment;

/// A value, told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Told {
    /// A whole number, in the unit of the document.
    Int(i64),
    /// A text.
    Text(String),
    /// Yes or no.
    Bool(bool),
    /// A moment.
    Time(Moment),
    /// Several whole numbers.
    List(Vec<i64>),
    /// The fields of a record that stands in one value.
    Fields(Vec<(&'static str, Told)>),
    /// Bytes that this version cannot read, in hexadecimal.
    Hex(String),
}

impl Told {
    /// The value of a field.
    #[must_use]
    pub fn field(name: &str, value: &Scalar) -> Told {
        if let Some(list) = list(name, value) {
            return Told::List(list);
        }
        match value {
            Scalar::Int(n) => Told::Int(*n),
            Scalar::Text(t) => Told::Text(t.clone()),
            Scalar::Bool(b) => Told::Bool(*b),
            Scalar::Time(ms) => Told::Time(Moment(*ms)),
            Scalar::Bytes(bytes) => Told::Hex(hex(bytes)),
        }
    }

    /// A value that was written in a document of that kind: root map, keys, field, with slashes between.
    #[must_use]
    pub fn written(kind: Kind, path: &str, value: &Scalar) -> Told {
        match value {
            Scalar::Bytes(bytes) => whole_at(kind, path).and_then(|spec| fields(bytes, spec)),
            _ => None,
        }
        .unwrap_or_else(|| Told::field(path.rsplit('/').next().unwrap_or(path), value))
    }
}

/// The kind of record that stands in one value at a path.
fn whole_at(kind: Kind, path: &str) -> Option<&'static RecordSpec> {
    let mut parts = path.split('/');
    let mut spec = any::root(kind, parts.next()?)?.record;
    parts.next()?;
    while let Some(part) = parts.next() {
        let (name, inner) = spec.inner?;
        if name != part {
            return None;
        }
        parts.next()?;
        spec = inner;
    }
    spec.whole.then_some(spec)
}

fn fields(bytes: &[u8], spec: &'static RecordSpec) -> Option<Told> {
    let (values, newer) = whole::unpack(bytes, spec)?;
    let mut all = Vec::with_capacity(values.len());
    for (number, value) in values {
        let name = spec.fields.get(number)?.name;
        all.push((name, Told::field(name, &value)));
    }
    if newer {
        // Nothing is left out of a copy: what this version has no name for stands beside, as it is.
        all.push(("(newer)", Told::Hex(hex(bytes))));
    }
    Some(Told::Fields(all))
}

/// The numbers of a packed list, when the field is one.
#[must_use]
pub fn list(field: &str, value: &Scalar) -> Option<Vec<i64>> {
    match (field, value) {
        ("speeds", Scalar::Bytes(_)) => {
            Speeds::from_scalar(value).map(|s| s.mm_s().iter().map(|n| i64::from(*n)).collect())
        }
        ("flights" | "touches" | "splits" | "gaps" | "lateral", Scalar::Text(text)) => {
            text.split(',').filter(|n| !n.is_empty()).map(|n| n.parse().ok()).collect()
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::log::{SetDone, Work};
    use crate::model::number::{Load, Reps};
    use crate::model::spec::Record as _;

    const AT: Moment = Moment(1_795_600_800_000);

    fn set() -> SetDone {
        SetDone {
            load: Load::new(8_250).ok(),
            reps: Reps::new(5).ok(),
            speeds: Speeds::new(vec![620, 600]).ok(),
            splits: "1712,2801".parse().ok(),
            failed: Some(false),
            ..SetDone::new(AT)
        }
    }

    fn path() -> String {
        let (sets, _) = Work::SPEC.inner.unwrap();
        let (works, _) = crate::model::log::SessionDone::SPEC.inner.unwrap();
        format!("sessions/a-1/{works}/b-1/{sets}/c-1")
    }

    #[test]
    fn a_set_is_told_with_the_names_of_all_its_fields() {
        let set = set();
        let packed = Scalar::Bytes(whole::pack(&set.fields(), SetDone::SPEC));
        let Told::Fields(told) = Told::written(Kind::Log, &path(), &packed) else { panic!("no fields") };
        let of = |name: &str| told.iter().find(|(n, _)| *n == name).map(|(_, t)| t.clone());
        assert_eq!(told.len(), set.fields().len());
        assert_eq!(of("load"), Some(Told::Int(8_250)));
        assert_eq!(of("reps"), Some(Told::Int(5)));
        assert_eq!(of("speeds"), Some(Told::List(vec![620, 600])));
        assert_eq!(of("splits"), Some(Told::List(vec![1_712, 2_801])));
        assert_eq!(of("failed"), Some(Told::Bool(false)));
        assert_eq!(of("at"), Some(Told::Time(AT)));
    }

    #[test]
    fn what_is_no_set_is_told_by_its_field_and_what_cannot_be_read_as_it_is() {
        let packed = Scalar::Bytes(whole::pack(&set().fields(), SetDone::SPEC));
        // The same bytes where no set stands.
        for (kind, path) in [
            (Kind::Log, "sessions/a-1"),
            (Kind::Log, "sessions/a-1/none/b-1/sets/c-1"),
            (Kind::Log, "nothing/a-1"),
            (Kind::Log, "sessions"),
            (Kind::Plan, path().as_str()),
        ] {
            assert!(matches!(Told::written(kind, path, &packed), Told::Hex(_)), "{path}");
        }
        let broken = Scalar::Bytes(vec![255, 0, 7]);
        assert_eq!(Told::written(Kind::Log, &path(), &broken), Told::Hex("ff0007".to_owned()));
        let text = Scalar::Text("wet".to_owned());
        assert_eq!(Told::written(Kind::Log, "trials/a-1/conditions", &text), Told::Text("wet".to_owned()));
        assert_eq!(Told::written(Kind::Log, "trials/a-1/at", &Scalar::Time(AT.0)), Told::Time(AT));
        assert_eq!(Told::field("splits", &Scalar::Text("x".to_owned())), Told::Text("x".to_owned()));
    }

    #[test]
    fn every_kind_of_record_in_one_value_is_found_where_it_stands() {
        fn walk(kind: Kind, spec: &'static RecordSpec, path: &str, found: &mut usize) {
            if spec.whole {
                *found += 1;
                assert!(core::ptr::eq(whole_at(kind, path).unwrap(), spec), "{path}");
            }
            if let Some((name, inner)) = spec.inner {
                walk(kind, inner, &format!("{path}/{name}/k-1"), found);
            }
        }
        let mut found = 0;
        for kind in Kind::ALL {
            for root in any::roots(kind) {
                walk(kind, root.record, &format!("{}/k-1", root.name), &mut found);
            }
        }
        assert!(found > 0);
    }
}
