//! Samples of a signal file as numbers of the converter, in the order of the file.
//!
//! Formats of the open waveform database: 80 (8 bits, offset 128), 16, 24 and 32 (two's complement, little-endian), 212 (two samples
//! of 12 bits in three bytes).

/// The number that marks a missing sample in a format; `None` for a format that is not read.
pub(crate) fn missing(format: u32) -> Option<i32> {
    Some(match format {
        80 => -128,
        16 => i32::from(i16::MIN),
        24 => -(1 << 23),
        32 => i32::MIN,
        212 => -(1 << 11),
        _ => return None,
    })
}

/// Samples in so many bytes.
pub(crate) fn count(format: u32, bytes: usize) -> usize {
    match format {
        80 => bytes,
        16 => bytes / 2,
        24 => bytes / 3,
        32 => bytes / 4,
        _ => bytes / 3 * 2 + usize::from(bytes % 3 == 2),
    }
}

/// The samples of a file.
pub(crate) fn samples(format: u32, bytes: &[u8]) -> Vec<i32> {
    match format {
        80 => bytes.iter().map(|byte| i32::from(*byte) - 128).collect(),
        16 => bytes.as_chunks::<2>().0.iter().map(|pair| i32::from(i16::from_le_bytes(*pair))).collect(),
        24 => bytes
            .as_chunks::<3>()
            .0
            .iter()
            .map(|[low, middle, high]| i32::from_le_bytes([0, *low, *middle, *high]) >> 8)
            .collect(),
        32 => bytes.as_chunks::<4>().0.iter().map(|four| i32::from_le_bytes(*four)).collect(),
        _ => packed(bytes),
    }
}

/// Format 212. The last sample of an odd number may lie in two bytes alone.
fn packed(bytes: &[u8]) -> Vec<i32> {
    let signed = |bits: u16| i32::from((bits << 4) as i16 >> 4);
    let (triples, rest) = bytes.as_chunks::<3>();
    let pairs = triples.iter().flat_map(|[low, high, second]| {
        let first = u16::from(*low) | (u16::from(*high) & 0x0f) << 8;
        [signed(first), signed(u16::from(*second) | (u16::from(*high) & 0xf0) << 4)]
    });
    let last = match rest {
        [low, high] => Some(signed(u16::from(*low) | (u16::from(*high) & 0x0f) << 8)),
        _ => None,
    };
    pairs.chain(last).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_format() {
        assert_eq!(samples(80, &[0, 128, 255]), [-128, 0, 127]);
        assert_eq!(samples(16, &[0xff, 0xff, 0x00, 0x80, 9]), [-1, -32768]);
        assert_eq!(samples(24, &[0xfe, 0xff, 0xff, 1, 0, 0]), [-2, 1]);
        assert_eq!(samples(32, &[1, 0, 0, 0x80]), [i32::MIN + 1]);
        // 0x123 and -1 (0xfff), then -2048 in two bytes.
        assert_eq!(samples(212, &[0x23, 0xf1, 0xff, 0x00, 0x08]), [0x123, -1, -2048]);
        for (format, bytes) in [(80, 7), (16, 7), (24, 7), (32, 7), (212, 6), (212, 7), (212, 8)] {
            assert_eq!(samples(format, &vec![0; bytes]).len(), count(format, bytes), "{format}");
        }
        assert_eq!(missing(8), None);
    }
}
