//! `check`: reads scripts and prints what they would play.

use crate::diagnostics::{VerbFailure, VerbOutcome, print, report};
use crate::script_file;
use crate::table::write_table;
use pulsewright_core::anatomy::PressureSite;
use pulsewright_core::expect::{Cause, Expected, Reading, ReadingBand, SMALLEST_BREATH_OHM};
use pulsewright_core::settings::Field;
use pulsewright_core::time::Span;
#[cfg(feature = "console")]
use pulsewright_script::Problems;
use pulsewright_script::expect::reading_of;
use pulsewright_script::outline::{Outline, OutlinePart, OutlineTime};
use pulsewright_script::{Document, DocumentPart, DocumentStep};
use pulsewright_text::{fit, source};
use std::io::{self, Write};
#[cfg(feature = "console")]
use std::path::Path;
use std::path::PathBuf;

const HEADS: [&str; 9] = ["start", "lasts", "step", "rhythm", "bpm", "arterial mmHg", "breaths", "alarm", "ramps"];

/// Most steps that are played to say what a monitor shows.
const FORESEEN: usize = 2000;

/// Prints the timeline of every script; the problems of one do not hide those of the next.
pub fn run(scripts: &[PathBuf]) -> VerbOutcome {
    let mut failures = Vec::new();
    for path in scripts {
        match script_file::load(path).and_then(|document| show(&source::name(path), &document)) {
            Err(VerbFailure::Closed) => return Err(VerbFailure::Closed),
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

/// The text that `check` prints for a script of this text at `path`; its problems when it has some.
#[cfg(feature = "console")]
pub fn said(path: &Path, text: &[u8]) -> Result<String, Box<Problems>> {
    let name = source::name(path);
    let document = script_file::document(path, text, &name)?;
    let mut printed = Vec::new();
    // A text in memory takes everything.
    let _ = write(&mut printed, &name, &document);
    Ok(fit::block(&String::from_utf8_lossy(&printed)).into_owned())
}

fn show(name: &str, document: &Document) -> VerbOutcome {
    print(|out| write(out, name, document))
}

fn write(out: &mut impl Write, name: &str, document: &Document) -> io::Result<()> {
    let foreseen = document.foresee_alarms(FORESEEN);
    let outline = Outline::new(document);
    let title = document.title().map_or(String::new(), |title| format!(": {}", fit::line(title)));
    writeln!(out, "{name}{title}")?;
    match outline.held_at {
        None => writeln!(out, "plays {}, seed {}", outline.end, document.seed())?,
        Some(at) => writeln!(
            out,
            "holds from {at} on, until the command to go on or the end of the render; seed {}",
            document.seed()
        )?,
    }
    writeln!(out)?;
    write_table(out, &HEADS, &rows(document, &outline, &foreseen))?;
    for note in notes(document, &foreseen) {
        writeln!(out, "note: {note}")?;
    }
    writeln!(out)
}

/// Gains of noise, beats that are refused, breaths that are not seen and steps that are too far ahead, a line each.
fn notes(document: &Document, foreseen: &[Expected]) -> Vec<String> {
    let mut notes = Vec::new();
    for item in 0..document.parts().len() {
        if let Some(noise) = document.step(item).and_then(|step| step.noise.as_ref()) {
            notes.push(format!("step \"{}\": {}", document.label(item), noise.gains_words()));
        }
    }
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
        document.step(expected.item).into_iter().flat_map(|step| contradictions(step, expected)).for_each(note);
    }
    notes.dedup();
    let played = document.parts().iter().filter(|part| matches!(part, DocumentPart::Step(_))).count();
    let known = |item: &usize| foreseen.iter().any(|expected| expected.item == *item);
    let unknown = (0..document.parts().len()).filter(|item| document.step(*item).is_some() && !known(item)).count();
    if unknown > 0 {
        notes.push(format!("of {played} steps the last {unknown} are too far ahead to say what a monitor shows"));
    }
    notes
}

/// Readings whose value or range the document gives, and that a correct monitor does not keep. Where ST is read is the monitor's.
fn contradictions(step: &DocumentStep, expected: &Expected) -> Vec<String> {
    let readings = step.expect.readings.iter().filter(|of| of.quantity.lead().is_none());
    let found = readings.filter_map(|of| {
        let band = reading_of(of.quantity, expected)?.band?;
        let [bottom, top] = [0, 1].map(|end| of.limit.allowed(of.band.map(|band| band[end]))[end]);
        // Shown as it is judged: to tenths.
        let [low, high] = [band.low, band.high].map(|value| (f64::from(value) * 10.0).round() / 10.0);
        if low >= bottom && high <= top {
            return None;
        }
        let shown = if low == high { low.to_string() } else { format!("{low} to {high}") };
        let (word, unit) = (of.quantity.id(), of.quantity.unit());
        let asked = of.value.map_or(String::new(), |value| format!("{value} {unit}, "));
        let limits = of.limit.words(unit);
        Some(format!("{word} must be {asked}{limits}, but a correct monitor shows {shown} {unit}"))
    });
    found.collect()
}

/// The rows of the table.
fn rows(document: &Document, outline: &Outline, foreseen: &[Expected]) -> Vec<Vec<String>> {
    let rows = outline.rows.iter().filter_map(|row| {
        Some(match row.part {
            OutlinePart::Block(times) => {
                vec![row.start.to_string(), String::new(), indented(row.depth, &format!("{times} times:"))]
            }
            OutlinePart::Step(item) => {
                let expected = foreseen.iter().find(|expected| expected.item == item);
                let name = indented(row.depth, document.label(item));
                step_row(row.start, document.step(item)?, expected, name)
            }
        })
    });
    rows.collect()
}

fn step_row(start: OutlineTime, step: &DocumentStep, expected: Option<&Expected>, name: String) -> Vec<String> {
    let lasts = step.duration.map_or("hold".to_owned(), |duration| OutlineTime::from(duration).to_string());
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
    vec![
        start.to_string(),
        lasts,
        name,
        match step.listed_words() {
            Some(words) => format!("{}, {words}", step.settings.rhythm().id),
            None => step.settings.rhythm().id.to_owned(),
        },
        reading(|expected| &expected.rate),
        pressure,
        reading(|expected| &expected.breaths),
        alarm,
        ramps.collect::<Vec<_>>().join(", "),
    ]
}

fn value(step: &DocumentStep, field: Field, end: bool) -> f32 {
    let at = if end { step.duration.unwrap_or(Span::MAX) } else { Span::ZERO };
    step.item().value(field, at)
}

/// A field over a step: "72", or "72 to 96".
fn moving(step: &DocumentStep, field: Field) -> String {
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
