//! A small file as numbered frames, each small enough for one picture that another device reads from
//! a screen: in any order, doubled ones harmless, those of another file told apart. Draws no picture.
//!
//! A frame is `bF`, four bytes that name the whole, its number and how many there are (two bytes
//! each, high byte first), its part, and four bytes of checksum. Name and checksum are the first
//! bytes of a SHA-256, of the whole and of the frame before the checksum.

use std::collections::BTreeMap;

use sha2::{Digest as _, Sha256};

const MAGIC: [u8; 2] = *b"bF";
/// Bytes of a frame beside its part.
pub const OVERHEAD: usize = 14;
/// Most frames: more is no longer a thing to hold a camera at.
pub const MAX_FRAMES: usize = 400;
/// Most bytes of one part.
pub const MAX_PART: usize = 2_000;

/// Why something is no frame, or no more of this file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum FrameError {
    /// The file has too many bytes for frames of that size, or none.
    #[error("{0} bytes do not go into {MAX_FRAMES} frames of that size")]
    Size(usize),
    /// Other bytes, or a frame that was misread.
    #[error("this is no frame")]
    NotOne,
    /// A frame of another file.
    #[error("this frame belongs to another file")]
    Another,
    /// The frames do not give the file that they name.
    #[error("the frames do not fit together: begin again")]
    Whole,
}

fn short(bytes: &[u8]) -> [u8; 4] {
    let sum = Sha256::digest(bytes);
    let mut out = [0; 4];
    for (slot, b) in out.iter_mut().zip(sum) {
        *slot = b;
    }
    out
}

/// Splits a file into frames with parts of at most `part` bytes.
///
/// # Errors
/// When it is empty or too large for that.
pub fn split(bytes: &[u8], part: usize) -> Result<Vec<Vec<u8>>, FrameError> {
    let part = part.clamp(1, MAX_PART);
    let count = bytes.len().div_ceil(part);
    let size = || FrameError::Size(bytes.len());
    if count == 0 || count > MAX_FRAMES {
        return Err(size());
    }
    let (name, of) = (short(bytes), u16::try_from(count).map_err(|_| size())?);
    let frame = |(n, part): (u16, &[u8])| {
        let mut out = [&MAGIC[..], &name, &n.to_be_bytes(), &of.to_be_bytes(), part].concat();
        out.extend_from_slice(&short(&out));
        out
    };
    Ok((0..).zip(bytes.chunks(part)).map(frame).collect())
}

/// Frames of one file, as they come.
#[derive(Debug, Clone, Default)]
pub struct Collector {
    of: Option<([u8; 4], u16)>,
    parts: BTreeMap<u16, Vec<u8>>,
}

impl Collector {
    /// Takes a frame; the whole file once nothing is missing. A frame that came before changes nothing.
    ///
    /// # Errors
    /// When it is no frame of this file. What was collected stays, unless the whole does not fit.
    pub fn take(&mut self, frame: &[u8]) -> Result<Option<Vec<u8>>, FrameError> {
        let (named, sum) = frame.split_last_chunk::<4>().ok_or(FrameError::NotOne)?;
        if short(named) != *sum {
            return Err(FrameError::NotOne);
        }
        let rest = named.strip_prefix(&MAGIC).ok_or(FrameError::NotOne)?;
        let (name, rest) = rest.split_first_chunk::<4>().ok_or(FrameError::NotOne)?;
        let (n, rest) = rest.split_first_chunk::<2>().ok_or(FrameError::NotOne)?;
        let (of, part) = rest.split_first_chunk::<2>().ok_or(FrameError::NotOne)?;
        let (n, of) = (u16::from_be_bytes(*n), u16::from_be_bytes(*of));
        if n >= of || usize::from(of) > MAX_FRAMES || part.is_empty() || part.len() > MAX_PART {
            return Err(FrameError::NotOne);
        }
        if *self.of.get_or_insert((*name, of)) != (*name, of) {
            return Err(FrameError::Another);
        }
        self.parts.insert(n, part.to_vec());
        if self.parts.len() < usize::from(of) {
            return Ok(None);
        }
        let whole = self.parts.values().flatten().copied().collect::<Vec<u8>>();
        if short(&whole) != *name {
            *self = Collector::default();
            return Err(FrameError::Whole);
        }
        Ok(Some(whole))
    }

    /// The numbers of the frames that are still missing, from 0; empty before the first.
    #[must_use]
    pub fn missing(&self) -> Vec<u16> {
        let of = self.of.map_or(0, |(_, of)| of);
        (0..of).filter(|n| !self.parts.contains_key(n)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn any_order_and_doubles_give_the_file(
            file in proptest::collection::vec(any::<u8>(), 1..3000),
            part in 40usize..700,
            order in proptest::collection::vec(any::<u16>(), 1..200),
        ) {
            let frames = split(&file, part).unwrap();
            let mut collector = Collector::default();
            let mut got = None;
            for n in order {
                let frame = &frames[usize::from(n) % frames.len()];
                got = collector.take(frame).unwrap().or(got);
            }
            for n in collector.missing() {
                got = collector.take(&frames[usize::from(n)]).unwrap();
            }
            prop_assert_eq!(got, Some(file));
            prop_assert!(collector.missing().is_empty());
        }

        #[test]
        fn a_frame_that_was_misread_is_refused_and_does_no_harm(
            file in proptest::collection::vec(any::<u8>(), 1..900),
            at in any::<usize>(),
            bit in 0u8..8,
        ) {
            let frames = split(&file, 100).unwrap();
            let mut collector = Collector::default();
            for frame in &frames {
                let mut bad = frame.clone();
                let at = at % bad.len();
                bad[at] ^= 1 << bit;
                prop_assert!(collector.take(&bad).is_err());
                prop_assert!(collector.take(&bad[..at]).is_err());
            }
            let mut got = None;
            for frame in &frames {
                got = collector.take(frame).unwrap();
            }
            prop_assert_eq!(got, Some(file));
        }
    }

    /// A frame as its form says, whatever its numbers are.
    fn made(n: u16, of: u16, part: &[u8]) -> Vec<u8> {
        let mut out = [&MAGIC[..], &[7; 4], &n.to_be_bytes(), &of.to_be_bytes(), part].concat();
        out.extend_from_slice(&short(&out));
        out
    }

    #[test]
    fn each_number_of_a_frame_has_its_limit() {
        let take = |n, of, part: &[u8]| Collector::default().take(&made(n, of, part));
        let most = u16::try_from(MAX_FRAMES).unwrap();
        for (n, of, part) in [(0, 2, 1), (1, 2, 1), (most - 1, most, 1), (0, 2, MAX_PART)] {
            assert_eq!(take(n, of, &vec![1; part]), Ok(None), "{n} of {of}");
        }
        for (n, of, part) in
            [(2, 2, 1), (3, 2, 1), (0, 0, 1), (0, most + 1, 1), (0, 2, 0), (0, 2, MAX_PART + 1)]
        {
            assert_eq!(take(n, of, &vec![1; part]), Err(FrameError::NotOne), "{n} of {of}");
        }
    }

    #[test]
    fn frames_of_another_file_are_told_apart_and_limits_have_two_sides() {
        let (one, two) = (split(&[1; 300], 100).unwrap(), split(&[2; 300], 100).unwrap());
        let mut collector = Collector::default();
        assert_eq!(collector.take(&one[1]), Ok(None));
        assert_eq!(collector.take(&two[0]), Err(FrameError::Another));
        assert_eq!(collector.missing(), [0, 2]);
        assert!(split(&vec![0; MAX_FRAMES * 10], 10).is_ok());
        assert_eq!(split(&vec![0; MAX_FRAMES * 10 + 1], 10), Err(FrameError::Size(MAX_FRAMES * 10 + 1)));
        assert_eq!(split(&[], 10), Err(FrameError::Size(0)));
        assert!(one.iter().all(|f| f.len() == 100 + OVERHEAD));
    }
}
