//! Memory for encoded frames, used again from part to part without being cleared.

use std::ops::{Deref, DerefMut};

/// Bytes put one after another, as in a [`Vec`], but without zeroing a place before it is written.
#[derive(Clone, Debug, Default)]
pub struct Buffer {
    /// Those in use, and others that were once.
    bytes: Vec<u8>,
    len: usize,
}

impl Buffer {
    /// Room for `count` more bytes at the end, to be written: its present content has no meaning.
    pub fn room(&mut self, count: usize) -> &mut [u8] {
        let (start, end) = (self.len, self.len + count);
        if self.bytes.len() < end {
            self.bytes.resize(end, 0);
        }
        self.len = end;
        &mut self.bytes[start..end]
    }

    /// Appends bytes.
    pub fn extend_from_slice(&mut self, more: &[u8]) {
        self.room(more.len()).copy_from_slice(more);
    }

    /// Drops all but the first `len` bytes.
    pub fn truncate(&mut self, len: usize) {
        self.len = self.len.min(len);
    }

    /// Drops all bytes, and keeps the memory.
    pub fn clear(&mut self) {
        self.len = 0;
    }
}

impl Deref for Buffer {
    type Target = [u8];

    fn deref(&self) -> &[u8] {
        &self.bytes[..self.len]
    }
}

impl DerefMut for Buffer {
    fn deref_mut(&mut self) -> &mut [u8] {
        &mut self.bytes[..self.len]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_stand_in_the_order_in_which_they_came() {
        let mut buffer = Buffer::default();
        buffer.extend_from_slice(b"abc");
        buffer.room(2).copy_from_slice(b"de");
        assert_eq!(&*buffer, b"abcde");
        buffer.truncate(9);
        buffer.truncate(4);
        buffer.extend_from_slice(b"x");
        assert_eq!(&*buffer, b"abcdx");
        buffer.clear();
        assert!(buffer.is_empty());
        buffer.extend_from_slice(b"1234567");
        assert_eq!(&*buffer, b"1234567");
    }
}
