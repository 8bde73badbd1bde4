//! `check`: reads scripts and prints what they would play.

use crate::args::Check;
use crate::diagnostics::{Failure, Outcome, print, report};
use crate::script_file::load;
use crate::table::write_table;
use pulsewright_core::anatomy::PressureSite;
use pulsewright_core::expect::{Cause, Expected, Reading, ReadingBand, SMALLEST_BREATH_OHM};
use pulsewright_core::settings::Field;
use pulsewright_core::time::{Span, TICKS_PER_SECOND};
use pulsewright_script::{Document, Part, Step};
use pulsewright_text::{fit, source};
use std::io::Write;

const HEADS: [&str; 9] = ["start", "lasts", "step", "rhythm", "bpm", "arterial mmHg", "breaths", "alarm", "ramps"];

/// Most steps that are played to say what a monitor shows.
const FORESEEN: usize = 2000;

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
    let foreseen = document.foresee(FORESEEN);
    let timeline = Timeline::of(document, &foreseen);
    print(|out| {
        let title = document.title().map_or(String::new(), |title| format!(": {}", fit::line(title)));
        writeln!(out, "{name}{title}")?;
        match timeline.held_at {
            None => writeln!(out, "plays {}, seed {}", timeline.now, document.seed())?,
            Some(at) => writeln!(
                out,
                "holds from {at} on, until the command to go on or the end of the render; seed {}",
                document.seed()
            )?,
        }
        writeln!(out)?;
        write_table(out, &HEADS, &timeline.rows)?;
        for note in notes(document, &foreseen) {
            writeln!(out, "note: {note}")?;
        }
        writeln!(out)
    })
}

/// Beats that are refused, breaths that are not seen and steps that are too far ahead, a line each.
fn notes(document: &Document, foreseen: &[Expected]) -> Vec<String> {
    let mut notes = Vec::new();
    for expected in foreseen {
        let name = document.label(expected.item);
        let mut note = |what: String| notes.push(format!("step \"{name}\": {what}"));
        match expected.refused {
            0 => {}
            1 => note("1 beat that was asked for does not come".to_owned()),
            beats => note(format!("{beats} beats that were asked for do not come")),
        }
        if expected.breaths.causes.has(Cause::ShallowBreaths) {
            note(format!("breaths below {SMALLEST_BREATH_OHM} ohm are not seen, and count as apnoea"));
        }
        let rates = expected.rate.band.zip(expected.pulse.band);
        if let Some((beats, pulses)) = rates.filter(|(beats, pulses)| pulses.mean < 0.9 * beats.mean) {
            note(format!("{:.0} beats a minute make {:.0} pulses a minute", beats.mean, pulses.mean));
        }
    }
    notes.dedup();
    let played = document.parts().iter().filter(|part| matches!(part, Part::Step(_))).count();
    let known = |item: &usize| foreseen.iter().any(|expected| expected.item == *item);
    let unknown = (0..document.parts().len()).filter(|item| document.step(*item).is_some() && !known(item)).count();
    if unknown > 0 {
        notes.push(format!("of {played} steps the last {unknown} are too far ahead to say what a monitor shows"));
    }
    notes
}

/// A time of the timeline: since the start, or since the end of a step that holds.
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
    fn of(document: &Document, foreseen: &[Expected]) -> Timeline {
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
                Part::Step(step) => {
                    let expected = foreseen.iter().find(|expected| expected.item == index);
                    timeline.step(step, expected, &indented(depth, document.label(index)));
                }
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

    fn step(&mut self, step: &Step, expected: Option<&Expected>, name: &str) {
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
        let reading = |pick: fn(&Expected) -> &Reading| {
            expected.and_then(|expected| pick(expected).band).map_or("-".to_owned(), shown)
        };
        let systolic = reading(|expected| &expected.pressure(PressureSite::Arterial).systolic);
        let diastolic = reading(|expected| &expected.pressure(PressureSite::Arterial).diastolic);
        let mean = reading(|expected| &expected.pressure(PressureSite::Arterial).mean);
        let pressure = match systolic.as_str() {
            "-" => format!("mean {mean}"),
            _ => format!("{systolic} / {diastolic}"),
        };
        let alarm = expected.and_then(Expected::alarm).map_or("none".to_owned(), |sounded| {
            format!("{}, {}", sounded.first.kind.priority().id(), sounded.first.kind.id())
        });
        let ramps = step.ramps.iter().map(|ramp| format!("{} {}", ramp.field.info().path, moving(step, ramp.field)));
        self.row(vec![
            start.to_string(),
            lasts,
            name.to_owned(),
            rhythm.id.to_owned(),
            reading(|expected| &expected.rate),
            pressure,
            reading(|expected| &expected.breaths),
            alarm,
            ramps.collect::<Vec<_>>().join(", "),
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

/// One value, or where it moves: "70", "90 to 120".
fn shown(band: ReadingBand) -> String {
    match band.width() < 1.0 {
        true => format!("{:.0}", band.mean),
        false => format!("{:.0} to {:.0}", band.low, band.high),
    }
}

fn indented(depth: usize, text: &str) -> String {
    format!("{:1$}{text}", "", 2 * depth)
}
