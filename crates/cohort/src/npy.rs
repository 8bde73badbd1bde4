//! The head of an NPY file, version 1.0 (NumPy's documentation, `numpy.lib.format`): an array of little-endian floats in order of
//! rows, which follows the head.

/// The bytes before an array of `records` by `channels` by `frames`.
pub fn head(records: u64, channels: usize, frames: usize) -> Vec<u8> {
    let words = format!("{{'descr': '<f4', 'fortran_order': False, 'shape': ({records}, {channels}, {frames}), }}");
    // Magic, version and length take ten bytes; all of it with a line end fills whole 64 bytes.
    let length = (10 + words.len() + 1).next_multiple_of(64) - 10;
    let mut head = b"\x93NUMPY\x01\x00".to_vec();
    // The numbers of a shape are far shorter than 65 535 bytes.
    head.extend_from_slice(&(length as u16).to_le_bytes());
    head.extend_from_slice(words.as_bytes());
    head.resize(10 + length - 1, b' ');
    head.push(b'\n');
    head
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_head_fills_whole_blocks() {
        for (records, channels, frames) in [(1, 1, 1), (10_000, 12, 5000), (u64::MAX, 99, 1 << 40)] {
            let head = head(records, channels, frames);
            assert_eq!((head.len() % 64, head.last()), (0, Some(&b'\n')));
            let length = usize::from(u16::from_le_bytes([head[8], head[9]]));
            assert_eq!(length + 10, head.len());
        }
    }
}
