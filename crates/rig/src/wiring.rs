//! The rig as integers: the wiring that a board works with, which the desk uses as well.

use crate::description::{EcgConnector, Output, OutputSignal, Rig};
use crate::line::LinearMap;
use pulsewright_core::frame::{Channel, Electrode};
use pulsewright_device::fixed::{CODE_BITS, Slope};
use pulsewright_device::wiring::{LimbElectrode, OutputSource, Wiring, WiringError, WiringOutput as Wired};

/// Bits of a slope's mantissa, without its sign.
const MANTISSA_BITS: i32 = 31;

/// The wiring of a rig.
///
/// # Errors
/// [`WiringError`] when a step of an output is far too fine or too coarse.
pub fn wiring(rig: &Rig) -> Result<Wiring, WiringError> {
    let (lowest, highest) = rig.converter.codes();
    // At most 24 bits.
    let codes = (lowest as i32, highest as i32);
    let outputs = rig.outputs.iter().enumerate();
    let wired = outputs.map(|(index, output)| wired(rig, output).ok_or(WiringError::Output(index)));
    Wiring::new(&wired.collect::<Result<Vec<_>, _>>()?, codes)
}

/// An output; `None` when its slope is out of reach.
fn wired(rig: &Rig, output: &Output) -> Option<Wired> {
    let to_code = output.code_to_signal(&rig.converter).reversed();
    let source = source(output.signal)?;
    let unit = if matches!(source, OutputSource::Limb(_)) { 3.0 } else { 1.0 };
    let slope = slope(LinearMap { slope: to_code.slope / unit, ..to_code }, middle(rig))?;
    Some(Wired { source, slope, rest: rest_code(rig, output) as i32 })
}

/// The code nearest to nothing: 0 mV, 0 mmHg, or the element's base.
pub(crate) fn rest_code(rig: &Rig, output: &Output) -> i64 {
    let nothing = match output.signal {
        OutputSignal::Electrode(_) | OutputSignal::Bridge { .. } => 0.0,
        OutputSignal::Resistor { base_ohm, .. } => base_ohm,
    };
    let (lowest, highest) = rig.converter.codes();
    let code = output.code_to_signal(&rig.converter).back(nothing).round_ties_even();
    code.clamp(lowest as f64, highest as f64) as i64
}

fn source(signal: OutputSignal) -> Option<OutputSource> {
    Some(match signal {
        OutputSignal::Electrode(EcgConnector::Reference) => OutputSource::Reference,
        OutputSignal::Electrode(EcgConnector::Active(electrode)) => match electrode {
            Electrode::RA => OutputSource::Limb(LimbElectrode::RightArm),
            Electrode::LA => OutputSource::Limb(LimbElectrode::LeftArm),
            Electrode::LL => OutputSource::Limb(LimbElectrode::LeftLeg),
            Electrode::V1 => OutputSource::Chest(0),
            Electrode::V2 => OutputSource::Chest(1),
            Electrode::V3 => OutputSource::Chest(2),
            Electrode::V4 => OutputSource::Chest(3),
            Electrode::V5 => OutputSource::Chest(4),
            Electrode::V6 => OutputSource::Chest(5),
        },
        OutputSignal::Bridge { channel: Channel::Pressure(site), .. } => OutputSource::Pressure(site),
        OutputSignal::Bridge { channel: Channel::Cuff, .. } => OutputSource::Cuff,
        OutputSignal::Bridge { .. } => return None,
        OutputSignal::Resistor { .. } => OutputSource::Respiration,
    })
}

/// The code in the middle.
fn middle(rig: &Rig) -> f64 {
    let (lowest, highest) = rig.converter.codes();
    0.5 * (lowest as f64 + highest as f64)
}

/// The line with as many bits of its slope as fit. It is exact at the code `middle`, so that what its slope lacks counts over half
/// the codes at most, however far from zero the signal is.
fn slope(line: LinearMap, middle: f64) -> Option<Slope> {
    if !line.slope.is_normal() || !line.intercept.is_finite() {
        return None;
    }
    // 2^30 <= |mantissa| < 2^31; one that rounds up to 2^31 takes a bit less.
    let exponent = line.slope.abs().log2().floor() as i32 + 1;
    let scaled = |shift: i32| (line.slope * 2_f64.powi(shift)).round();
    let most = f64::from(i32::MAX);
    let shift = (MANTISSA_BITS - exponent).min(i32::from(Slope::MOST_SHIFT));
    let shift = if scaled(shift).abs() > most { shift - 1 } else { shift };
    let rounded = scaled(shift) * 2_f64.powi(-shift);
    let intercept = middle - rounded * line.back(middle);
    let offset = intercept * 2_f64.powi(CODE_BITS as i32);
    let slope =
        Slope { mantissa: scaled(shift) as i32, shift: u8::try_from(shift).ok()?, offset: offset.round() as i64 };
    (slope.is_valid() && slope.mantissa != 0).then_some(slope)
}

#[cfg(test)]
mod tests {
    use super::*;
    use pulsewright_device::fixed::Fixed;

    #[test]
    fn a_slope_is_as_exact_as_its_bits() {
        for value in [1.0, -1.0, 1752.4, -0.003, 8_000_000.0, 0.999_999_999_99] {
            let line = slope(LinearMap { slope: value, intercept: 0.0 }, 0.0).unwrap();
            let back = f64::from(line.mantissa) * 2_f64.powi(-i32::from(line.shift));
            assert!((back / value - 1.0).abs() < 2_f64.powi(-30), "{value}: {back}");
        }
        let line = slope(LinearMap { slope: 1000.0, intercept: -12.5 }, 0.0).unwrap();
        assert_eq!([0.0, 0.0125, 1.0].map(|x| line.code(Fixed::new(x))), [-12, 0, 988]);
        for value in [0.0, f64::NAN, 1e9, 1e-20] {
            assert_eq!(slope(LinearMap { slope: value, intercept: 0.0 }, 0.0), None, "{value}");
        }
    }
}
