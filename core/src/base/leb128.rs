//! LEB128 numbers, seven bits a byte, the lowest first. Knows nothing of what they stand for.

/// An unsigned LEB128 number.
pub(crate) fn uleb(out: &mut Vec<u8>, mut n: u64) {
    loop {
        let low = (n & 0x7f) as u8;
        n >>= 7;
        if n == 0 {
            out.push(low);
            return;
        }
        out.push(low | 0x80);
    }
}

/// A signed LEB128 number.
pub(crate) fn sleb(out: &mut Vec<u8>, mut n: i64) {
    loop {
        let low = (n.cast_unsigned() & 0x7f) as u8;
        n >>= 7;
        if (n == 0 && low & 0x40 == 0) || (n == -1 && low & 0x40 != 0) {
            out.push(low);
            return;
        }
        out.push(low | 0x80);
    }
}

/// Takes a signed number off the front; `None` when it is cut short or has over 32 bits.
pub(crate) fn take_sleb(from: &mut &[u8]) -> Option<i64> {
    let (mut value, mut shift) = (0_i64, 0_u32);
    loop {
        let (byte, rest) = from.split_first()?;
        *from = rest;
        value |= i64::from(byte & 0x7f) << shift;
        shift += 7;
        if byte & 0x80 == 0 {
            return Some(if byte & 0x40 == 0 { value } else { value | -1 << shift });
        }
        if shift > 28 {
            return None;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_examples_of_the_dwarf_standard() {
        // DWARF 5, figures 22 and 23.
        for (n, bytes) in [(2_u64, &[2][..]), (127, &[0x7f]), (128, &[0x80, 1]), (12_857, &[0xb9, 0x64])] {
            let mut out = Vec::new();
            uleb(&mut out, n);
            assert_eq!(out, bytes);
        }
        for (n, bytes) in [
            (2_i64, &[2][..]),
            (-2, &[0x7e]),
            (127, &[0xff, 0]),
            (-127, &[0x81, 0x7f]),
            (128, &[0x80, 1]),
            (-128, &[0x80, 0x7f]),
            (129, &[0x81, 1]),
            (-129, &[0xff, 0x7e]),
        ] {
            let mut out = Vec::new();
            sleb(&mut out, n);
            assert_eq!(out, bytes);
            let mut rest = &out[..];
            assert_eq!((take_sleb(&mut rest), rest.len()), (Some(n), 0));
            assert_eq!(take_sleb(&mut &out[..out.len() - 1]), None);
        }
        assert_eq!(take_sleb(&mut &[0xff; 9][..]), None);
    }
}
