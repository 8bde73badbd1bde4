//! How frames stand in the bytes of a stream.

/// Frames of signed little-endian codes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CodePacking {
    /// Codes of a frame.
    pub channels: usize,
    /// Bytes of a code, 1 to 4.
    pub bytes: usize,
    /// Bits of a code, at most 8 times its bytes: full scale is 2 to the power of one less.
    pub bits: u32,
}

impl CodePacking {
    /// Bytes of a frame.
    pub fn frame_bytes(&self) -> usize {
        self.channels * self.bytes
    }

    /// The codes of bytes, with full scale at 2^31; bytes of a code that is not whole are left out.
    pub fn full_scale<'a>(&self, bytes: &'a [u8]) -> impl Iterator<Item = i32> + 'a {
        let unused = 32_u32.saturating_sub(self.bits);
        let code = |bytes: &[u8]| bytes.iter().rev().fold(0_u32, |code, byte| code << 8 | u32::from(*byte));
        // Bits above the code repeat its sign; the shift drops them.
        bytes.chunks_exact(self.bytes.clamp(1, 4)).map(move |bytes| code(bytes).checked_shl(unused).unwrap_or(0) as i32)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_become_shares_of_full_scale() {
        let read =
            |bytes, bits, code: &[u8]| CodePacking { channels: 1, bytes, bits }.full_scale(code).collect::<Vec<_>>();
        assert_eq!(read(2, 16, &[0xff, 0x7f, 0x00, 0x80, 0xff, 0xff]), [0x7fff_0000, i32::MIN, -0x1_0000]);
        assert_eq!(read(3, 24, &[0x56, 0x34, 0x12, 0xff, 0xff, 0xff]), [0x1234_5600, -0x100]);
        // A code of 24 bits in a word of 32, as a rig has it.
        assert_eq!(read(4, 24, &[0x56, 0x34, 0x92, 0xff]), [0x9234_5600_u32 as i32]);
        assert_eq!(read(4, 32, &[1, 0, 0, 0x80]), [i32::MIN + 1]);
        assert_eq!(read(2, 16, &[0, 1, 7]).len(), 1, "bytes of a code that is not whole");
    }
}
