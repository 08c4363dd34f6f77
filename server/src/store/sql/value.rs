//! The values that databases keep, and how values of Rust become them and are made of them again.

use std::borrow::Cow;

/// Why a value is not what was asked for.
pub type Why = Box<dyn std::error::Error + Send + Sync>;

/// A value as it is kept.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Value<'a> {
    /// Nothing.
    Null,
    /// A whole number; truth is 0 or 1.
    Integer(i64),
    /// A number.
    Real(f64),
    /// Text.
    Text(&'a str),
    /// Bytes.
    Blob(&'a [u8]),
}

impl<'a> Value<'a> {
    /// Its kind, in words.
    const fn kind(self) -> &'static str {
        match self {
            Value::Null => "nothing",
            Value::Integer(_) => "a whole number",
            Value::Real(_) => "a number",
            Value::Text(_) => "text",
            Value::Blob(_) => "bytes",
        }
    }

    fn not(self, wanted: &str) -> Why {
        format!("{} where {wanted} should be", self.kind()).into()
    }

    /// The bytes.
    ///
    /// # Errors
    /// When it is something else.
    pub fn as_blob(self) -> Result<&'a [u8], Why> {
        match self {
            Value::Blob(bytes) => Ok(bytes),
            other => Err(other.not("bytes")),
        }
    }

    /// The text.
    ///
    /// # Errors
    /// When it is something else.
    pub fn as_str(self) -> Result<&'a str, Why> {
        match self {
            Value::Text(text) => Ok(text),
            other => Err(other.not("text")),
        }
    }

    /// The number.
    ///
    /// # Errors
    /// When it is something else.
    pub fn as_i64(self) -> Result<i64, Why> {
        match self {
            Value::Integer(n) => Ok(n),
            other => Err(other.not("a whole number")),
        }
    }

    /// The bytes, or nothing.
    ///
    /// # Errors
    /// When it is something else.
    pub fn as_blob_or_null(self) -> Result<Option<&'a [u8]>, Why> {
        self.or_null(Value::as_blob)
    }

    /// The text, or nothing.
    ///
    /// # Errors
    /// When it is something else.
    pub fn as_str_or_null(self) -> Result<Option<&'a str>, Why> {
        self.or_null(Value::as_str)
    }

    fn or_null<T>(self, read: impl FnOnce(Value<'a>) -> Result<T, Why>) -> Result<Option<T>, Why> {
        match self {
            Value::Null => Ok(None),
            other => read(other).map(Some),
        }
    }
}

/// What can be kept.
pub trait ToSql {
    /// As it is kept.
    fn value(&self) -> Value<'_>;
}

impl ToSql for Value<'_> {
    fn value(&self) -> Value<'_> {
        *self
    }
}

/// What can be made of a kept value.
pub trait FromSql: Sized {
    /// Makes it.
    ///
    /// # Errors
    /// When it is another kind of value, or out of range.
    fn from_value(value: Value<'_>) -> Result<Self, Why>;
}

macro_rules! whole_numbers {
    ($($small:ty),*) => {$(
        impl ToSql for $small {
            fn value(&self) -> Value<'_> {
                Value::Integer(i64::from(*self))
            }
        }

        impl FromSql for $small {
            fn from_value(value: Value<'_>) -> Result<$small, Why> {
                Ok(<$small>::try_from(value.as_i64()?)?)
            }
        }
    )*};
}
whole_numbers!(i64, i32, i16, u32, u16, u8);

impl ToSql for bool {
    fn value(&self) -> Value<'_> {
        Value::Integer(i64::from(*self))
    }
}

impl FromSql for bool {
    fn from_value(value: Value<'_>) -> Result<bool, Why> {
        Ok(value.as_i64()? != 0)
    }
}

impl ToSql for f64 {
    fn value(&self) -> Value<'_> {
        Value::Real(*self)
    }
}

impl FromSql for f64 {
    fn from_value(value: Value<'_>) -> Result<f64, Why> {
        match value {
            Value::Real(x) => Ok(x),
            other => Err(other.not("a number")),
        }
    }
}

impl ToSql for str {
    fn value(&self) -> Value<'_> {
        Value::Text(self)
    }
}

impl ToSql for String {
    fn value(&self) -> Value<'_> {
        Value::Text(self)
    }
}

impl FromSql for String {
    fn from_value(value: Value<'_>) -> Result<String, Why> {
        value.as_str().map(str::to_owned)
    }
}

impl ToSql for [u8] {
    fn value(&self) -> Value<'_> {
        Value::Blob(self)
    }
}

impl ToSql for Vec<u8> {
    fn value(&self) -> Value<'_> {
        Value::Blob(self)
    }
}

impl FromSql for Vec<u8> {
    fn from_value(value: Value<'_>) -> Result<Vec<u8>, Why> {
        value.as_blob().map(<[u8]>::to_vec)
    }
}

impl<const N: usize> ToSql for [u8; N] {
    fn value(&self) -> Value<'_> {
        Value::Blob(self)
    }
}

impl<const N: usize> FromSql for [u8; N] {
    fn from_value(value: Value<'_>) -> Result<[u8; N], Why> {
        let bytes = value.as_blob()?;
        bytes.try_into().map_err(|_| format!("{} bytes where {N} should be", bytes.len()).into())
    }
}

impl<T: ToSql + ?Sized> ToSql for &T {
    fn value(&self) -> Value<'_> {
        (**self).value()
    }
}

impl<T: ToSql + ToOwned + ?Sized> ToSql for Cow<'_, T> {
    fn value(&self) -> Value<'_> {
        (**self).value()
    }
}

impl<T: ToSql> ToSql for Option<T> {
    fn value(&self) -> Value<'_> {
        self.as_ref().map_or(Value::Null, T::value)
    }
}

impl<T: FromSql> FromSql for Option<T> {
    fn from_value(value: Value<'_>) -> Result<Option<T>, Why> {
        value.or_null(T::from_value)
    }
}

/// Values for a statement's parameters, in order: `[]`, an array of one kind, a tuple, or what
/// `params!` makes.
pub trait Params {
    /// Hands them over.
    fn with<R>(&self, take: impl FnOnce(&[Value<'_>]) -> R) -> R;
}

impl Params for [&dyn ToSql; 0] {
    fn with<R>(&self, take: impl FnOnce(&[Value<'_>]) -> R) -> R {
        take(&[])
    }
}

impl Params for &[&dyn ToSql] {
    fn with<R>(&self, take: impl FnOnce(&[Value<'_>]) -> R) -> R {
        take(&self.iter().map(|v| v.value()).collect::<Vec<_>>())
    }
}

macro_rules! arrays {
    ($($n:literal),*) => {$(
        impl<T: ToSql> Params for [T; $n] {
            fn with<R>(&self, take: impl FnOnce(&[Value<'_>]) -> R) -> R {
                take(&self.each_ref().map(T::value))
            }
        }
    )*};
}
arrays!(1, 2, 3, 4, 5, 6);

macro_rules! tuples {
    ($(($($name:ident $place:tt),+))*) => {$(
        impl<$($name: ToSql),+> Params for ($($name,)+) {
            fn with<R>(&self, take: impl FnOnce(&[Value<'_>]) -> R) -> R {
                take(&[$(self.$place.value()),+])
            }
        }
    )*};
}
tuples! {
    (A 0)
    (A 0, B 1)
    (A 0, B 1, C 2)
    (A 0, B 1, C 2, D 3)
    (A 0, B 1, C 2, D 3, E 4)
    (A 0, B 1, C 2, D 3, E 4, F 5)
    (A 0, B 1, C 2, D 3, E 4, F 5, G 6)
    (A 0, B 1, C 2, D 3, E 4, F 5, G 6, H 7)
    (A 0, B 1, C 2, D 3, E 4, F 5, G 6, H 7, I 8)
    (A 0, B 1, C 2, D 3, E 4, F 5, G 6, H 7, I 8, J 9)
    (A 0, B 1, C 2, D 3, E 4, F 5, G 6, H 7, I 8, J 9, K 10)
    (A 0, B 1, C 2, D 3, E 4, F 5, G 6, H 7, I 8, J 9, K 10, L 11)
    (A 0, B 1, C 2, D 3, E 4, F 5, G 6, H 7, I 8, J 9, K 10, L 11, M 12)
    (A 0, B 1, C 2, D 3, E 4, F 5, G 6, H 7, I 8, J 9, K 10, L 11, M 12, N 13)
    (A 0, B 1, C 2, D 3, E 4, F 5, G 6, H 7, I 8, J 9, K 10, L 11, M 12, N 13, O 14)
    (A 0, B 1, C 2, D 3, E 4, F 5, G 6, H 7, I 8, J 9, K 10, L 11, M 12, N 13, O 14, P 15)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_come_back_as_they_were() {
        assert_eq!(i64::from_value(i64::MIN.value()).unwrap(), i64::MIN);
        assert_eq!(Option::<u32>::from_value(None::<u32>.value()).unwrap(), None);
        assert_eq!(Option::<bool>::from_value(Some(true).value()).unwrap(), Some(true));
        assert_eq!(String::from_value("a".value()).unwrap(), "a");
        assert_eq!(<[u8; 2]>::from_value([1, 2].value()).unwrap(), [1, 2]);
        assert_eq!(f64::from_value(0.5.value()).unwrap(), 0.5);
    }

    #[test]
    fn another_kind_is_refused_and_never_guessed() {
        assert!(u32::from_value(Value::Integer(-1)).is_err());
        assert!(i64::from_value(Value::Text("1")).is_err());
        assert!(String::from_value(Value::Blob(b"a")).is_err());
        assert!(<[u8; 3]>::from_value(Value::Blob(b"ab")).is_err());
        assert!(i64::from_value(Value::Null).is_err());
    }

    #[test]
    fn tuples_and_lists_hand_their_values_over_in_order() {
        let all = [Value::Integer(1), Value::Text("a"), Value::Null];
        assert!((1_i64, "a", None::<f64>).with(|v| v == all));
        let list: &[&dyn ToSql] = &[&1_i64, &"a"];
        assert!(list.with(|v| v == [Value::Integer(1), Value::Text("a")]));
    }
}
