//! `check`: reads scripts and prints what they would play.

use crate::args::Check;
use crate::diagnostics::{Failure, Outcome, print, report};
use crate::script_file::load;
use crate::table::write_table;
use pulsewright_core::settings::Field;
use pulsewright_core::time::{Span, TICKS_PER_SECOND};
use pulsewright_script::{Document, Part, Step};
use pulsewright_text::{fit, source};
use std::io::Write;

const HEADS: [&str; 9] = ["start", "lasts", "step", "rhythm", "bpm", "arterial mmHg", "breaths", "alarm", "also ramps"];

/// Fields whose ramps have a column of their own.
const COLUMNS: [Field; 4] = [Field::RateBpm, Field::ArterialSystolic, Field::ArterialDiastolic, Field::BreathsPerMin];

/// Prints the timeline of every script; the problems of one do not hide those of the next.
pub fn run(check: &Check) -> Outcome {
    let mut failures = Vec::new();
    for path in &check.scripts {
        match load(path).and_then(|document| show(&source::name(path), &document)) {
            Err(Failure::Closed) => return Err(Failure::Closed),
            Err(failure) => failures.push(failure),
            Ok(()) => {}
        }
    }
    let last = failures.pop();
    for failure in failures {
        report(Err(failure));
    }
    last.map_or(Ok(()), Err)
}

fn show(name: &str, document: &Document) -> Outcome {
    let timeline = Timeline::of(document);
    print(|out| {
        let title = document.title().map_or(String::new(), |title| format!(": {}", fit::line(title)));
        writeln!(out, "{name}{title}")?;
        match timeline.held_at {
            None => writeln!(out, "plays {}, seed {}", timeline.now, document.seed())?,
            Some(at) => writeln!(
                out,
                "holds from {at} on until told to go on, or as long as a render is; seed {}",
                document.seed()
            )?,
        }
        writeln!(out)?;
        write_table(out, &HEADS, &timeline.rows)?;
        writeln!(out)
    })
}

/// A time of the timeline: since the start, or since a step that holds was told to go on.
#[derive(Clone, Copy)]
struct Clock {
    ticks: u128,
    after_hold: bool,
}

impl std::fmt::Display for Clock {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let second = u128::from(TICKS_PER_SECOND);
        let ms = (self.ticks * 1000 + second / 2) / second;
        let (seconds, ms) = (ms / 1000, ms % 1000);
        let sign = if self.after_hold { "+" } else { "" };
        write!(f, "{sign}{}:{:02}:{:02}", seconds / 3600, seconds / 60 % 60, seconds % 60)?;
        if ms > 0 { write!(f, ".{ms:03}") } else { Ok(()) }
    }
}

/// The document in its own order: a repeated block is shown once, at the times of its first pass.
struct Timeline {
    rows: Vec<Vec<String>>,
    now: Clock,
    /// Start of the first step that holds.
    held_at: Option<Clock>,
}

impl Timeline {
    fn of(document: &Document) -> Timeline {
        let parts = document.parts();
        // How often the blocks that start at a part are played, the outermost last.
        let mut opening: Vec<Vec<u32>> = vec![Vec::new(); parts.len()];
        for part in parts {
            if let Part::Repeat { first, times, .. } = part
                && let Some(blocks) = opening.get_mut(*first as usize)
            {
                blocks.push(*times);
            }
        }
        let mut timeline = Timeline { rows: Vec::new(), now: Clock { ticks: 0, after_hold: false }, held_at: None };
        let mut starts = Vec::with_capacity(parts.len());
        let mut depth = 0;
        for (index, (part, opening)) in parts.iter().zip(&opening).enumerate() {
            starts.push(timeline.now);
            for times in opening.iter().rev() {
                timeline.row(vec![
                    timeline.now.to_string(),
                    String::new(),
                    indented(depth, &format!("{times} times:")),
                ]);
                depth += 1;
            }
            match part {
                Part::Step(step) => timeline.step(step, &indented(depth, document.label(index))),
                Part::Repeat { first, times, .. } => {
                    depth -= 1;
                    if let Some(start) = starts.get(*first as usize) {
                        timeline.repeat(*start, *times);
                    }
                }
            }
        }
        timeline
    }

    fn row(&mut self, row: Vec<String>) {
        self.rows.push(row);
    }

    fn step(&mut self, step: &Step, name: &str) {
        let start = self.now;
        let rhythm = step.settings.rhythm();
        let lasts = match step.duration {
            Some(duration) => {
                self.now.ticks += u128::from(duration.ticks());
                Clock { ticks: duration.ticks().into(), after_hold: false }.to_string()
            }
            None => {
                self.now = Clock { ticks: 0, after_hold: true };
                self.held_at.get_or_insert(start);
                "hold".to_owned()
            }
        };
        let beats = rhythm.beats();
        let either = |there: bool, text: String| if there { text } else { "-".to_owned() };
        let pressure = |end: bool| {
            format!("{}/{}", value(step, Field::ArterialSystolic, end), value(step, Field::ArterialDiastolic, end))
        };
        let also = step.ramps.iter().filter(|ramp| !COLUMNS.contains(&ramp.field));
        let also = also.map(|ramp| format!("{} {}", ramp.field.info().path, moving(step, ramp.field)));
        self.row(vec![
            start.to_string(),
            lasts,
            name.to_owned(),
            rhythm.id.to_owned(),
            either(beats, moving(step, Field::RateBpm)),
            either(beats, from_to(pressure(false), pressure(true))),
            moving(step, Field::BreathsPerMin),
            rhythm.alarm.id().to_owned(),
            also.collect::<Vec<_>>().join(", "),
        ]);
    }

    /// The passes after the first of a block that began at `start`.
    fn repeat(&mut self, start: Clock, times: u32) {
        // A hold within the block: the clock counts from the last pass's hold, whatever came before.
        if self.now.after_hold == start.after_hold && self.now.ticks >= start.ticks {
            let pass = self.now.ticks - start.ticks;
            self.now.ticks = start.ticks.saturating_add(pass.saturating_mul(times.into()));
        }
    }
}

fn value(step: &Step, field: Field, end: bool) -> f32 {
    let at = if end { step.duration.unwrap_or(Span::MAX) } else { Span::ZERO };
    step.item().value(field, at)
}

/// A field over a step: "72", or "72 to 96".
fn moving(step: &Step, field: Field) -> String {
    let (from, to) = (value(step, field, false), value(step, field, true));
    if from == to { from.to_string() } else { format!("{from} to {to}") }
}

fn from_to(from: String, to: String) -> String {
    if from == to { from } else { format!("{from} to {to}") }
}

fn indented(depth: usize, text: &str) -> String {
    format!("{:1$}{text}", "", 2 * depth)
}
