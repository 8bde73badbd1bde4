//! `rig`: reads the description of a bench rig and judges it.

use crate::diagnostics::{VerbFailure, VerbOutcome, error, print};
use crate::script_file::bytes;
use crate::table::write_table;
use pulsewright_core::time::FrameRate;
use pulsewright_rig::coupling::{AcCoupling, LEAST_AMPLITUDE_MV, LEAST_QRS_MV};
use pulsewright_rig::description::{Correction, LowPassFilter, Output, OutputSignal, Rig, labels};
use pulsewright_rig::figures::{
    IMPEDANCE_NOISE_OHM, MONITOR_NOISE_UV, OutputFigures, REACH_MV, STEP_MMHG, STEP_UV, Sine, TOP_HZ, decibel,
};
use pulsewright_rig::judge::faults;
use pulsewright_rig::read::parse;
use pulsewright_rig::table::coding_word;
use pulsewright_text::number::counted;
use pulsewright_text::{fit, source};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// The text of the rig at `path` (`-` is standard input), and the rig.
pub fn load(path: &Path) -> Result<(Vec<u8>, Rig), VerbFailure> {
    let (text, name) = bytes(path)?;
    let rig = parse(&text, &name).map_err(|problems| VerbFailure::Script(Box::new(problems)))?;
    Ok((text, rig))
}

/// A rig to judge.
pub struct Request {
    /// Its description; `-` is standard input.
    pub rig: PathBuf,
    /// Frames a second.
    pub frame_rate: FrameRate,
}

/// Prints steps, reach and frequency response of a rig.
pub fn run(check: Request) -> VerbOutcome {
    let (_, rig) = load(&check.rig)?;
    let name = source::name(&check.rig);
    let rate_hz = f64::from(check.frame_rate.as_hz());
    print(|out| {
        let title = if rig.title.is_empty() { String::new() } else { format!(": {}", fit::line(&rig.title)) };
        writeln!(out, "{name}{title}")?;
        let converter = &rig.converter;
        let (bits, coding) = (converter.bits, coding_word(converter.coding));
        writeln!(out, "{} of {bits} bits, {coding}", counted(rig.outputs.len() as u64, "output"))?;
        writeln!(out)?;
        let heads = ["output", "lowest", "highest", "unit", "step", "at the connector", "correction", ""];
        write_table(out, &heads, &rig.outputs.iter().map(|output| row(&rig, output)).collect::<Vec<_>>())?;
        writeln!(out)?;
        for line in advice() {
            writeln!(out, "{line}")?;
        }
        writeln!(out)?;
        write_rate(out, rate_hz, rig.filter)?;
        rig.coupling.map_or(Ok(()), |coupling| write_coupling(out, coupling))
    })?;
    let faults = faults(&rig);
    faults.iter().for_each(|fault| error(&fault.to_string()));
    if faults.is_empty() { Ok(()) } else { Err(VerbFailure::Failed) }
}

fn row(rig: &Rig, output: &Output) -> Vec<String> {
    let figures = OutputFigures::new(rig, output);
    let name = match output.signal {
        OutputSignal::Electrode(terminal) => {
            let (american, european) = labels(terminal);
            format!("{american} ({european})")
        }
        OutputSignal::Bridge { .. } | OutputSignal::Resistor { .. } => output.signal.name().to_owned(),
    };
    let connector = match output.signal {
        OutputSignal::Electrode(_) => {
            let share = MONITOR_NOISE_UV / figures.connector_step;
            let share = if share >= 1.0 { format!("1/{share:.0}") } else { format!("{:.0} times", share.recip()) };
            format!("{} uV, {share} of the noise", digits(figures.connector_step))
        }
        OutputSignal::Bridge { .. } => format!("{} uV", digits(figures.connector_step)),
        OutputSignal::Resistor { .. } => format!("{} ohm", digits(figures.connector_step)),
    };
    let Correction { gain, offset } = output.correction;
    let correction = if output.correction == Correction::NONE {
        "not measured".to_owned()
    } else {
        format!("{gain:.5}, {offset:+.4} {}", output.signal.connector_unit())
    };
    let verdict = match (figures.advised.1, figures.reaches(&output.signal)) {
        (true, true) => "",
        (false, true) => "coarse",
        (true, false) => "short",
        (false, false) => "coarse, short",
    };
    let reach = [figures.reach.0, figures.reach.1].map(digits);
    vec![
        name,
        reach[0].clone(),
        reach[1].clone(),
        output.signal.unit().to_owned(),
        digits(figures.step),
        connector,
        correction,
        verdict.to_owned(),
    ]
}

fn advice() -> [String; 3] {
    [
        format!(
            "noise: a monitor's ECG input may have {MONITOR_NOISE_UV} uV peak to valley (IEC 60601-2-27, as makers quote it); \
             a step over {STEP_UV} uV is coarse"
        ),
        format!(
            "a step over {STEP_MMHG} mmHg of a pressure is coarse, over {IMPEDANCE_NOISE_OHM} ohm of an impedance likewise"
        ),
        format!("an electrode that does not reach {REACH_MV} mV either way is short"),
    ]
}

/// Writes the gain and the first image of hold and filter at a frame rate.
fn write_rate(out: &mut impl Write, rate_hz: f64, filter: Option<LowPassFilter>) -> io::Result<()> {
    match filter {
        Some(LowPassFilter { corner_hz, order }) => {
            writeln!(out, "at {rate_hz} frames a second, held, behind a filter of order {order} at {corner_hz} Hz:")?;
        }
        None => writeln!(out, "at {rate_hz} frames a second, held, without a filter:")?,
    }
    let frequencies = [10.0, 40.0, 100.0, TOP_HZ].into_iter().filter(|hz| *hz < 0.5 * rate_hz);
    let rows: Vec<Vec<String>> = frequencies
        .map(|hz| {
            let sine = Sine::new(hz, rate_hz, filter);
            let db = |gain| format!("{:.2}", decibel(gain));
            vec![
                format!("{hz}"),
                format!("{:.4}", sine.gain),
                db(sine.gain),
                format!("{}", sine.image_hz),
                db(sine.image_gain),
            ]
        })
        .collect();
    write_table(out, &["Hz", "gain", "dB", "first image Hz", "dB"], &rows)?;
    if rate_hz < 2.0 * TOP_HZ {
        writeln!(out, "{rate_hz} frames a second cannot carry {TOP_HZ} Hz")?;
    }
    if filter.is_none() {
        writeln!(
            out,
            "\nwithout a filter the images reach the monitor: 250 to 400 Hz of third order or higher at 1000 frames a second"
        )?;
    }
    Ok(())
}

/// Writes what AC coupling leaves, and the tests that it allows.
fn write_coupling(out: &mut impl Write, coupling: AcCoupling) -> io::Result<()> {
    let possible = |yes| if yes { "possible" } else { "not possible" };
    writeln!(out, "\nbehind an AC coupling of first order at {} Hz:", coupling.corner_hz())?;
    let qrs = coupling.qrs_mv();
    let rows = [
        ("tests of rate", "peak of a QRS of 1 mV and 80 ms:", qrs, "mV", qrs >= LEAST_QRS_MV),
        ("tests of amplitude", "the same:", qrs, "mV", qrs >= LEAST_AMPLITUDE_MV),
        ("tests of ST", "baseline after 3 mV for 100 ms:", coupling.after_impulse_mv(), "mV", coupling.holds_st()),
        ("pressures, respiration, offsets", "a level after 1 s:", coupling.left_after(1.0), "of it", false),
    ];
    let rows: Vec<Vec<String>> = rows
        .iter()
        .map(|(what, how, value, unit, yes)| {
            vec![(*what).to_owned(), possible(*yes).to_owned(), format!("{how} {value:.4} {unit}")]
        })
        .collect();
    write_table(out, &["", "", ""], &rows)
}

/// A number with four significant digits.
fn digits(value: f64) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    let decimals = (3 - value.abs().log10().floor() as i32).clamp(0, 9) as usize;
    format!("{value:.decimals$}")
}
