//! Writes numbers and run-length columns in their one form. Knows no change.

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

/// A run-length column; no bytes when it holds nothing at all.
#[cfg(test)]
pub(crate) fn rle<T: Copy + PartialEq>(values: &[Option<T>], write: fn(&mut Vec<u8>, T)) -> Vec<u8> {
    let mut out = Vec::new();
    if values.iter().all(Option::is_none) {
        return out;
    }
    let mut at = 0;
    let run = |at: usize| values[at..].iter().take_while(|v| **v == values[at]).count();
    while at < values.len() {
        let n = run(at);
        match values[at] {
            None => {
                sleb(&mut out, 0);
                uleb(&mut out, n as u64);
                at += n;
            }
            Some(v) if n > 1 => {
                sleb(&mut out, i64::try_from(n).unwrap());
                write(&mut out, v);
                at += n;
            }
            Some(_) => {
                let mut end = at;
                while end < values.len() && values[end].is_some() && run(end) == 1 {
                    end += 1;
                }
                sleb(&mut out, -i64::try_from(end - at).unwrap());
                for v in values[at..end].iter().flatten() {
                    write(&mut out, *v);
                }
                at = end;
            }
        }
    }
    out
}
