//! Numbers from a seed: SplitMix64 (Steele, Lea and Flood, 2014).

pub struct Random(u64);

impl Random {
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// From 0 to below `end`.
    pub fn below(&mut self, end: u64) -> u64 {
        self.next() % end.max(1)
    }

    /// From `low` to `high`, both included.
    pub fn between(&mut self, low: i64, high: i64) -> i64 {
        low + self.below((high - low) as u64 + 1) as i64
    }

    /// True in so many of a hundred.
    pub fn chance(&mut self, percent: u64) -> bool {
        self.below(100) < percent
    }

    pub fn bytes<const N: usize>(&mut self) -> [u8; N] {
        std::array::from_fn(|_| self.next() as u8)
    }
}
