//! Reads numbers and run-length columns of the open document format, in canonical form only.
//! Never expands: a column is walked value by value, as often as its caller asks.

use crate::doc::gate::reject::{RejectCode, Rejected};

/// What is left of some bytes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Cursor<'a> {
    rest: &'a [u8],
}

pub(crate) fn truncated() -> Rejected {
    Rejected::new(RejectCode::Truncated, "")
}

pub(crate) fn encoding(at: &'static str) -> Rejected {
    Rejected::new(RejectCode::Encoding, at)
}

impl<'a> Cursor<'a> {
    pub(crate) const fn new(rest: &'a [u8]) -> Cursor<'a> {
        Cursor { rest }
    }

    pub(crate) const fn rest(&self) -> &'a [u8] {
        self.rest
    }

    pub(crate) const fn is_empty(&self) -> bool {
        self.rest.is_empty()
    }

    pub(crate) fn byte(&mut self) -> Result<u8, Rejected> {
        let (first, rest) = self.rest.split_first().ok_or_else(truncated)?;
        self.rest = rest;
        Ok(*first)
    }

    pub(crate) fn take(&mut self, n: usize) -> Result<&'a [u8], Rejected> {
        let (head, rest) = self.rest.split_at_checked(n).ok_or_else(truncated)?;
        self.rest = rest;
        Ok(head)
    }

    pub(crate) fn array<const N: usize>(&mut self) -> Result<[u8; N], Rejected> {
        let (head, rest) = self.rest.split_first_chunk().ok_or_else(truncated)?;
        self.rest = rest;
        Ok(*head)
    }

    /// An unsigned LEB128 number in its shortest form.
    pub(crate) fn uleb(&mut self) -> Result<u64, Rejected> {
        let first = self.byte()?;
        if first < 0x80 {
            return Ok(u64::from(first));
        }
        let mut value = u64::from(first & 0x7f);
        let mut shift = 7_u32;
        loop {
            let byte = self.byte()?;
            if shift == 63 && byte > 1 {
                return Err(encoding("number over 64 bits"));
            }
            value |= u64::from(byte & 0x7f) << shift;
            if byte < 0x80 {
                return if byte == 0 { Err(encoding("number with a superfluous byte")) } else { Ok(value) };
            }
            shift += 7;
        }
    }

    /// A signed LEB128 number in its shortest form.
    pub(crate) fn sleb(&mut self) -> Result<i64, Rejected> {
        let mut byte = self.byte()?;
        let mut value = i64::from(byte & 0x7f);
        let mut shift = 7_u32;
        let mut before = 0;
        while byte >= 0x80 {
            before = byte;
            byte = self.byte()?;
            if shift == 63 && byte != 0 && byte != 0x7f {
                return Err(encoding("number over 64 bits"));
            }
            value |= i64::from(byte & 0x7f) << shift;
            shift += 7;
        }
        let superfluous =
            shift > 7 && ((byte == 0 && before & 0x40 == 0) || (byte == 0x7f && before & 0x40 != 0));
        if superfluous {
            return Err(encoding("number with a superfluous byte"));
        }
        if shift < 64 && byte & 0x40 != 0 {
            value |= -1 << shift;
        }
        Ok(value)
    }

    /// A length that must fit into what is left.
    pub(crate) fn length(&mut self) -> Result<usize, Rejected> {
        let n = usize::try_from(self.uleb()?).map_err(|_| truncated())?;
        if n > self.rest.len() { Err(truncated()) } else { Ok(n) }
    }

    /// Text with its length before it.
    pub(crate) fn text(&mut self) -> Result<&'a str, Rejected> {
        let n = self.length()?;
        core::str::from_utf8(self.take(n)?).map_err(|_| encoding("text that is not UTF-8"))
    }
}

/// A kind of value that stands in a run-length column.
pub(crate) trait Item<'a>: Copy + PartialEq {
    fn read(from: &mut Cursor<'a>) -> Result<Self, Rejected>;
}

impl<'a> Item<'a> for u64 {
    fn read(from: &mut Cursor<'a>) -> Result<u64, Rejected> {
        from.uleb()
    }
}

impl<'a> Item<'a> for i64 {
    fn read(from: &mut Cursor<'a>) -> Result<i64, Rejected> {
        from.sleb()
    }
}

impl<'a> Item<'a> for &'a str {
    fn read(from: &mut Cursor<'a>) -> Result<&'a str, Rejected> {
        from.text()
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Segment {
    Start,
    Run,
    Literal,
    Null,
}

/// A run-length column: `n value` repeats, `-n values…` lists, `0 n` is a run of nothing.
///
/// Only the one form that an encoder writes is read, because the document library writes every
/// change anew when it loads a document: another form would give the change another name.
#[derive(Debug)]
pub(crate) struct Rle<'a, T> {
    from: Cursor<'a>,
    segment: Segment,
    left: u64,
    last: Option<T>,
    values: bool,
}

impl<'a, T: Item<'a>> Rle<'a, T> {
    pub(crate) const fn new(column: &'a [u8]) -> Rle<'a, T> {
        Rle { from: Cursor::new(column), segment: Segment::Start, left: 0, last: None, values: false }
    }

    /// The next value; `None` for nothing. A column without bytes is nothing all the way.
    pub(crate) fn next(&mut self) -> Result<Option<T>, Rejected> {
        if self.left == 0 {
            if self.segment == Segment::Start && self.from.is_empty() {
                return Ok(None);
            }
            self.open()?;
            self.left -= 1;
            return Ok(if self.segment == Segment::Null { None } else { self.last });
        }
        self.left -= 1;
        match self.segment {
            Segment::Literal => {
                let value = T::read(&mut self.from)?;
                if self.last == Some(value) {
                    return Err(encoding("a list of values with a run in it"));
                }
                self.last = Some(value);
                Ok(self.last)
            }
            Segment::Run => Ok(self.last),
            Segment::Null | Segment::Start => Ok(None),
        }
    }

    /// The next value, which must be there.
    pub(crate) fn some(&mut self, column: &'static str) -> Result<T, Rejected> {
        self.next()?.ok_or_else(|| encoding(column))
    }

    /// Opens the next segment; afterwards `left` is at least 1 and `last` is its first value.
    fn open(&mut self) -> Result<(), Rejected> {
        let head = self.from.sleb()?;
        let (segment, count) = match head {
            0 => (Segment::Null, self.from.uleb()?),
            1 => return Err(encoding("a run of one")),
            n if n > 0 => (Segment::Run, n.unsigned_abs()),
            n => (Segment::Literal, n.unsigned_abs()),
        };
        if count == 0 || (segment == self.segment && segment != Segment::Run) {
            return Err(encoding("an empty or split run"));
        }
        if segment == Segment::Null {
            self.last = None;
        } else {
            self.values = true;
            let value = T::read(&mut self.from)?;
            if self.last == Some(value) {
                return Err(encoding("two runs of one value"));
            }
            self.last = Some(value);
        }
        self.segment = segment;
        self.left = count;
        Ok(())
    }

    /// Whether every value was taken.
    pub(crate) const fn done(&self) -> bool {
        self.left == 0 && self.from.is_empty()
    }

    /// Refuses a column with values left over, or one that could have been left out.
    pub(crate) fn finish(&self, column: &'static str) -> Result<(), Rejected> {
        let superfluous = self.segment != Segment::Start && !self.values;
        if self.done() && !superfluous { Ok(()) } else { Err(encoding(column)) }
    }

    /// The number of values and the sum that `add` makes of them, from run lengths only.
    /// Stops as soon as either is over its limit, whatever the column claims.
    pub(crate) fn totals(
        column: &'a [u8],
        most: u64,
        mut add: impl FnMut(T, u64) -> Result<(), Rejected>,
        over: impl Fn(u64) -> Rejected,
    ) -> Result<u64, Rejected> {
        let mut rle = Rle::<T>::new(column);
        let mut count = 0_u64;
        while !rle.from.is_empty() {
            rle.open()?;
            count = count.saturating_add(rle.left);
            if count > most {
                return Err(over(count));
            }
            let mut value = rle.last;
            if rle.segment == Segment::Literal {
                while rle.left > 0 {
                    if let Some(v) = value {
                        add(v, 1)?;
                    }
                    rle.left -= 1;
                    if rle.left > 0 {
                        value = Some(T::read(&mut rle.from)?);
                        rle.last = value;
                    }
                }
            } else {
                if let Some(v) = value {
                    add(v, rle.left)?;
                }
                rle.left = 0;
            }
        }
        Ok(count)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn numbers_read_back_and_only_in_their_shortest_form(u: u64, s: i64) {
            let (mut a, mut b) = (Vec::new(), Vec::new());
            crate::base::leb128::uleb(&mut a, u);
            crate::base::leb128::sleb(&mut b, s);
            prop_assert_eq!(Cursor::new(&a).uleb().unwrap(), u);
            prop_assert_eq!(Cursor::new(&b).sleb().unwrap(), s);
            let mut long = a;
            *long.last_mut().unwrap() |= 0x80;
            long.push(0);
            prop_assert!(Cursor::new(&long).uleb().is_err());
            let mut long = b;
            *long.last_mut().unwrap() |= 0x80;
            long.push(if s < 0 { 0x7f } else { 0 });
            prop_assert!(Cursor::new(&long).sleb().is_err());
        }

        #[test]
        fn a_column_has_one_form(bytes in proptest::collection::vec(any::<u8>(), 0..24)) {
            let mut rle = Rle::<u64>::new(&bytes);
            let mut values = Vec::new();
            while !rle.done() && values.len() < 5_000 {
                match rle.next() {
                    Ok(v) => values.push(v),
                    Err(_) => return Ok(()),
                }
            }
            if rle.finish("x").is_ok() {
                prop_assert_eq!(super::super::write::rle(&values, crate::base::leb128::uleb), bytes);
            }
        }
    }

    #[test]
    fn extreme_numbers() {
        for bytes in
            [&[0xff; 11][..], &[0x80; 12], &[0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 2]]
        {
            assert!(Cursor::new(bytes).uleb().is_err());
            assert!(Cursor::new(bytes).sleb().is_err());
        }
        assert!(Cursor::new(&[0x80]).uleb().is_err());
        assert!(Cursor::new(&[]).sleb().is_err());
    }
}
