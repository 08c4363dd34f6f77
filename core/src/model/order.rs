//! Order by fractional keys: a text between two texts, so that moving one record changes one
//! field. Sort by (pos, record key); equal keys are harmless.

use super::number::Text;

/// The digits, in the order in which bytes sort.
const DIGITS: &[u8] = b"0123456789abcdefghijklmnopqrstuvwxyz";

/// An order key between two others, either of which may be missing (start or end of the list).
/// Falls back to a key right after `before` when there is no room or the bounds are the wrong way
/// round: order is then decided by the record keys.
#[must_use]
pub fn between(before: Option<&str>, after: Option<&str>) -> Text<64> {
    let lo: Vec<u8> = digits(before.unwrap_or(""));
    let hi: Option<Vec<u8>> = after.map(digits).filter(|hi| hi > &lo);
    let base = DIGITS.len();
    let mut out: Vec<usize> = Vec::new();
    let mut bounded = hi.is_some();
    for i in 0..60 {
        let a = lo.get(i).map_or(0, |d| usize::from(*d));
        let b = match (&hi, bounded) {
            (Some(hi), true) => hi.get(i).map_or(0, |d| usize::from(*d)),
            _ => base,
        };
        if b > a + 1 {
            out.push(usize::midpoint(a, b));
            break;
        }
        out.push(a);
        if b > a {
            bounded = false;
        }
    }
    let text: String = out.iter().filter_map(|d| DIGITS.get(*d)).map(|b| char::from(*b)).collect();
    Text::new(text).unwrap_or_default()
}

/// `n` evenly spread keys, for a list made at once.
#[must_use]
pub fn spread(n: usize) -> Vec<Text<64>> {
    let mut out: Vec<Text<64>> = Vec::with_capacity(n);
    for i in 0..n {
        let (hi, lo) = (i / DIGITS.len(), i % DIGITS.len());
        let at = |d: usize| DIGITS.get(d).map_or('z', |b| char::from(*b));
        let text: String = [at(hi.min(DIGITS.len() - 1)), at(lo), 'i'].iter().collect();
        out.push(Text::new(text).unwrap_or_default());
    }
    out
}

fn digits(text: &str) -> Vec<u8> {
    text.bytes()
        .map(|b| DIGITS.iter().position(|d| *d == b).and_then(|i| u8::try_from(i).ok()).unwrap_or(0))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_key_fits_between_neighbours() {
        let a = between(None, None);
        let b = between(Some(a.as_str()), None);
        let c = between(Some(a.as_str()), Some(b.as_str()));
        assert!(a < c && c < b, "{a} {c} {b}");
        assert!(between(None, Some(a.as_str())) < a);
    }

    #[test]
    fn spread_keys_ascend() {
        let keys = spread(100);
        assert!(keys.windows(2).all(|w| w[0] < w[1]));
    }

    proptest! {
        #[test]
        fn many_moves_keep_strict_order(picks in proptest::collection::vec(0usize..40, 1..40)) {
            let mut list = spread(3);
            for p in picks {
                let i = p % list.len();
                let key = between(Some(list[i].as_str()), list.get(i + 1).map(Text::as_str));
                prop_assert!(list[i] < key);
                if let Some(next) = list.get(i + 1) {
                    prop_assert!(key < *next, "{} {} {}", list[i], key, next);
                }
                list.insert(i + 1, key);
            }
        }
    }
}
