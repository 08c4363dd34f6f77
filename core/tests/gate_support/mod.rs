//! Shared by the tests and the bench of the gate: honest work made with the document library, and
//! a writer of change chunks that writes whatever it is told. Nothing here is used by the product.
#![expect(dead_code, unreachable_pub, reason = "each test uses its own part")]
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

pub mod engine;
pub mod honest;
pub mod raw;

use backstraight_core::base::id::{ActorId, InstallId};

/// A small generator (SplitMix64), so that every run of a test sees the same inputs.
#[derive(Clone)]
pub struct Rng(pub u64);

impl Rng {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// From 0 to `n` - 1.
    pub fn below(&mut self, n: u64) -> u64 {
        self.next() % n.max(1)
    }

    pub fn index(&mut self, n: usize) -> usize {
        usize::try_from(self.below(n as u64)).unwrap()
    }

    pub fn one_in(&mut self, n: u64) -> bool {
        self.below(n) == 0
    }

    pub fn bytes<const N: usize>(&mut self) -> [u8; N] {
        std::array::from_fn(|_| self.next().to_le_bytes()[0])
    }
}

/// The install with that number.
pub fn install(n: u8) -> InstallId {
    InstallId([n + 1; 8])
}

/// An actor of that install.
pub fn actor(n: u8, start: [u8; 8]) -> ActorId {
    ActorId::of(install(n), start)
}

/// Everybody may write.
pub fn anyone(_: InstallId) -> bool {
    true
}
