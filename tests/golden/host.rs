//! The demonstration's lines, computed here.

use super::demonstration::{Lines, RATE, SEQUENCE, Tally, with_pressures, words};
use super::items::{SCRIPT_ITEMS, SEED};
use pulsewright_core::frame::Frame;
use pulsewright_core::player::Player;
use pulsewright_core::script::{Item, Script, ScriptError};
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

/// Every program with its words.
///
/// # Errors
/// A script that the core refuses.
pub fn programs() -> impl Iterator<Item = ([&'static str; 2], Result<Script<'static>, ScriptError>)> {
    let alone = SCRIPT_ITEMS.iter().filter_map(|item| match item {
        Item::Step(step) => Some((words(&step.into())?, Script::new(SEED, std::slice::from_ref(item)))),
        Item::Repeat { .. } => None,
    });
    alone.chain(std::iter::once((SEQUENCE, Script::new(SEED, &SCRIPT_ITEMS))))
}

/// A player of a program.
pub fn player<'a>(script: &Script<'a>) -> Player<'a> {
    with_pressures(Player::new(script, RATE), script.timeline())
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
        tally.write(words, &mut text);
    }
    Ok(text.0)
}
