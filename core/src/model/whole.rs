//! A record in one value: for records that are written once and never changed, such as a set.
//! One value costs a document one operation where a map with its fields costs one for each and more.
//!
//! The form is a CBOR map (RFC 8949) from the number of a field, counted from 1 in declared order,
//! to its value: whole numbers as integers, moments as whole seconds since 1970, texts, byte strings,
//! truths. Numbers stand ascending, each once; fields are only ever added at the end, and a number
//! beyond those known is skipped. Knows no document engine.

use minicbor::data::Type;
use minicbor::{Decoder, Encoder};

use super::spec::{FieldKind, FieldSpec, RecordSpec, Scalar, ScalarRef};

/// Most bytes of a whole record.
pub const MOST: usize = 8 << 10;

/// A record's fields in one value. They must stand in declared order.
#[must_use]
pub fn pack(fields: &[(&'static str, Scalar)], spec: &RecordSpec) -> Vec<u8> {
    // Writing to memory does not fail; and no bytes at all would be refused everywhere.
    encode(fields, spec).unwrap_or_default()
}

fn encode(
    fields: &[(&'static str, Scalar)],
    spec: &RecordSpec,
) -> Result<Vec<u8>, minicbor::encode::Error<core::convert::Infallible>> {
    let mut out = Encoder::new(Vec::with_capacity(64));
    out.map(fields.len() as u64)?;
    for (name, value) in fields {
        out.u64(spec.fields.iter().position(|s| s.name == *name).map_or(0, |n| n as u64 + 1))?;
        match value {
            Scalar::Int(n) => out.i64(*n)?,
            Scalar::Time(ms) => out.i64(ms.div_euclid(1000))?,
            Scalar::Text(t) => out.str(t)?,
            Scalar::Bytes(b) => out.bytes(b)?,
            Scalar::Bool(b) => out.bool(*b)?,
        };
    }
    Ok(out.into_writer())
}

/// A record's values with the numbers of their fields, counted from 0, ascending.
pub type Values = Vec<(usize, Scalar)>;

/// The values again, and whether there were some that this version does not know. `None` when the
/// bytes are no such value.
#[must_use]
pub fn unpack(bytes: &[u8], spec: &'static RecordSpec) -> Option<(Values, bool)> {
    let mut values = Vec::with_capacity(8);
    let mut newer = false;
    each(bytes, spec, |part| {
        match part {
            Some((number, _, value)) => values.push((number, value.owned())),
            None => newer = true,
        }
        Some(())
    })?;
    Some((values, newer))
}

/// Whether the bytes are such a value, every known field within its kind and those that are needed
/// there.
#[must_use]
pub fn fits(bytes: &[u8], spec: &'static RecordSpec) -> bool {
    let mut needed = 0;
    let read = each(bytes, spec, |part| {
        let Some((number, field, value)) = part else { return Some(()) };
        needed += usize::from(number < spec.required);
        (field.kind.judges(value) == Some(true)).then_some(())
    });
    read.is_some() && needed == spec.required
}

/// Walks the fields: each known one with its description, `None` for one of a newer version.
fn each<'b>(
    bytes: &'b [u8],
    spec: &'static RecordSpec,
    mut part: impl FnMut(Option<(usize, &'static FieldSpec, ScalarRef<'b>)>) -> Option<()>,
) -> Option<()> {
    if bytes.len() > MOST {
        return None;
    }
    let mut from = Decoder::new(bytes);
    let mut before = 0;
    for _ in 0..from.map().ok()?? {
        let number = from.u64().ok().filter(|n| *n > before)?;
        before = number;
        let place = usize::try_from(number).ok()?.checked_sub(1)?;
        let field = spec.fields.get(place);
        let value = match from.datatype().ok()? {
            Type::U8 | Type::U16 | Type::U32 | Type::U64 | Type::I8 | Type::I16 | Type::I32 | Type::I64 => {
                let n = from.i64().ok()?;
                let moment = field.is_some_and(|f| f.kind == FieldKind::Time);
                if moment { ScalarRef::Time(n.checked_mul(1000)?) } else { ScalarRef::Int(n) }
            }
            Type::String => ScalarRef::Text(from.str().ok()?),
            Type::Bytes => ScalarRef::Bytes(from.bytes().ok()?),
            Type::Bool => ScalarRef::Bool(from.bool().ok()?),
            _ => return None,
        };
        part(field.map(|f| (place, f, value)))?;
    }
    (from.position() == bytes.len()).then_some(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::key::Key;
    use crate::base::moment::Moment;
    use crate::model::log::SetDone;
    use crate::model::number::{Load, Reps, Speeds};
    use crate::model::spec::Record as _;

    static SPEC: RecordSpec = RecordSpec {
        name: "thing",
        fields: &[
            FieldSpec { name: "a", kind: FieldKind::Int { min: 0, max: 9 } },
            FieldSpec { name: "b", kind: FieldKind::Text { max: 3 } },
            FieldSpec { name: "c", kind: FieldKind::Time },
        ],
        required: 1,
        inner: None,
        whole: true,
    };

    fn taken(bytes: &[u8]) -> bool {
        let fits = fits(bytes, &SPEC);
        assert!(!fits || unpack(bytes, &SPEC).is_some());
        fits
    }

    #[test]
    fn the_form_is_the_standards() {
        // RFC 8949, appendix A: {1: 2, 3: 4} is a2 01 02 03 04.
        let parts = [("a", Scalar::Int(2)), ("c", Scalar::Time(4_000))];
        let bytes = pack(&parts, &SPEC);
        assert_eq!(bytes, [0xa2, 1, 2, 3, 4]);
        assert!(taken(&bytes));
        let values = vec![(0, Scalar::Int(2)), (2, Scalar::Time(4_000))];
        assert_eq!(unpack(&bytes, &SPEC).unwrap(), (values, false));
    }

    #[test]
    fn what_is_no_such_value_does_not_fit() {
        for (bytes, why) in [
            (&[][..], "no bytes"),
            (&[0xa0], "the required part is missing"),
            (&[0xa1, 3, 4], "the required part is missing, another is there"),
            (&[0xa1, 1, 10], "out of range"),
            (&[0xa1, 1, 0x61, b'x'], "another type"),
            (&[0xa1, 1, 2, 0], "bytes left over"),
            (&[0xa2, 1, 2, 1, 2], "a part twice"),
            (&[0xa2, 3, 4, 1, 2], "not ascending"),
            (&[0xa2, 0, 4, 1, 2], "number 0"),
            (&[0xa2, 1, 2], "truncated"),
            (
                &[0xa2, 1, 2, 3, 0x1b, 0x7f, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff],
                "a moment beyond all time",
            ),
            (&[0xa1, 1, 0xf9, 0x3c, 0], "a floating-point number"),
            (&[0xbf, 1, 2, 0xff], "a map without its length"),
            (&[0xa2, 1, 2, 2, 0x62, 0xff, 0xff], "text that is not UTF-8"),
            (&[0xa2, 1, 2, 2, 0x64, b'a', b'a', b'a', b'a'], "text too long"),
            (&[0xa2, 1, 2, 7, 0x81, 1], "a list, even in a newer part"),
            (&[0x82, 1, 2], "a list"),
        ] {
            assert!(!taken(bytes), "{why}");
        }
        let mut long = vec![0xa2, 1, 2, 9, 0x59, 0x20, 0];
        long.resize(7 + 0x2000, 0);
        assert!(!taken(&long), "over the limit");
    }

    #[test]
    fn a_newer_part_is_skipped_and_said() {
        let newer = [0xa2, 1, 2, 4, 0x61, b'x'];
        assert!(taken(&newer));
        assert_eq!(unpack(&newer, &SPEC).unwrap(), (vec![(0, Scalar::Int(2))], true));
    }

    #[test]
    fn a_set_reads_back() {
        let mut set = SetDone::new(Moment(1_790_000_000_123));
        set.load = Some(Load::new(12_250).unwrap());
        set.reps = Some(Reps::new(5).unwrap());
        set.speeds = Some(Speeds::new(vec![620, 588]).unwrap());
        set.amends = Some("abcdef-1".parse::<Key>().unwrap());
        set.failed = Some(true);
        let bytes = pack(&set.fields(), SetDone::SPEC);
        assert!(fits(&bytes, SetDone::SPEC));
        let (values, newer) = unpack(&bytes, SetDone::SPEC).unwrap();
        assert!(!newer);
        let mut get = |name: &'static str| {
            values.iter().find(|(n, _)| SetDone::SPEC.fields[*n].name == name).map(|f| f.1.clone())
        };
        // To the second.
        set.at = Moment(1_790_000_000_000);
        assert_eq!(SetDone::from_fields(&mut get), Ok((set, Vec::new())));
    }
}
