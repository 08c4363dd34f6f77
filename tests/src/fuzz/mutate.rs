//! Changes inputs as accidents and malice would: bits, bytes, numbers near limits, pieces doubled, moved, cut out and
//! taken from elsewhere, words that the formats know. The same generator makes the same changes.

use crate::rng::Rng;

/// Numbers at which programs err.
const NUMBERS: [u64; 21] = [
    0,
    1,
    2,
    3,
    7,
    8,
    0x7f,
    0x80,
    0xff,
    0x100,
    0x7fff,
    0xffff,
    0x1_0000,
    0x7fff_ffff,
    0x8000_0000,
    0xffff_ffff,
    0x1_0000_0000,
    0x7fff_ffff_ffff_ffff,
    0x8000_0000_0000_0000,
    0xffff_ffff_ffff_fffe,
    0xffff_ffff_ffff_ffff,
];

/// Words that stand in every format or text of ours.
const WORDS: [&[u8]; 30] = [
    b"\x85\x6f\x4a\x83",
    b"sessions",
    b"items",
    b"gone",
    b"sets",
    b"work",
    b"date",
    b"main",
    b"2026-11-25",
    b"9999-12-31",
    b"reps 5",
    b"each 8",
    b"hold 30000",
    b"load 250",
    b"max 800",
    b"@",
    b"-",
    b";",
    b"x",
    b"NaN",
    b"inf",
    b"-0",
    b"1e308",
    b"5e-324",
    b"\xf6",
    b"\x9f",
    b"\xff",
    b"\xfb\x7f\xf8\0\0\0\0\0\0",
    b"\xef\xbb\xbf",
    b"\xe2\x80\xae",
];

/// Makes inputs from others.
#[derive(Debug, Clone)]
pub struct Mutator {
    rng: Rng,
}

impl Mutator {
    /// By a seed.
    #[must_use]
    pub const fn new(seed: u64) -> Mutator {
        Mutator { rng: Rng::new(seed) }
    }

    /// A number below `n`; 0 for none.
    pub fn below(&mut self, n: usize) -> usize {
        self.rng.below(n)
    }

    /// Changes `input` once or several times; pieces may come from `other`. At most `most` bytes are left.
    pub fn mutate(&mut self, input: &mut Vec<u8>, other: &[u8], most: usize) {
        // Mostly few changes: what is hurt in ten places is refused at the first.
        let times = 1 + [0, 0, 0, 1, 1, 2, 3, 7][self.below(8)];
        for _ in 0..times {
            self.once(input, other);
        }
        input.truncate(most);
    }

    fn once(&mut self, input: &mut Vec<u8>, other: &[u8]) {
        if input.is_empty() {
            input.push(self.random());
            return;
        }
        let at = self.below(input.len());
        match self.below(16) {
            0 | 1 => input[at] ^= 1 << self.below(8),
            2 => input[at] = self.random(),
            3 => input[at] = NUMBERS[self.below(9)].to_le_bytes()[0],
            4 => input[at] = input[at].wrapping_add(1),
            5 => input[at] = input[at].wrapping_sub(1),
            6 => self.number(input, at),
            7 => self.base_128(input, at),
            8 => {
                let byte = self.random();
                input.insert(at, byte);
            }
            9 => {
                // A piece goes, mostly a short one.
                let n = self.length(input.len() - at);
                input.drain(at..at + n);
            }
            10 => {
                // A piece doubled, somewhere.
                let n = self.length(input.len() - at);
                let piece = input[at..at + n].to_vec();
                let to = self.below(input.len() + 1);
                input.splice(to..to, piece);
            }
            11 => {
                // A piece over another.
                let n = self.length(input.len() - at);
                let to = self.below(input.len() - n + 1);
                input.copy_within(at..at + n, to);
            }
            12 => {
                let word = WORDS[self.below(WORDS.len())];
                if self.below(2) == 0 {
                    input.splice(at..at, word.iter().copied());
                } else {
                    let end = (at + word.len()).min(input.len());
                    input.splice(at..end, word.iter().copied());
                }
            }
            13 => {
                let to = self.below(input.len());
                input.swap(at, to);
            }
            _ if other.is_empty() => input.truncate(at),
            14 => {
                // A piece of another input, put in or put over.
                let from = self.below(other.len());
                let n = self.length(other.len() - from);
                let piece = &other[from..from + n];
                let end = if self.below(2) == 0 { at } else { (at + n).min(input.len()) };
                input.splice(at..end, piece.iter().copied());
            }
            _ => {
                // The head of one, the tail of the other.
                let from = self.below(other.len());
                input.truncate(at);
                input.extend_from_slice(&other[from..]);
            }
        }
    }

    fn random(&mut self) -> u8 {
        self.rng.next().to_le_bytes()[3]
    }

    /// A length up to `most`, short ones more often.
    fn length(&mut self, most: usize) -> usize {
        let cap = [4, 16, 64, usize::MAX][self.below(4)];
        1 + self.below(most.min(cap).max(1))
    }

    /// A number of one, two, four or eight bytes, either way round.
    fn number(&mut self, input: &mut [u8], at: usize) {
        let n = [1, 2, 4, 8][self.below(4)].min(input.len() - at);
        let number = match self.below(3) {
            0 => NUMBERS[self.below(NUMBERS.len())],
            1 => self.rng.next() >> self.below(64),
            _ => (input.len() as u64).wrapping_add(self.rng.next() % 5).wrapping_sub(2),
        };
        let mut bytes = number.to_le_bytes();
        if self.below(2) == 0 {
            bytes[..n].reverse();
        }
        input[at..at + n].copy_from_slice(&bytes[..n]);
    }

    /// A number in base 128 in the place of a byte, as the document format writes lengths and counts.
    fn base_128(&mut self, input: &mut Vec<u8>, at: usize) {
        let mut number = if self.below(2) == 0 {
            NUMBERS[self.below(NUMBERS.len())]
        } else {
            self.rng.next() >> self.below(64)
        };
        let mut bytes = Vec::with_capacity(10);
        loop {
            let low = number.to_le_bytes()[0] & 0x7f;
            number >>= 7;
            bytes.push(if number == 0 { low } else { low | 0x80 });
            if number == 0 {
                break;
            }
        }
        input.splice(at..=at, bytes);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_seed_makes_the_same_inputs_and_limits_hold() {
        let make = |seed| {
            let mut mutator = Mutator::new(seed);
            let mut all = Vec::new();
            for n in 0..20_000 {
                let mut input = vec![7; n % 40];
                mutator.mutate(&mut input, b"another input", 64);
                assert!(input.len() <= 64);
                all.push(input);
            }
            all
        };
        let one = make(1);
        assert_eq!(one, make(1));
        assert_ne!(one, make(2));
        assert!(one.iter().any(|i| i.windows(4).any(|w| w == b"\x85\x6f\x4a\x83")), "words come up");
    }
}
