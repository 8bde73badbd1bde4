//! The demonstration's lines, computed here.

use crate::demonstration::{Lines, Tally, player, programs};
use pulsewright_core::frame::Frame;
use std::error::Error;
use std::fmt::Write;

struct Text(String);

impl Lines for Text {
    fn figure(&mut self, words: &[&str], value: u64, unit: &str) {
        let _ = writeln!(self.0, "{} {value} {unit}", words.join("."));
    }

    fn hash(&mut self, words: &[&str], value: u64, unit: &str) {
        let _ = writeln!(self.0, "{} {value:016x} {unit}", words.join("."));
    }
}

/// Plays every program, `block` frames asked for at a time.
///
/// # Errors
/// If the core refuses a script.
pub fn lines(block: usize) -> Result<String, Box<dyn Error>> {
    let mut text = Text(String::new());
    let mut block = vec![Frame::default(); block];
    for (words, script) in programs() {
        let script = script?;
        let mut playing = player(&script);
        let mut tally = Tally::default();
        while let n @ 1.. = playing.fill(&mut block) {
            tally.take(&block[..n]);
        }
        tally.tell(words, &mut text);
    }
    Ok(text.0)
}
