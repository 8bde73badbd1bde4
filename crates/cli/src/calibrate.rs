//! `calibrate`: two levels of each output, the readings of a meter, and the correction in the rig's description.

use crate::diagnostics::{VerbFailure, VerbOutcome, print, warn};
use crate::output::claim;
use crate::rig::load;
use crate::table::write_table;
use pulsewright_core::time::{FrameRate, Span};
use pulsewright_files::atomic::{FileError, FileSet, is_device};
use pulsewright_record::calendar::today;
use pulsewright_rig::calibration::{CalibrationLevels, Finding, Measurement, TOLERANCE_PERCENT, judge, write_back};
use pulsewright_rig::reading::{OutputReadings, parse_reading, parse_table, readings_of};
use pulsewright_rig::walk::write_levels;
use pulsewright_rig::{Output, Packing, Rig, RigFrames};
use pulsewright_text::json;
use pulsewright_text::number::counted;
use pulsewright_text::source::{self, reason};
use serde_json::Value;
use std::fs::OpenOptions;
use std::io::{self, IsTerminal, Write};
use std::path::{Path, PathBuf};

/// Input resistance of most meters on their millivolt ranges, ohm (common practice, no source).
const USUAL_METER_OHM: f64 = 1e7;

/// The measurement of an output: its index, the levels, the readings, the finding.
struct Measured {
    output: usize,
    levels: CalibrationLevels,
    readings: [f64; 2],
    finding: Finding,
}

/// A measurement of a rig.
pub struct Request {
    /// Its description.
    pub rig: PathBuf,
    /// Readings of flags: output, low and high as written.
    pub readings: Vec<(String, String, String)>,
    /// A table of readings.
    pub table: Option<PathBuf>,
    /// The meter, by its number and the date of its own calibration.
    pub meter: Option<String>,
    /// Its input resistance, ohm.
    pub meter_ohm: Option<f64>,
    /// Whether readings far off are taken.
    pub accept: bool,
    /// Whether the rig is only judged as it is.
    pub check: bool,
    /// Frames of the levels to write instead.
    pub levels: Option<LevelFrames>,
}

/// Frames that play the levels.
pub struct LevelFrames {
    /// File to write.
    pub path: PathBuf,
    /// How codes stand in it.
    pub packing: Packing,
    /// Frames a second.
    pub frame_rate: FrameRate,
    /// Time for which each level is held.
    pub hold: Span,
    /// Whether a file that is there may be replaced.
    pub force: bool,
}

/// Walks over the outputs.
pub fn run(request: Request) -> VerbOutcome {
    let args = &request;
    let (text, rig) = load(&args.rig)?;
    if let Some(levels) = &args.levels {
        return play(args, &rig, levels);
    }
    let given = given(args, &rig)?;
    let asked = given.is_empty() && io::stdin().is_terminal();
    if given.is_empty() && !asked {
        warn_of_meter(&rig, args.meter_ohm);
        return print(|out| show_levels(out, &rig, args.meter_ohm, None));
    }
    if !args.check && args.meter.is_none() {
        return Err(VerbFailure::input(
            "name the meter with --meter, by its number and the date of its own calibration",
        ));
    }
    if !args.check && args.rig == Path::new("-") {
        return Err(VerbFailure::input("a rig from standard input cannot be corrected; give its file, or --check"));
    }
    let set = if args.check { None } else { Some(claim_rig(&args.rig, &text)?) };
    let measured = if asked { ask(args, &rig)? } else { judged(args, &rig, &given)? };
    if measured.is_empty() {
        return Err(VerbFailure::input("no output was measured; nothing was written"));
    }
    print(|out| report(out, &rig, &measured))?;
    if args.check {
        return if measured.iter().all(|one| one.finding.holds()) { Ok(()) } else { Err(VerbFailure::Failed) };
    }
    match set {
        Some(set) => correct(args, &rig, &text, &measured, set),
        None => Ok(()),
    }
}

/// Claims the description, in which the corrections are written: a plain file with one name, as it was when it was read.
fn claim_rig(path: &Path, text: &[u8]) -> Result<FileSet, VerbFailure> {
    let name = path.display();
    if is_device(path) {
        return Err(VerbFailure::input(format!(
            "{name} is a pipe or a device, which takes no correction; give its file"
        )));
    }
    if names_of(path) > 1 {
        return Err(VerbFailure::input(format!(
            "{name} has other names (hard links), which would keep the old correction; give it one name, or copy it"
        )));
    }
    let set = claim(&[path], [], true)?;
    match source::file(path, source::DOCUMENT) {
        Ok(now) if now == text => Ok(set),
        _ => Err(VerbFailure::input(format!("{name} was changed while it was read; try again"))),
    }
}

/// How many names a file has.
#[cfg(unix)]
fn names_of(path: &Path) -> u64 {
    use std::os::unix::fs::MetadataExt;
    path.metadata().map_or(1, |there| there.nlink())
}

/// Other systems do not give the number.
#[cfg(not(unix))]
fn names_of(_: &Path) -> u64 {
    1
}

/// Readings from flags and from a table.
fn given(args: &Request, rig: &Rig) -> Result<Vec<OutputReadings>, VerbFailure> {
    let mut given = Vec::new();
    if let Some(path) = &args.table {
        let name = source::name(path);
        let bytes = source::file(path, source::DOCUMENT).map_err(VerbFailure::input)?;
        let text = source::utf8(&bytes)
            .map_err(|at| VerbFailure::input(format!("{name}: byte {at} is not UTF-8 text; save it as UTF-8")))?;
        given = parse_table(rig, text).map_err(|what| VerbFailure::input(format!("{name}: {what}")))?;
    }
    for (word, low, high) in &args.readings {
        let readings = readings_of(rig, word, low, high).map_err(VerbFailure::input)?;
        if given.iter().any(|other| other.0 == readings.0) {
            return Err(VerbFailure::input(format!("readings of {word} are given twice")));
        }
        given.push(readings);
    }
    Ok(given)
}

fn judged(args: &Request, rig: &Rig, given: &[OutputReadings]) -> Result<Vec<Measured>, VerbFailure> {
    let one = |(output, readings): &OutputReadings| {
        let description = rig.outputs.get(*output).ok_or_else(|| VerbFailure::input("no such output"))?;
        let levels = CalibrationLevels::new(rig, description, args.meter_ohm);
        let finding = judge(&levels, *readings, args.accept || args.check).map_err(|absurd| {
            VerbFailure::input(format!("{} (nothing was written): {absurd}", description.signal.name()))
        })?;
        Ok(Measured { output: *output, levels, readings: *readings, finding })
    };
    given.iter().map(one).collect()
}

/// Asks at the terminal, output by output; the end of input ends the walk.
fn ask(args: &Request, rig: &Rig) -> Result<Vec<Measured>, VerbFailure> {
    say(
        "Readings at the connector; Enter skips an output, Ctrl-D ends the walk, Ctrl-C leaves everything as it is.\n",
    )?;
    say("Never with a person, or equipment connected to one, on this rig.\n\n")?;
    let mut measured = Vec::new();
    let outputs = rig.outputs.iter().enumerate().filter(|(_, output)| output.is_measured());
    'outputs: for (output, description) in outputs {
        let levels = CalibrationLevels::new(rig, description, args.meter_ohm);
        let (name, unit) = (description.signal.name(), description.signal.connector_unit());
        'again: loop {
            let mut readings = [0.0; 2];
            for (which, word) in ["low", "high"].into_iter().enumerate() {
                loop {
                    let (code, about) = (levels.codes[which], levels.expected[which]);
                    say(&format!("{name}, {word} level, code {code}, about {about:.4} {unit}: "))?;
                    let line = source::line(&mut io::stdin().lock())
                        .map_err(|error| VerbFailure::input(format!("cannot read the terminal: {}", reason(&error))))?;
                    let Some(line) = line else {
                        say("\n")?;
                        break 'outputs;
                    };
                    if line.as_ref().is_ok_and(|line| line.trim().is_empty()) {
                        continue 'outputs;
                    }
                    match line.map_err(|bad| bad.to_string()).and_then(|line| parse_reading(&line, unit)) {
                        Ok(reading) => {
                            readings[which] = reading;
                            break;
                        }
                        Err(what) => say(&format!("  {what}\n"))?,
                    }
                }
            }
            match judge(&levels, readings, args.accept || args.check) {
                Ok(finding) => {
                    measured.push(Measured { output, levels, readings, finding });
                    break 'again;
                }
                Err(absurd) => say(&format!("  {absurd}\n"))?,
            }
        }
    }
    say("\n")?;
    Ok(measured)
}

/// Prints a piece of the conversation.
fn say(text: &str) -> VerbOutcome {
    print(|out| out.write_all(text.as_bytes()))
}

fn report(out: &mut impl Write, rig: &Rig, measured: &[Measured]) -> io::Result<()> {
    let rows: Vec<Vec<String>> = measured
        .iter()
        .filter_map(|one| {
            let signal = &rig.outputs.get(one.output)?.signal;
            let unit = signal.connector_unit();
            let verdict = if one.finding.holds() { "within" } else { "OFF" };
            Some(vec![
                signal.name().to_owned(),
                format!("{:.4}", one.levels.expected[0]),
                format!("{:.4}", one.readings[0]),
                format!("{:.4}", one.levels.expected[1]),
                format!("{:.4}", one.readings[1]),
                unit.to_owned(),
                format!("{:.2}", one.finding.error_percent),
                verdict.to_owned(),
                format!("{:.6}", one.finding.correction.gain),
                format!("{:+.5}", one.finding.correction.offset),
            ])
        })
        .collect();
    let heads = ["output", "low", "read", "high", "read", "unit", "off %", "", "gain", "offset"];
    write_table(out, &heads, &rows)?;
    writeln!(
        out,
        "\nwithin {TOLERANCE_PERCENT} % of half the span is enough for test signals (IEC 60601-2-25 201.5.3, as quoted)"
    )
}

/// Writes the corrections back, all or none.
fn correct(args: &Request, rig: &Rig, text: &[u8], measured: &[Measured], set: FileSet) -> VerbOutcome {
    let date = today();
    let meter = args.meter.as_deref().unwrap_or_default();
    let text = source::utf8(text).unwrap_or_default();
    let mut document: Value = json::value(text).map_err(VerbFailure::input)?;
    for one in measured {
        let Some(output) = rig.outputs.get(one.output) else {
            continue;
        };
        let measurement = Measurement {
            output: one.output,
            levels: one.levels,
            readings: one.readings,
            finding: one.finding,
            before: output.correction,
            date: &date,
            meter,
        };
        write_back(&mut document, &measurement);
    }
    let text = serde_json::to_string_pretty(&document).map_err(VerbFailure::input)? + "\n";
    set.write(&[(&args.rig, text.as_bytes())]).map_err(VerbFailure::input)?;
    let name = source::name(&args.rig);
    print(|out| {
        writeln!(
            out,
            "{} corrected in {name}; measure again with --check before use",
            counted(measured.len() as u64, "output")
        )
    })
}

/// Writes the levels as frames, and prints when each is played.
fn play(args: &Request, rig: &Rig, levels: &LevelFrames) -> VerbOutcome {
    let target = levels.path.as_path();
    let frames = RigFrames::new(rig, levels.packing).map_err(VerbFailure::input)?;
    let rate_hz = f64::from(levels.frame_rate.as_hz());
    let hold = (levels.hold.as_secs_f64() * rate_hz).round().max(1.0) as u64;
    let set = claim(&[target], [args.rig.as_path()], levels.force)?;
    let write = || -> Result<(), FileError> {
        if is_device(target) {
            let mut device = OpenOptions::new().write(true).open(target).map_err(FileError::of(target))?;
            return write_levels(rig, &frames, hold, &mut device).map_err(FileError::of(target));
        }
        let mut file = set.signal(target)?;
        write_levels(rig, &frames, hold, &mut file).map_err(FileError::of(target))?;
        let file = file.finish()?;
        set.publish(vec![file], &[]).map(|_| ())
    };
    write().map_err(VerbFailure::input)?;
    warn_of_meter(rig, args.meter_ohm);
    print(|out| show_levels(out, rig, args.meter_ohm, Some(hold as f64 / rate_hz)))
}

/// The levels of every output; with a hold, when they are played.
fn show_levels(out: &mut impl Write, rig: &Rig, meter_ohm: Option<f64>, hold_s: Option<f64>) -> io::Result<()> {
    let mut rows = Vec::new();
    for output in rig.outputs.iter().filter(|output| output.is_measured()) {
        let levels = CalibrationLevels::new(rig, output, meter_ohm);
        for (which, word) in ["low", "high"].into_iter().enumerate() {
            let start = hold_s.map(|hold_s| format!("{:.1}", hold_s * rows.len() as f64));
            let about = format!("{:.4}", levels.expected[which]);
            let unit = output.signal.connector_unit().to_owned();
            let row = [output.signal.name().to_owned(), word.to_owned(), levels.codes[which].to_string(), about, unit];
            rows.push(start.into_iter().chain(row).collect());
        }
    }
    let heads = ["start s", "output", "level", "code", "about", "unit"];
    write_table(out, if hold_s.is_some() { &heads } else { &heads[1..] }, &rows)
}

/// Warns when a usual meter would read the levels low and the meter's resistance is not given.
fn warn_of_meter(rig: &Rig, meter_ohm: Option<f64>) {
    let low = |output: &Output| 100.0 * (1.0 - output.left_by_meter(USUAL_METER_OHM, rig.reference_ohm()));
    let most = rig.outputs.iter().map(low).fold(0.0, f64::max);
    if meter_ohm.is_none() && most >= 0.05 {
        warn(&format!(
            "these levels are for a meter that draws nothing; one of 10 Mohm reads up to {most:.1} % low: name yours with --meter-ohm 10M"
        ));
    }
}
