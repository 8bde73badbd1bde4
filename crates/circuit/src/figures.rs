//! Figures of the solved circuit: levels at the connectors, into loads and on a meter, filter, excitation, element, isolation.

use crate::netlist::{Class, Netlist};
use crate::solve::Solution;
use crate::stages::bridge::excitation_name;
use crate::stages::{
    CircuitError, Design, FrontEnd, OPEN_OHM, OutputCircuit, barrier, element_impedance, element_in_lead,
    impedance_between,
};
use crate::tolerance::Spread;
use pulsewright_rig::description::{Output, OutputSignal, Rig};

/// Largest error of a circuit's nominal level against the description, relative.
pub const MOST_OFF: f64 = 0.001;
/// Least input impedance of a monitor, ohm (IEC 60601-2-27 201.12.1.101.3, as makers quote it).
pub const LEAST_INPUT_OHM: f64 = 2.5e6;
/// Frequency at which an element is judged, Hz.
pub const CARRIER_HZ: f64 = 50_000.0;
/// Frequencies of impedance inputs, Hz: common practice, no source.
pub const CARRIERS_HZ: [f64; 3] = [20_000.0, 50_000.0, 100_000.0];
/// Highest frequency of an alternating excitation, Hz (ANSI/AAMI BP22, from memory).
pub const EXCITATION_HZ: f64 = 5000.0;
/// Frequencies at which a filter is shown, Hz.
pub const FILTER_HZ: [f64; 4] = [10.0, 40.0, 100.0, 150.0];
/// Mains that the isolation is judged with: V r.m.s. and Hz.
pub const MAINS: (f64, f64) = (250.0, 50.0);

/// Levels of one output at the code that it is judged at.
#[derive(Clone, Debug, PartialEq)]
pub struct OutputLevels {
    /// Word of the output.
    pub name: &'static str,
    /// Unit at the connector.
    pub unit: &'static str,
    /// The code.
    pub code: i64,
    /// Level that the description asks for, without a correction.
    pub asked: f64,
    /// Level of the circuit with the load of the description.
    pub found: f64,
    /// Level at the open connector.
    pub open: f64,
    /// Level into the least input of a monitor, for electrodes.
    pub least_input: Option<f64>,
    /// Reading of the meter, which is one more load.
    pub meter: f64,
    /// Spread over the tolerances, with the load of the description.
    pub spread: Spread,
}

impl OutputLevels {
    /// Relative error of the nominal circuit.
    pub fn off(&self) -> f64 {
        self.found / self.asked - 1.0
    }

    /// Whether the circuit does what the description says, and the draws stay within the bound.
    pub fn holds(&self) -> bool {
        self.off().abs() <= MOST_OFF && self.spread.worst <= self.spread.bound
    }
}

/// The levels of every output but the reference.
///
/// # Errors
/// [`CircuitError`] when a circuit can't be solved.
pub fn levels(
    front: &FrontEnd,
    rig: &Rig,
    meter_ohm: f64,
    draws: u32,
    seed: u64,
) -> Result<Vec<OutputLevels>, CircuitError> {
    let mut all = Vec::new();
    for ((channel, test), output) in front.channels.iter().zip(&front.tests).zip(&rig.outputs) {
        if !output.is_measured() {
            continue;
        }
        let hz = if matches!(output.signal, OutputSignal::Resistor { .. }) { CARRIER_HZ } else { 0.0 };
        let level = |netlist: &Netlist| channel.level_at(netlist, hz);
        let electrode = matches!(output.signal, OutputSignal::Electrode(_));
        let least = electrode.then(|| level(&channel.into_load(Some(LEAST_INPUT_OHM)))).transpose()?;
        all.push(OutputLevels {
            name: channel.name,
            unit: output.signal.connector_unit(),
            code: test.code,
            asked: test.level,
            found: level(&channel.netlist)?,
            open: level(&channel.into_load(None))?,
            least_input: least,
            meter: reading(front, channel, output, meter_ohm)?,
            spread: Spread::new(&channel.netlist, level, draws, seed, channel.output as u64)?,
        });
    }
    Ok(all)
}

/// Reading of a meter of this resistance: of an electrode against the connector of RL.
fn reading(front: &FrontEnd, channel: &OutputCircuit, output: &Output, meter_ohm: f64) -> Result<f64, CircuitError> {
    match output.signal {
        // The meter sends its own direct current.
        OutputSignal::Resistor { .. } => channel.level(&channel.netlist),
        OutputSignal::Bridge { .. } => channel.level(&channel.beside(meter_ohm)),
        OutputSignal::Electrode(_) => {
            let reference = front.channels.iter().find(|other| matches!(other.design, Design::Reference { .. }));
            let Some(reference) = reference else {
                return channel.level(&channel.beside(meter_ohm));
            };
            let mut netlist = channel.netlist.clone();
            netlist.join(&reference.netlist);
            let pins = [channel.connector[0].as_str(), reference.connector[0].as_str()];
            netlist.resistor("RMETER", pins, meter_ohm, 0.0, Class::Outside);
            let solution =
                Solution::at_rest(&netlist).map_err(|error| CircuitError::Unsolvable(channel.name, error))?;
            Ok(1000.0 * solution.between(pins.map(|node| netlist.find(node).unwrap_or(0))).re)
        }
    }
}

/// Gain of an electrode's path at a frequency, against that at 0 Hz.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gain {
    /// Frequency, Hz.
    pub hz: f64,
    /// Gain of a Butterworth filter as described.
    pub described: f64,
    /// Gain of the circuit.
    pub found: f64,
    /// Largest relative error of the draws against the circuit's.
    pub worst: f64,
}

/// Gains behind the filter of the first electrode; none without a filter or an electrode.
///
/// # Errors
/// [`CircuitError`] when a circuit can't be solved.
pub fn gains(front: &FrontEnd, rig: &Rig, draws: u32, seed: u64) -> Result<Vec<Gain>, CircuitError> {
    let electrode = front.channels.iter().find(|channel| matches!(channel.design, Design::Electrode { .. }));
    let (Some(filter), Some(channel)) = (rig.filter, electrode) else {
        return Ok(Vec::new());
    };
    let mut all = Vec::new();
    for hz in FILTER_HZ {
        let gain = |netlist: &Netlist| filter_gain(channel, netlist, hz);
        let spread = Spread::new(&channel.netlist, gain, draws, seed, hz as u64)?;
        all.push(Gain { hz, described: filter.gain(hz), found: gain(&channel.netlist)?, worst: spread.worst });
    }
    Ok(all)
}

fn filter_gain(channel: &OutputCircuit, netlist: &Netlist, hz: f64) -> Result<f64, CircuitError> {
    let source = channel.drive.as_ref().map_or("", |drive| drive.part.as_str());
    let at = |hz| {
        let solution = Solution::of_one(netlist, hz, source);
        let solution = solution.map_err(|error| CircuitError::Unsolvable(channel.name, error))?;
        Ok(solution.between(channel.pins(netlist)).norm())
    };
    Ok(at(hz)? / at(0.0)?)
}

/// Pressure that a monitor reads at the judged code, mmHg, with one excitation after the other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ExcitationReading {
    /// Word of the output.
    pub name: &'static str,
    /// Whether the excitation is the converter's reference.
    pub ratiometric: bool,
    /// Excitation of the description, V, and the reading.
    pub described: (f64, f64),
    /// An excitation 5 % higher, V, and the reading.
    pub higher: (f64, f64),
    /// Reading with an alternating excitation of [`EXCITATION_HZ`].
    pub alternating: f64,
}

/// The readings of every bridge.
///
/// # Errors
/// [`CircuitError`] when a circuit can't be solved.
pub fn excited(front: &FrontEnd, rig: &Rig) -> Result<Vec<ExcitationReading>, CircuitError> {
    let mut all = Vec::new();
    for (channel, output) in front.channels.iter().zip(&rig.outputs) {
        let OutputSignal::Bridge { sensitivity, excitation_v, ratiometric, .. } = output.signal else {
            continue;
        };
        let name = excitation_name(channel.output);
        // mV for a volt of excitation; the sensitivity is in uV.
        let mmhg = |mv_per_v: f64| 1000.0 * mv_per_v / sensitivity;
        let direct = |volts: f64| {
            let mut netlist = channel.netlist.clone();
            netlist.set(&name, volts);
            channel.level(&netlist).map(|mv| (volts, mmhg(mv / volts)))
        };
        let solution = Solution::of_one(&channel.netlist, EXCITATION_HZ, &name);
        let solution = solution.map_err(|error| CircuitError::Unsolvable(channel.name, error))?;
        let alternating = mmhg(1000.0 * solution.between(channel.pins(&channel.netlist)).norm());
        all.push(ExcitationReading {
            name: channel.name,
            ratiometric,
            described: direct(excitation_v)?,
            higher: direct(1.05 * excitation_v)?,
            alternating,
        });
    }
    Ok(all)
}

/// The element at one carrier.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Carrier {
    /// Frequency, Hz.
    pub hz: f64,
    /// Resistance at 0 V, ohm.
    pub base_ohm: f64,
    /// Change of the impedance's size for a volt, ohm.
    pub change_ohm: f64,
    /// Phase of the impedance at a volt, degrees.
    pub phase_deg: f64,
    /// Base and change in the path from RA to LL with the element in RA's leg, ohm; `None` without these electrodes.
    pub in_lead: Option<(f64, f64)>,
}

/// The element at each carrier; none without one.
///
/// # Errors
/// [`CircuitError`] when a circuit can't be solved.
pub fn carriers(front: &FrontEnd) -> Result<Vec<Carrier>, CircuitError> {
    let Some(channel) = front.channels.iter().find(|channel| matches!(channel.design, Design::Element { .. })) else {
        return Ok(Vec::new());
    };
    let unsolvable = |error| CircuitError::Unsolvable(channel.name, error);
    let mut all = Vec::new();
    for hz in CARRIERS_HZ {
        let at = |volts: f64| {
            let mut channel = channel.clone();
            channel.set_volts(volts);
            element_impedance(&channel.netlist, hz).map_err(unsolvable)
        };
        let lead = |volts: f64| {
            let netlist = element_in_lead(front, volts)?;
            Some(impedance_between(&netlist, ["ra", "ll"], hz).map(|ohm| ohm.norm()).map_err(unsolvable))
        };
        let (base, moved) = (at(0.0)?, at(1.0)?);
        let in_lead = match (lead(0.0).transpose()?, lead(1.0).transpose()?) {
            (Some(base), Some(moved)) => Some((base, moved - base)),
            _ => None,
        };
        all.push(Carrier {
            hz,
            base_ohm: base.norm(),
            change_ohm: moved.norm() - base.norm(),
            phase_deg: moved.arg().to_degrees(),
            in_lead,
        });
    }
    Ok(all)
}

/// Current through the isolation barrier, A r.m.s., with the mains of [`MAINS`] between the rig's common and the computer's earth.
///
/// # Errors
/// [`CircuitError`] when the circuit can't be solved.
pub fn barrier_current() -> Result<f64, CircuitError> {
    let netlist = barrier();
    let solution = Solution::of_one(&netlist, MAINS.1, "VMAINS");
    let solution = solution.map_err(|error| CircuitError::Unsolvable("isolation", error))?;
    Ok(MAINS.0 * solution.current(&netlist, "VMAINS").norm())
}

/// The level at an electrode whose lead-off contact is open, into its load, relative to the closed contact; `None` without a load.
///
/// # Errors
/// [`CircuitError`] when the circuit can't be solved.
pub fn left_when_open(front: &FrontEnd) -> Result<Option<f64>, CircuitError> {
    let electrode = front.channels.iter().find(|channel| matches!(channel.design, Design::Electrode { .. }));
    let Some(channel) = electrode else {
        return Ok(None);
    };
    let mut open = channel.netlist.clone();
    open.set(&channel.contact_name(), OPEN_OHM);
    let load = channel.load_name();
    if !open.parts.iter().any(|part| part.name == load) {
        return Ok(None);
    }
    Ok(Some(channel.level(&open)? / channel.level(&channel.netlist)?))
}
