//! A small generator of numbers for invented data: the same seed, the same club, everywhere.

/// SplitMix64 (Steele, Lea, Flood 2014): enough for invented data, not for secrets.
#[derive(Debug, Clone)]
pub struct Rng(u64);

impl Rng {
    /// From a seed.
    #[must_use]
    pub const fn new(seed: u64) -> Rng {
        Rng(seed)
    }

    /// The next number.
    pub const fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A whole number from `low` to `high`, both included.
    pub fn range(&mut self, low: i64, high: i64) -> i64 {
        let span = u64::try_from(high - low + 1).unwrap_or(1).max(1);
        low + i64::try_from(self.next() % span).unwrap_or(0)
    }

    /// True once in `n`.
    pub fn once_in(&mut self, n: i64) -> bool {
        self.range(1, n) == 1
    }

    /// A number below `n`; 0 for none.
    pub fn below(&mut self, n: usize) -> usize {
        let n = u64::try_from(n).unwrap_or(u64::MAX).max(1);
        usize::try_from(self.next() % n).unwrap_or(0)
    }
}
