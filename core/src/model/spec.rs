//! What a record is made of: the one description from which readers, writers and the gate work.
//! Knows no document engine and no wire.

use crate::base::day::Day;
use crate::base::id::PersonId;
use crate::base::key::Key;
use crate::base::moment::Moment;

/// One stored value, as the documents hold it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Scalar {
    /// A whole number in the unit that its field declares.
    Int(i64),
    /// Text, or a packed value in words (`docs/formats.md`).
    Text(String),
    /// Raw bytes, such as the bar speeds of a set.
    Bytes(Vec<u8>),
    /// Yes or no.
    Bool(bool),
    /// An instant in milliseconds.
    Time(i64),
}

/// A stored value where it stands, not copied.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ScalarRef<'a> {
    /// See [`Scalar::Int`].
    Int(i64),
    /// See [`Scalar::Text`].
    Text(&'a str),
    /// See [`Scalar::Bytes`].
    Bytes(&'a [u8]),
    /// See [`Scalar::Bool`].
    Bool(bool),
    /// See [`Scalar::Time`].
    Time(i64),
}

impl ScalarRef<'_> {
    /// A copy of its own.
    #[must_use]
    pub fn owned(self) -> Scalar {
        match self {
            ScalarRef::Int(n) => Scalar::Int(n),
            ScalarRef::Text(t) => Scalar::Text(t.to_owned()),
            ScalarRef::Bytes(b) => Scalar::Bytes(b.to_vec()),
            ScalarRef::Bool(b) => Scalar::Bool(b),
            ScalarRef::Time(ms) => Scalar::Time(ms),
        }
    }
}

impl Scalar {
    /// The same, not copied.
    #[must_use]
    pub fn borrowed(&self) -> ScalarRef<'_> {
        match self {
            Scalar::Int(n) => ScalarRef::Int(*n),
            Scalar::Text(t) => ScalarRef::Text(t),
            Scalar::Bytes(b) => ScalarRef::Bytes(b),
            Scalar::Bool(b) => ScalarRef::Bool(*b),
            Scalar::Time(ms) => ScalarRef::Time(*ms),
        }
    }
}

/// What a field may hold: checked when writing, when reading and by the gate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FieldKind {
    /// A whole number from `min` to `max`.
    Int {
        /// Least value.
        min: i64,
        /// Greatest value.
        max: i64,
    },
    /// Text of at most `max` bytes.
    Text {
        /// Most bytes of UTF-8.
        max: usize,
    },
    /// At most `max` bytes.
    Bytes {
        /// Most bytes.
        max: usize,
    },
    /// Yes or no.
    Bool,
    /// An instant; its plausibility is a matter of the command, not of the type.
    Time,
}

impl FieldKind {
    /// Whether `value` may stand in such a field.
    #[must_use]
    pub fn admits(self, value: &Scalar) -> bool {
        self.judges(value.borrowed()) == Some(true)
    }

    /// Whether a value is within its limits; `None` when it is of another type.
    #[must_use]
    pub fn judges(self, value: ScalarRef<'_>) -> Option<bool> {
        match (self, value) {
            (FieldKind::Int { min, max }, ScalarRef::Int(n)) => Some((min..=max).contains(&n)),
            (FieldKind::Text { max }, ScalarRef::Text(t)) => Some(t.len() <= max),
            (FieldKind::Bytes { max }, ScalarRef::Bytes(b)) => Some(b.len() <= max),
            (FieldKind::Bool, ScalarRef::Bool(_)) | (FieldKind::Time, ScalarRef::Time(_)) => Some(true),
            _ => None,
        }
    }
}

/// A field of a record.
#[derive(Debug, Clone, Copy)]
pub struct FieldSpec {
    /// Its key in the document.
    pub name: &'static str,
    /// What it may hold.
    pub kind: FieldKind,
}

/// Every record may carry this: when somebody withdrew it. Nothing is ever deleted.
pub const GONE: FieldSpec = FieldSpec { name: "gone", kind: FieldKind::Time };

/// A kind of record.
#[derive(Debug)]
pub struct RecordSpec {
    /// Its name in messages.
    pub name: &'static str,
    /// Its fields, `gone` apart; those that are needed first.
    pub fields: &'static [FieldSpec],
    /// How many are needed.
    pub required: usize,
    /// Whether it stands in one value ([`super::whole`]): written once, never edited, without `gone`
    /// and without records inside.
    pub whole: bool,
    /// The map of records inside each record, if any: its key and what it holds.
    pub inner: Option<(&'static str, &'static RecordSpec)>,
}

impl RecordSpec {
    /// The field of that name and its number, `gone` included, after all others.
    #[must_use]
    pub fn field(&self, name: &str) -> Option<(usize, &FieldSpec)> {
        let place = self.fields.iter().position(|f| f.name == name);
        match place {
            Some(n) => self.fields.get(n).map(|f| (n, f)),
            None => (name == GONE.name && !self.whole).then_some((self.fields.len(), &GONE)),
        }
    }
}

/// A map of records at the root of a document.
#[derive(Debug)]
pub struct RootSpec {
    /// Its key at the root.
    pub name: &'static str,
    /// What it holds.
    pub record: &'static RecordSpec,
    /// Whether it holds just the one record `main`, made by the fixed starting change.
    pub single: bool,
}

/// A value that a field can hold.
pub trait Field: Sized {
    /// What the document may hold for it.
    const KIND: FieldKind;
    /// To the stored form.
    fn to_scalar(&self) -> Scalar;
    /// From the stored form; `None` when it is not one of ours (or of a newer version).
    fn from_scalar(value: &Scalar) -> Option<Self>;
}

/// A record that can be taken apart into stored fields and put together again.
pub trait Record: Sized + Clone {
    /// Its description.
    const SPEC: &'static RecordSpec;
    /// The fields that are set, in declared order.
    fn fields(&self) -> Vec<(&'static str, Scalar)>;
    /// From stored fields. Unreadable optional fields are named in the second part.
    ///
    /// # Errors
    /// The name of a required field that is missing or unreadable.
    fn from_fields(
        get: &mut dyn FnMut(&'static str) -> Option<Scalar>,
    ) -> Result<(Self, Vec<&'static str>), &'static str>;
}

/// Declares a record type: the struct, its description, reader and writer. `whole` is for records
/// in one value.
macro_rules! record {
    (
        $(#[$doc:meta])*
        $name:ident = $spec:literal $( => $inner:literal: $inner_ty:ty )? $( , $whole:ident )? {
            required { $( $(#[$rdoc:meta])* $req:ident: $rty:ty, )* }
            optional { $( $(#[$odoc:meta])* $opt:ident: $oty:ty, )* }
        }
    ) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Eq)]
        pub struct $name {
            $( $(#[$rdoc])* pub $req: $rty, )*
            $( $(#[$odoc])* pub $opt: Option<$oty>, )*
        }

        impl $name {
            /// With its required fields; everything else is left open.
            #[must_use]
            pub const fn new($( $req: $rty, )*) -> Self {
                $name { $( $req, )* $( $opt: None, )* }
            }
        }

        impl $crate::model::spec::Record for $name {
            // A static, because descriptions are compared by address, and a constant may have
            // another address in each crate that uses it.
            const SPEC: &'static $crate::model::spec::RecordSpec = {
                static SPEC: $crate::model::spec::RecordSpec = $crate::model::spec::RecordSpec {
                    name: $spec,
                    fields: &[
                        $( $crate::model::spec::FieldSpec {
                            name: stringify!($req),
                            kind: <$rty as $crate::model::spec::Field>::KIND,
                        }, )*
                        $( $crate::model::spec::FieldSpec {
                            name: stringify!($opt),
                            kind: <$oty as $crate::model::spec::Field>::KIND,
                        }, )*
                    ],
                    required: <[&str]>::len(&[$( stringify!($req) ),*]),
                    inner: $crate::model::spec::record!(@inner $( $inner: $inner_ty )?),
                    whole: $crate::model::spec::record!(@whole $( $whole )?),
                };
                &SPEC
            };

            fn fields(&self) -> Vec<(&'static str, $crate::model::spec::Scalar)> {
                use $crate::model::spec::Field as _;
                let required = [ $( (stringify!($req), self.$req.to_scalar()), )* ];
                let optional = [ $( self.$opt.as_ref().map(|v| (stringify!($opt), v.to_scalar())), )* ];
                required.into_iter().chain(optional.into_iter().flatten()).collect()
            }

            fn from_fields(
                get: &mut dyn FnMut(&'static str) -> Option<$crate::model::spec::Scalar>,
            ) -> Result<(Self, Vec<&'static str>), &'static str> {
                let mut unread: Vec<&'static str> = Vec::new();
                let record = $name {
                    $( $req: get(stringify!($req))
                        .and_then(|v| <$rty as $crate::model::spec::Field>::from_scalar(&v))
                        .ok_or(stringify!($req))?, )*
                    $( $opt: match get(stringify!($opt)) {
                        None => None,
                        Some(v) => {
                            let field = <$oty as $crate::model::spec::Field>::from_scalar(&v);
                            if field.is_none() { unread.push(stringify!($opt)); }
                            field
                        }
                    }, )*
                };
                Ok((record, unread))
            }
        }
    };
    (@whole) => { false };
    (@whole whole) => { true };
    (@inner) => { None };
    (@inner $inner:literal: $inner_ty:ty) => {
        Some(($inner, <$inner_ty as $crate::model::spec::Record>::SPEC))
    };
}
pub(crate) use record;

macro_rules! plain_field {
    ($ty:ty, $kind:expr, $to:expr, $from:expr) => {
        impl Field for $ty {
            const KIND: FieldKind = $kind;
            fn to_scalar(&self) -> Scalar {
                let to: fn(&$ty) -> Scalar = $to;
                to(self)
            }
            fn from_scalar(value: &Scalar) -> Option<Self> {
                let from: fn(&Scalar) -> Option<$ty> = $from;
                from(value).filter(|_| Self::KIND.admits(value))
            }
        }
    };
}

fn text_of(value: &Scalar) -> Option<&str> {
    match value {
        Scalar::Text(t) => Some(t),
        _ => None,
    }
}

plain_field!(bool, FieldKind::Bool, |b| Scalar::Bool(*b), |v| match v {
    Scalar::Bool(b) => Some(*b),
    _ => None,
});
plain_field!(Moment, FieldKind::Time, |m| Scalar::Time(m.0), |v| match v {
    Scalar::Time(ms) => Some(Moment(*ms)),
    _ => None,
});
plain_field!(Day, FieldKind::Text { max: 10 }, |d| Scalar::Text(d.to_string()), |v| text_of(v)?.parse().ok());
plain_field!(Key, FieldKind::Text { max: 16 }, |k| Scalar::Text(k.to_string()), |v| text_of(v)?.parse().ok());
plain_field!(PersonId, FieldKind::Text { max: 36 }, |p| Scalar::Text(p.to_string()), |v| text_of(v)?
    .parse()
    .ok());
