//! The check sum of an image: CRC-32 with the polynomial of IEEE 802.3.

/// Remainders of four bits. Four bits at a time, because a table for whole bytes would take a kilobyte of flash.
const HALF_BYTES: [u32; 16] = {
    let mut table = [0; 16];
    let mut i = 0;
    while i < 16 {
        let mut rest = i as u32;
        let mut bit = 0;
        while bit < 4 {
            rest = rest >> 1 ^ if rest & 1 != 0 { 0xedb8_8320 } else { 0 };
            bit += 1;
        }
        table[i] = rest;
        i += 1;
    }
    table
};

/// A check sum being formed.
pub(super) struct CheckSum(u32);

impl CheckSum {
    pub(super) const fn new() -> CheckSum {
        CheckSum(u32::MAX)
    }

    pub(super) fn take(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.0 ^= u32::from(*byte);
            self.0 = self.0 >> 4 ^ HALF_BYTES[self.0 as usize % 16];
            self.0 = self.0 >> 4 ^ HALF_BYTES[self.0 as usize % 16];
        }
    }

    pub(super) const fn value(&self) -> u32 {
        !self.0
    }
}

#[cfg(test)]
mod tests {
    use super::CheckSum;

    /// The customary check value of this sum (common practice, no source): the sum of the nine digits from 1.
    #[test]
    fn the_digits_have_the_customary_sum() {
        let mut sum = CheckSum::new();
        sum.take(b"12345");
        sum.take(b"6789");
        assert_eq!(sum.value(), 0xcbf4_3926);
    }
}
