//! Lines of `name value unit` to the debugger's host.
//!
//! Own digits instead of `core::fmt`: formatting would bring its own tables and panic paths into the image that is measured.

use crate::board::{self, Host};
use crate::demonstration::Lines;
#[cfg(target_arch = "riscv32")]
use semihosting::io::Write;

/// Longest line in bytes; longer lines are cut.
const LINE: usize = 128;

/// Where the lines go.
pub struct HostLines {
    out: Host,
}

impl HostLines {
    /// Opens the host's standard output; `None` if no host answers.
    pub fn open() -> Option<HostLines> {
        board::host().map(|out| HostLines { out })
    }

    fn put(&mut self, words: &[&str], unit: &str, value: impl Fn(&mut Line)) {
        let mut line = Line::new();
        for (i, word) in words.iter().enumerate() {
            line.text(if i == 0 { "" } else { "." });
            line.text(word);
        }
        line.text(" ");
        value(&mut line);
        line.text(" ");
        line.text(unit);
        line.text("\n");
        // A host that no longer listens shows as a missing line there; there is nowhere else to say so.
        let _ = self.out.write_all(line.bytes.get(..line.len).unwrap_or(&[]));
    }
}

impl Lines for HostLines {
    fn figure(&mut self, words: &[&str], value: u64, unit: &str) {
        self.put(words, unit, |line| line.decimal(value));
    }

    fn hash(&mut self, words: &[&str], value: u64, unit: &str) {
        self.put(words, unit, |line| line.hexadecimal(value));
    }
}

struct Line {
    bytes: [u8; LINE],
    len: usize,
}

impl Line {
    const fn new() -> Line {
        Line { bytes: [0; LINE], len: 0 }
    }

    fn text(&mut self, text: &str) {
        for &byte in text.as_bytes() {
            self.byte(byte);
        }
    }

    fn byte(&mut self, byte: u8) {
        if let Some(slot) = self.bytes.get_mut(self.len) {
            *slot = byte;
            self.len += 1;
        }
    }

    fn decimal(&mut self, mut value: u64) {
        // From the last digit: dividing by a constant needs no check for zero, which would be a panic in the image.
        let mut digits = [b'0'; 20];
        let mut used = 1;
        for (i, digit) in digits.iter_mut().rev().enumerate() {
            *digit = b'0' + (value % 10) as u8;
            if value > 0 {
                used = i + 1;
            }
            value /= 10;
        }
        for &digit in digits.iter().skip(digits.len() - used) {
            self.byte(digit);
        }
    }

    fn hexadecimal(&mut self, value: u64) {
        for nibble in (0..16).rev() {
            let digit = (value >> (4 * nibble) & 15) as u8;
            self.byte(if digit < 10 { b'0' + digit } else { b'a' + digit - 10 });
        }
    }
}
