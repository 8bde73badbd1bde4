//! `rig circuit`: the analogue front end of a rig as a circuit.

use crate::diagnostics::VerbOutcome;
use std::path::PathBuf;

/// A front end to design and to judge.
#[cfg_attr(not(feature = "circuit"), allow(dead_code))]
pub struct Request {
    /// Description of the rig; `-` is standard input.
    pub rig: PathBuf,
    /// Folder for the drawing, the parts list, the netlist and the description; none writes nothing.
    pub folder: Option<PathBuf>,
    /// Input resistance of the meter, ohm.
    pub meter_ohm: f64,
    /// Circuits that are drawn within the tolerances.
    pub draws: u32,
    /// Seed of the draws.
    pub seed: u64,
    /// Whether files that are there may be replaced.
    pub force: bool,
}

/// Says how to build a program that has it.
#[cfg(not(feature = "circuit"))]
pub fn run(_: Request) -> VerbOutcome {
    Err(crate::diagnostics::VerbFailure::input(
        "this program was built without the circuit solver; `cargo install --path crates/cli --features circuit` builds it with it",
    ))
}

#[cfg(feature = "circuit")]
pub use built::run;

#[cfg(feature = "circuit")]
mod built {
    use super::{Request, VerbOutcome};
    use crate::diagnostics::{PeopleOutput, VerbFailure, error, print, warn};
    use crate::output::claim;
    use crate::rig::load;
    use crate::table::write_table;
    use pulsewright_circuit::figures::{
        Carrier, ExcitationReading, Gain, LEAST_INPUT_OHM, MAINS, MOST_OFF, OutputLevels, barrier_current, carriers,
        excited, gains, left_when_open, levels,
    };
    use pulsewright_circuit::{FrontEnd, described, parts, schematic, spice};
    use pulsewright_plot::svg;
    use pulsewright_rig::description::Rig;
    use pulsewright_rig::figures::decibel;
    use pulsewright_text::{fit, json, source};
    use std::fs;
    use std::io::{self, Write};
    use std::path::Path;

    const FILES: [&str; 4] = ["schematic.svg", "parts.csv", "circuit.cir", "bench.json"];

    /// Designs, judges, prints and writes.
    pub fn run(request: Request) -> VerbOutcome {
        let (text, rig) = load(&request.rig)?;
        let name = source::name(&request.rig);
        let front = FrontEnd::new(&rig).map_err(VerbFailure::input)?;
        let Request { meter_ohm, draws, seed, .. } = request;
        let all = levels(&front, &rig, meter_ohm, draws, seed).map_err(VerbFailure::input)?;
        let filter = gains(&front, &rig, draws, seed).map_err(VerbFailure::input)?;
        let bridges = excited(&front, &rig).map_err(VerbFailure::input)?;
        let element = carriers(&front).map_err(VerbFailure::input)?;
        let leaked = barrier_current().map_err(VerbFailure::input)?;
        let left = left_when_open(&front).map_err(VerbFailure::input)?;
        print(|out| {
            let title = if rig.title.is_empty() { String::new() } else { format!(": {}", fit::line(&rig.title)) };
            writeln!(out, "{name}{title}")?;
            writeln!(out, "{} parts; {draws} circuits drawn within the tolerances, seed {seed}", count(&front, &rig))?;
            write_levels(out, &all, meter_ohm, draws)?;
            write_gains(out, &filter, draws)?;
            write_bridges(out, &bridges)?;
            write_element(out, &element)?;
            if let Some(left) = left {
                writeln!(
                    out,
                    "\nan electrode with its lead-off contact open keeps {:.3} % of its level",
                    100.0 * left
                )?;
            }
            let (volts, hz) = MAINS;
            writeln!(
                out,
                "{:.1} uA pass the isolation barrier from {volts} V, {hz} Hz on the computer's side",
                1e6 * leaked
            )
        })?;
        if let Some(folder) = &request.folder {
            write_files(folder, &request, &text, &front, &rig)?;
        }
        let failed: Vec<&OutputLevels> = all.iter().filter(|levels| !levels.holds()).collect();
        for levels in &failed {
            let (name, spread) = (levels.name, &levels.spread);
            if levels.off().abs() > MOST_OFF {
                error(&format!(
                    "{name} is {:+.3} % off the description, and at most {} % is accepted; standard values come no nearer",
                    100.0 * levels.off(),
                    100.0 * MOST_OFF
                ));
            }
            if spread.worst > spread.bound {
                error(&format!(
                    "{name}: a circuit within the tolerances is {:.3} % off, beyond the bound of {:.3} %",
                    100.0 * spread.worst,
                    100.0 * spread.bound
                ));
            }
        }
        if failed.is_empty() { Ok(()) } else { Err(VerbFailure::Failed) }
    }

    fn count(front: &FrontEnd, rig: &Rig) -> usize {
        parts::list(front, rig).iter().map(|line| line.quantity).sum()
    }

    fn write_levels(out: &mut PeopleOutput, all: &[OutputLevels], meter_ohm: f64, draws: u32) -> io::Result<()> {
        let rows: Vec<Vec<String>> = all
            .iter()
            .map(|levels| {
                let value = |value: f64| format!("{value:.5}");
                let most = levels
                    .spread
                    .shares
                    .iter()
                    .take(2)
                    .map(|share| format!("{} {:.3}", share.name, 100.0 * share.change));
                vec![
                    levels.name.to_owned(),
                    levels.code.to_string(),
                    levels.unit.to_owned(),
                    value(levels.asked),
                    value(levels.found),
                    format!("{:+.4}", 100.0 * levels.off()),
                    value(levels.open),
                    levels.least_input.map_or_else(|| "-".to_owned(), value),
                    value(levels.meter),
                    format!("{:.3}", 100.0 * levels.spread.bound),
                    format!("{:.3}", 100.0 * levels.spread.worst),
                    most.collect::<Vec<_>>().join(", "),
                ]
            })
            .collect();
        let (least, meter) = (LEAST_INPUT_OHM / 1e6, meter_ohm / 1e6);
        let [least, meter] = [format!("into {least} Mohm"), format!("on a meter of {meter} Mohm")];
        let heads = [
            "output",
            "code",
            "unit",
            "described",
            "circuit",
            "off %",
            "open",
            &least,
            &meter,
            "bound %",
            "worst draw %",
            "most by, %",
        ];
        writeln!(out, "\nlevels at the connectors, each at seven eighths of its codes, without any correction")?;
        write_table(out, &heads, &rows)?;
        writeln!(out, "bound: every part at the worse end of its tolerance; worst: the farthest of {draws} circuits")?;
        writeln!(out, "the two-point walk of `pulsewright calibrate` takes these errors out")
    }

    fn write_gains(out: &mut PeopleOutput, gains: &[Gain], draws: u32) -> io::Result<()> {
        if gains.is_empty() {
            return Ok(());
        }
        writeln!(out, "\nfilter behind a converter, with the stand-in and the load")?;
        let db = |gain: f64| format!("{:.3}", decibel(gain));
        let row = |gain: &Gain| {
            vec![format!("{}", gain.hz), db(gain.described), db(gain.found), format!("{:.2}", 100.0 * gain.worst)]
        };
        let worst = format!("worst of {draws} draws, +/- %");
        write_table(out, &["Hz", "described dB", "circuit dB", &worst], &gains.iter().map(row).collect::<Vec<_>>())
    }

    fn write_bridges(out: &mut PeopleOutput, bridges: &[ExcitationReading]) -> io::Result<()> {
        if bridges.is_empty() {
            return Ok(());
        }
        writeln!(out, "\npressure that a monitor shows at that code, mmHg, by its excitation")?;
        let row = |bridge: &ExcitationReading| {
            let direct = |(volts, mmhg): (f64, f64)| format!("{mmhg:.3} at {volts:.3} V");
            let follows = if bridge.ratiometric { "the excitation" } else { "fixed: the reading changes" };
            let alternating = if bridge.ratiometric { format!("{:.3}", bridge.alternating) } else { "-".to_owned() };
            let [described, higher] = [bridge.described, bridge.higher].map(direct);
            vec![bridge.name.to_owned(), described, higher, alternating, follows.to_owned()]
        };
        let heads = ["output", "described", "5 % higher", "a.c. of 5 kHz", "reference"];
        write_table(out, &heads, &bridges.iter().map(row).collect::<Vec<_>>())
    }

    fn write_element(out: &mut PeopleOutput, carriers: &[Carrier]) -> io::Result<()> {
        if carriers.is_empty() {
            return Ok(());
        }
        writeln!(out, "\nrespiration element, ohm, and in the path from RA to LL with it in RA's leg")?;
        let row = |carrier: &Carrier| {
            let [base, change] = match carrier.in_lead {
                Some((base, change)) => [format!("{base:.1}"), format!("{change:.4}")],
                None => ["-".to_owned(), "-".to_owned()],
            };
            vec![
                format!("{}", carrier.hz / 1000.0),
                format!("{:.2}", carrier.base_ohm),
                format!("{:.4}", carrier.change_ohm),
                format!("{:.3}", carrier.phase_deg),
                base,
                change,
            ]
        };
        let heads = ["kHz", "at 0 V", "change for 1 V", "phase, degrees", "RA to LL", "change for 1 V"];
        write_table(out, &heads, &carriers.iter().map(row).collect::<Vec<_>>())
    }

    fn write_files(folder: &Path, request: &Request, text: &[u8], front: &FrontEnd, rig: &Rig) -> VerbOutcome {
        let title = if rig.title.is_empty() { "Bench rig" } else { &rig.title };
        let text = source::utf8(text).map_err(|_| VerbFailure::input("the description is not UTF-8"))?;
        let mut document = json::value(text).map_err(VerbFailure::input)?;
        let uncorrected = described::describe(&mut document, front);
        let description = format!("{document:#}\n");
        let drawing = svg::write(&schematic::draw(front, rig));
        let parts = parts::csv(&parts::list(front, rig));
        let netlist = spice::write(front, title).map_err(VerbFailure::input)?;
        fs::create_dir_all(folder).map_err(|error| {
            VerbFailure::input(format!("cannot make the folder {}: {}", folder.display(), source::reason(&error)))
        })?;
        let paths = FILES.map(|name| folder.join(name));
        let names: Vec<&Path> = paths.iter().map(|path| path.as_path()).collect();
        let set = claim(&names, [request.rig.as_path()], request.force)?;
        let contents = [drawing.as_bytes(), parts.as_bytes(), netlist.as_bytes(), description.as_bytes()];
        let files: Vec<(&Path, &[u8])> = names.into_iter().zip(contents).collect();
        set.write(&files).map_err(VerbFailure::input)?;
        if !uncorrected.is_empty() {
            warn(&format!(
                "{} has no correction in the new bench.json: it was measured on another stage; measure the new one with `pulsewright calibrate`",
                uncorrected.join(", ")
            ));
        }
        Ok(())
    }
}
