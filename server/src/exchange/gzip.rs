//! Packing and unpacking bodies (gzip, RFC 1952), with limits that hold while unpacking.

use std::io::{Read, Write};

use flate2::Compression;
use flate2::bufread::GzDecoder;
use flate2::write::GzEncoder;

use crate::problem::Problem;

/// Bodies up to this size are not judged by their ratio.
const SMALL: usize = 64 << 10;

/// Unpacks at most `most` bytes, and of a large body at most `ratio` a packed byte.
///
/// # Errors
/// `too-large` for a body over a limit, `malformed` for one that is no gzip, is cut short or goes on.
pub fn unpack(packed: &[u8], most: usize, ratio: usize) -> Result<Vec<u8>, Problem> {
    let limit = most.min(packed.len().saturating_mul(ratio).max(SMALL));
    let mut from = GzDecoder::new(packed);
    let mut out = Vec::with_capacity(limit.min(packed.len().saturating_mul(4)));
    let room = u64::try_from(limit).unwrap_or(u64::MAX).saturating_add(1);
    from.by_ref().take(room).read_to_end(&mut out).map_err(|_| Problem::Malformed)?;
    if out.len() > limit {
        return Err(Problem::TooLarge);
    }
    if !from.into_inner().is_empty() {
        return Err(Problem::Malformed);
    }
    Ok(out)
}

/// Packs.
#[must_use]
pub fn pack(bytes: &[u8]) -> Vec<u8> {
    let mut to = GzEncoder::new(Vec::with_capacity(bytes.len() / 3), Compression::new(5));
    // Writing to memory cannot fail; the empty fallback is no gzip and every reader refuses it.
    if to.write_all(bytes).is_err() {
        return Vec::new();
    }
    to.finish().unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bodies_come_back_and_limits_have_two_sides() {
        let body: Vec<u8> = (0..200_000u32).flat_map(u32::to_le_bytes).collect();
        let packed = pack(&body);
        assert_eq!(unpack(&packed, body.len(), 100), Ok(body.clone()));
        assert_eq!(unpack(&packed, body.len() - 1, 100), Err(Problem::TooLarge));
        let zeros = vec![0; SMALL];
        assert_eq!(unpack(&pack(&zeros), 8 << 20, 100), Ok(zeros));
        assert_eq!(unpack(&pack(&vec![0; SMALL + 1]), 8 << 20, 100), Err(Problem::TooLarge));
    }

    #[test]
    fn a_bomb_is_refused_and_so_is_every_cut_and_addition() {
        let bomb = pack(&vec![0; 64 << 20]);
        assert_eq!(unpack(&bomb, 8 << 20, 100), Err(Problem::TooLarge));
        let packed = pack(b"a body of the exchange");
        for n in 0..packed.len() {
            assert_eq!(unpack(packed.get(..n).unwrap(), 1000, 100), Err(Problem::Malformed), "{n}");
        }
        let mut more = packed;
        more.push(0);
        assert_eq!(unpack(&more, 1000, 100), Err(Problem::Malformed));
    }
}
