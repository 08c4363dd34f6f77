//! Writes run-length columns in their one form. Knows no change.

use crate::base::leb128::{sleb, uleb};

/// A run-length column; no bytes when it holds nothing at all.
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
