//! Bytes of a fuzzer, taken as numbers. When they run out there are zeros, so that every input means something.

/// What is left of an input.
#[derive(Debug, Clone, Copy)]
pub struct Feed<'a>(&'a [u8]);

impl<'a> Feed<'a> {
    /// All of an input.
    #[must_use]
    pub const fn new(bytes: &'a [u8]) -> Feed<'a> {
        Feed(bytes)
    }

    /// Whether nothing is left.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The next byte.
    pub fn byte(&mut self) -> u8 {
        let Some((first, rest)) = self.0.split_first() else { return 0 };
        self.0 = rest;
        *first
    }

    /// The next two bytes.
    pub fn short(&mut self) -> u16 {
        u16::from_le_bytes([self.byte(), self.byte()])
    }

    /// The next eight bytes.
    pub fn long(&mut self) -> u64 {
        u64::from_le_bytes(std::array::from_fn(|_| self.byte()))
    }

    /// The next bytes, as many as there are of those asked for.
    pub fn take(&mut self, n: usize) -> &'a [u8] {
        let (head, rest) = self.0.split_at(n.min(self.0.len()));
        self.0 = rest;
        head
    }

    /// A piece with its length before it, in two bytes.
    pub fn piece(&mut self) -> &'a [u8] {
        let n = usize::from(self.short());
        self.take(n)
    }

    /// All that is left.
    pub fn rest(&mut self) -> &'a [u8] {
        core::mem::take(&mut self.0)
    }
}

/// Puts a piece with its length before it; the counterpart of [`Feed::piece`].
pub fn put(out: &mut Vec<u8>, piece: &[u8]) {
    let n = u16::try_from(piece.len()).unwrap_or(u16::MAX);
    out.extend_from_slice(&n.to_le_bytes());
    out.extend_from_slice(&piece[..usize::from(n)]);
}
