//! A small generator for the tests of this room, so that they need no other room.

/// SplitMix64 (Steele, Lea and Flood, 2014; constants from memory): plenty for test data.
pub(crate) struct Sampler(pub(crate) u64);

impl Sampler {
    pub(crate) fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Uniform, strictly between 0 and 1.
    pub(crate) fn uniform(&mut self) -> f64 {
        ((self.bits() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    pub(crate) fn normal(&mut self) -> f64 {
        super::normal::quantile(self.uniform())
    }
}
