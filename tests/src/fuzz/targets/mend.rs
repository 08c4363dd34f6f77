//! Repairs what would stop an input at the first check, so that what lies behind is reached: lengths and checksums of
//! chunks, and the names by which a later change builds on an earlier one.

use sha2::{Digest as _, Sha256};

const MAGIC: [u8; 4] = [0x85, 0x6f, 0x4a, 0x83];

/// Chunks as an input has them, each from one magic to the next.
fn pieces(bytes: &[u8]) -> Vec<&[u8]> {
    let starts: Vec<usize> =
        bytes.windows(4).enumerate().filter(|(_, w)| *w == MAGIC).map(|(at, _)| at).collect();
    let ends = starts.iter().skip(1).copied().chain([bytes.len()]);
    starts.iter().zip(ends).map(|(from, to)| &bytes[*from..to]).collect()
}

/// The chunks of an input, repaired; pieces that are too short for a chunk are left out.
#[must_use]
pub(crate) fn chunks(bytes: &[u8]) -> Vec<Vec<u8>> {
    let mut names: Vec<([u8; 4], [u8; 32])> = Vec::new();
    let mut out = Vec::new();
    for piece in pieces(bytes) {
        let (Some(sum), Some(kind)) = (piece.get(4..8), piece.get(8)) else { continue };
        // The length as it stands is replaced, however long it is.
        let digits = piece[9..].iter().take(9).take_while(|b| **b >= 0x80).count() + 1;
        let mut contents = piece.get(9 + digits..).unwrap_or_default().to_vec();
        relink(&mut contents, &names);
        let mut named = vec![*kind];
        uleb(&mut named, contents.len());
        named.extend_from_slice(&contents);
        let name: [u8; 32] = Sha256::digest(&named).into();
        let mut chunk = MAGIC.to_vec();
        chunk.extend_from_slice(&name[..4]);
        chunk.extend_from_slice(&named);
        // The first bytes of the name that it had before stand in its old checksum.
        names.push(([sum[0], sum[1], sum[2], sum[3]], name));
        out.push(chunk);
    }
    out
}

/// Puts new names of earlier changes in the place of old ones, in the list of ancestors, which stays ascending.
fn relink(contents: &mut [u8], names: &[([u8; 4], [u8; 32])]) {
    let Some((count, list)) = contents.split_first_mut() else { return };
    let count = usize::from(*count);
    if count > 64 || list.len() < count * 32 {
        return;
    }
    let (list, _) = list.split_at_mut(count * 32);
    let mut all: Vec<[u8; 32]> = Vec::with_capacity(count);
    let mut changed = false;
    for dep in list.chunks_exact(32) {
        let mut dep: [u8; 32] = dep.try_into().unwrap();
        if let Some((_, name)) = names.iter().rev().find(|(old, name)| *old == dep[..4] && *name != dep) {
            dep = *name;
            changed = true;
        }
        all.push(dep);
    }
    if changed {
        all.sort_unstable();
        list.copy_from_slice(&all.concat());
    }
}

pub(crate) fn uleb(out: &mut Vec<u8>, mut n: usize) {
    while n >= 0x80 {
        out.push(n.to_le_bytes()[0] | 0x80);
        n >>= 7;
    }
    out.push(n.to_le_bytes()[0]);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fuzz::corpus::story;
    use backstraight_core::doc::chunk;
    use backstraight_core::model::name::Kind;

    #[test]
    fn honest_changes_stay_as_they_are_and_hurt_ones_are_reached() {
        for kind in Kind::ALL {
            let plain = story(kind, 1, 12).concat();
            assert_eq!(chunks(&plain).concat(), plain);
        }
        let story = story(Kind::Log, 1, 12);
        let mut hurt = story.concat();
        // A byte of the second change: its name is another one, and so must be what builds on it.
        let at = story[0].len() + story[1].len() / 2;
        hurt[at] ^= 1;
        let mended = chunks(&hurt);
        assert_eq!(mended.len(), story.len());
        for chunk in &mended {
            assert!(chunk::name(chunk).is_ok());
        }
        let (was, is) = (chunk::name(&story[1]).unwrap(), chunk::name(&mended[1]).unwrap());
        assert_ne!(was, is);
        let builds_on_it = |n: &usize| chunk::parse(&story[*n]).unwrap().deps.contains(&was);
        let next = (2..story.len()).find(builds_on_it).unwrap();
        assert!(mended[next].windows(32).any(|w| w == is.0), "a later change builds on the new name");
    }
}
