//! A document in its own order with the times of its parts: a repeated block stands once, at the times of its first pass.

use crate::document::{Document, DocumentPart};
use pulsewright_core::time::{Span, TICKS_PER_SECOND};
use std::fmt;

/// A time of an outline: since the start, or since the end of a step that holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OutlineTime {
    // Repeats of repeats may last longer than a span can.
    ticks: u128,
    after_hold: bool,
}

impl OutlineTime {
    const ZERO: OutlineTime = OutlineTime { ticks: 0, after_hold: false };
}

impl From<Span> for OutlineTime {
    fn from(span: Span) -> OutlineTime {
        OutlineTime { ticks: span.ticks().into(), after_hold: false }
    }
}

/// As `0:01:30`, with milliseconds where there are any; `+` before a time that counts from the end of a hold.
impl fmt::Display for OutlineTime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let second = u128::from(TICKS_PER_SECOND);
        let ms = (self.ticks * 1000 + second / 2) / second;
        let (seconds, ms) = (ms / 1000, ms % 1000);
        let sign = if self.after_hold { "+" } else { "" };
        write!(f, "{sign}{}:{:02}:{:02}", seconds / 3600, seconds / 60 % 60, seconds % 60)?;
        if ms > 0 { write!(f, ".{ms:03}") } else { Ok(()) }
    }
}

/// A row of an outline.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OutlineRow {
    /// Its start.
    pub start: OutlineTime,
    /// Blocks that it lies in.
    pub depth: usize,
    /// The part that starts.
    pub part: OutlinePart,
}

/// The part that a row of an outline stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OutlinePart {
    /// A block that is played so many times; the rows below it, one deeper, are its own.
    Block(u32),
    /// The step of this index.
    Step(usize),
}

/// A document in its own order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Outline {
    /// Blocks and steps.
    pub rows: Vec<OutlineRow>,
    /// End of the document.
    pub end: OutlineTime,
    /// Start of the first step that holds.
    pub held_at: Option<OutlineTime>,
}

impl Outline {
    /// Of a document.
    pub fn new(document: &Document) -> Outline {
        let parts = document.parts();
        // How often the blocks that start at a part are played, the outermost last.
        let mut opening: Vec<Vec<u32>> = vec![Vec::new(); parts.len()];
        for part in parts {
            if let DocumentPart::Repeat { first, times, .. } = part
                && let Some(blocks) = opening.get_mut(*first as usize)
            {
                blocks.push(*times);
            }
        }
        let mut outline = Outline { rows: Vec::new(), end: OutlineTime::ZERO, held_at: None };
        let mut starts = Vec::with_capacity(parts.len());
        let mut depth: usize = 0;
        for (index, (part, opening)) in parts.iter().zip(&opening).enumerate() {
            let start = outline.end;
            starts.push(start);
            for times in opening.iter().rev() {
                outline.rows.push(OutlineRow { start, depth, part: OutlinePart::Block(*times) });
                depth += 1;
            }
            match part {
                DocumentPart::Step(step) => {
                    outline.rows.push(OutlineRow { start, depth, part: OutlinePart::Step(index) });
                    outline.pass(step.duration);
                }
                DocumentPart::Repeat { first, times, .. } => {
                    depth = depth.saturating_sub(1);
                    if let Some(start) = starts.get(*first as usize) {
                        outline.repeat(*start, *times);
                    }
                }
            }
        }
        outline
    }

    fn pass(&mut self, duration: Option<Span>) {
        match duration {
            Some(duration) => self.end.ticks += u128::from(duration.ticks()),
            None => {
                self.held_at.get_or_insert(self.end);
                self.end = OutlineTime { ticks: 0, after_hold: true };
            }
        }
    }

    /// The passes after the first of a block that began at `start`.
    fn repeat(&mut self, start: OutlineTime, times: u32) {
        // A hold within the block: the time counts from the last pass's hold, whatever came before.
        if self.end.after_hold == start.after_hold && self.end.ticks >= start.ticks {
            let pass = self.end.ticks - start.ticks;
            self.end.ticks = start.ticks.saturating_add(pass.saturating_mul(times.into()));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::parse;

    fn outline(steps: &str) -> Outline {
        let text = format!(r#"{{"version": 1, "steps": [{steps}]}}"#);
        Outline::new(&parse(text.as_bytes(), "outline").expect("a script"))
    }

    #[test]
    fn a_block_counts_all_its_passes_and_stands_once() {
        let found = outline(
            r#"{"duration_s": 30}, {"repeat": 3, "steps": [{"duration_s": 10.5}, {"duration_s": 60}]}, {"duration_s": 1}"#,
        );
        let rows: Vec<(String, usize)> = found.rows.iter().map(|row| (row.start.to_string(), row.depth)).collect();
        let expected = [("0:00:00", 0), ("0:00:30", 0), ("0:00:30", 1), ("0:00:40.500", 1), ("0:04:01.500", 0)];
        assert_eq!(rows, expected.map(|(start, depth)| (start.to_owned(), depth)));
        assert_eq!((found.end.to_string(), found.held_at), ("0:04:02.500".to_owned(), None));
    }

    #[test]
    fn times_after_a_hold_count_from_its_end() {
        let found = outline(r#"{"duration_s": 5}, {"duration_s": "hold"}, {"duration_s": 7}"#);
        assert_eq!(found.held_at.map(|at| at.to_string()), Some("0:00:05".to_owned()));
        assert_eq!(found.end.to_string(), "+0:00:07");
    }
}
