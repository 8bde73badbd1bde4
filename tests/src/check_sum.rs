//! The check sum of an image, from its description alone.

/// CRC-32 as `docs/image.md` describes it, bit by bit, of all bytes but the sum's own.
pub fn check_sum(bytes: &[u8]) -> u32 {
    let mut sum = u32::MAX;
    for byte in bytes[..8].iter().chain(&bytes[12..]) {
        sum ^= u32::from(*byte);
        for _ in 0..8 {
            sum = if sum & 1 == 1 { sum >> 1 ^ 0xedb8_8320 } else { sum >> 1 };
        }
    }
    !sum
}
