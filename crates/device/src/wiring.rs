//! The outputs of a rig: which signal each carries, and its code.

use crate::fixed::{Fixed, Slope};
use pulsewright_core::anatomy::PressureSite;
use pulsewright_core::frame::Frame;

/// Most outputs of a rig: ten electrodes, ten pressures, the cuff, respiration.
pub const MAX_OUTPUTS: usize = 22;

/// Signal of an output.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OutputSource {
    /// The reference electrode: always zero.
    Reference,
    /// A limb electrode against the mean of the limbs, three times its mV: its own leads are then exact.
    Limb(LimbElectrode),
    /// A chest electrode, V1 to V6 by index from 0, mV.
    Chest(u8),
    /// Impedance of respiration, ohm.
    Respiration,
    /// A pressure, mmHg.
    Pressure(PressureSite),
    /// The cuff, mmHg.
    Cuff,
}

/// A limb electrode.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LimbElectrode {
    /// Right arm.
    RightArm,
    /// Left arm.
    LeftArm,
    /// Left leg.
    LeftLeg,
}

impl OutputSource {
    /// Its number in an image.
    pub const fn number(self) -> u8 {
        match self {
            OutputSource::Reference => 0,
            OutputSource::Limb(LimbElectrode::RightArm) => 1,
            OutputSource::Limb(LimbElectrode::LeftArm) => 2,
            OutputSource::Limb(LimbElectrode::LeftLeg) => 3,
            // One beyond V6 gets the number of another source, or of none: a wiring refuses it.
            OutputSource::Chest(index) => 4_u8.saturating_add(index),
            OutputSource::Respiration => 16,
            OutputSource::Cuff => 17,
            OutputSource::Pressure(site) => 32 + site as u8,
        }
    }

    /// The source of a number.
    pub fn of_number(number: u8) -> Option<OutputSource> {
        Some(match number {
            0 => OutputSource::Reference,
            1 => OutputSource::Limb(LimbElectrode::RightArm),
            2 => OutputSource::Limb(LimbElectrode::LeftArm),
            3 => OutputSource::Limb(LimbElectrode::LeftLeg),
            4..10 => OutputSource::Chest(number - 4),
            16 => OutputSource::Respiration,
            17 => OutputSource::Cuff,
            32.. => OutputSource::Pressure(*PressureSite::ALL.get(usize::from(number) - 32)?),
            _ => return None,
        })
    }

    /// Its value in a frame.
    fn value(self, frame: &Frame) -> Fixed {
        let [i, ii, chest @ ..] = &frame.leads_mv;
        let sample = match self {
            OutputSource::Reference => return Fixed::ZERO,
            OutputSource::Limb(limb) => {
                let (i, ii) = (Fixed::new(*i), Fixed::new(*ii));
                return match limb {
                    LimbElectrode::RightArm => Fixed::ZERO.minus(i).minus(ii),
                    LimbElectrode::LeftArm => i.plus(i).minus(ii),
                    LimbElectrode::LeftLeg => ii.plus(ii).minus(i),
                };
            }
            OutputSource::Chest(index) => chest.get(usize::from(index)).copied().unwrap_or(0.0),
            OutputSource::Respiration => frame.respiration_ohm,
            OutputSource::Pressure(site) => frame.pressure_mmhg[site as usize],
            OutputSource::Cuff => frame.cuff_mmhg[0],
        };
        Fixed::new(sample)
    }
}

/// An output.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WiringOutput {
    /// Its signal.
    pub source: OutputSource,
    /// From the signal (of a limb electrode three times its mV) to the code.
    pub slope: Slope,
    /// Code of rest: 0 mV, 0 mmHg, or the base of the element.
    pub rest: i32,
}

/// The outputs of a rig, in the order of the codes of a frame.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wiring {
    outputs: heapless::Vec<WiringOutput, MAX_OUTPUTS>,
    lowest: i32,
    highest: i32,
}

/// A wiring that can't be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WiringError {
    /// No output, or more than [`MAX_OUTPUTS`].
    Outputs,
    /// The range of codes is empty or wider than 24 bits.
    Codes,
    /// The slope of the output of this index is out of range, or its rest is no code.
    Output(usize),
    /// The output of this index carries a chest electrode beyond V6.
    Source(usize),
}

impl core::fmt::Display for WiringError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            WiringError::Outputs => write!(f, "a rig has 1 to {MAX_OUTPUTS} outputs"),
            WiringError::Codes => write!(f, "codes have 8 to 24 bits"),
            WiringError::Output(index) => {
                write!(f, "output {} of the rig: a step is far too fine or too coarse", index + 1)
            }
            WiringError::Source(index) => write!(f, "output {} of the rig: no chest electrode is beyond V6", index + 1),
        }
    }
}

impl core::error::Error for WiringError {}

impl Wiring {
    /// Makes the wiring of these outputs, with the lowest and the highest code.
    ///
    /// # Errors
    /// [`WiringError`].
    pub fn new(outputs: &[WiringOutput], (lowest, highest): (i32, i32)) -> Result<Wiring, WiringError> {
        let count = i64::from(highest) - i64::from(lowest);
        if !(255..1 << 24).contains(&count) {
            return Err(WiringError::Codes);
        }
        let wrong = |output: &WiringOutput| !output.slope.is_valid() || !(lowest..=highest).contains(&output.rest);
        if let Some(index) = outputs.iter().position(wrong) {
            return Err(WiringError::Output(index));
        }
        let unknown = |output: &WiringOutput| OutputSource::of_number(output.source.number()) != Some(output.source);
        if let Some(index) = outputs.iter().position(unknown) {
            return Err(WiringError::Source(index));
        }
        let outputs = heapless::Vec::from_slice(outputs).map_err(|_| WiringError::Outputs)?;
        if outputs.is_empty() {
            return Err(WiringError::Outputs);
        }
        Ok(Wiring { outputs, lowest, highest })
    }

    /// The outputs.
    pub fn outputs(&self) -> &[WiringOutput] {
        &self.outputs
    }

    /// Lowest and highest code.
    pub const fn codes(&self) -> (i32, i32) {
        (self.lowest, self.highest)
    }

    /// Bytes of a code's word on the link and in a file, 2 or 4.
    pub const fn code_bytes(&self) -> usize {
        // Both fit in 32 bits and their difference in 24.
        if self.highest - self.lowest < 1 << 16 { 2 } else { 4 }
    }

    /// The code of an output for a frame, and whether the converter does not reach it.
    pub fn code(&self, output: &WiringOutput, frame: &Frame) -> (i32, bool) {
        let code = output.slope.code(output.source.value(frame));
        let held = code.clamp(i64::from(self.lowest), i64::from(self.highest));
        // Within 24 bits after the clamp.
        (held as i32, held != code)
    }

    /// Puts the code of each output into `codes`, and returns how many the converter does not reach.
    ///
    /// Places beyond the outputs are left as they are.
    pub fn put(&self, frame: &Frame, codes: &mut [i32]) -> usize {
        let mut clipped = 0;
        for (place, output) in codes.iter_mut().zip(&self.outputs) {
            let (code, beyond) = self.code(output, frame);
            *place = code;
            clipped += usize::from(beyond);
        }
        clipped
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_lead_back_to_their_sources() {
        let known = (0..=u8::MAX).filter_map(|number| Some((number, OutputSource::of_number(number)?)));
        let mut count = 0;
        for (number, source) in known {
            assert_eq!(source.number(), number);
            count += 1;
        }
        assert_eq!(count, MAX_OUTPUTS);
    }

    #[test]
    fn limbs_are_thirds_of_leads() {
        let frame = Frame { leads_mv: [0.3, 1.1, 0.0, 0.0, 0.0, 0.0, 0.0, -0.2], ..Frame::default() };
        let [ra, la, ll] = [LimbElectrode::RightArm, LimbElectrode::LeftArm, LimbElectrode::LeftLeg]
            .map(|limb| OutputSource::Limb(limb).value(&frame));
        let (i, ii) = (Fixed::new(0.3), Fixed::new(1.1));
        assert_eq!(la.minus(ra), i.plus(i).plus(i));
        assert_eq!(ll.minus(ra), ii.plus(ii).plus(ii));
        assert_eq!(ra.plus(la).plus(ll), Fixed::ZERO);
        assert_eq!(OutputSource::Chest(5).value(&frame), Fixed::new(-0.2));
    }

    #[test]
    fn leads_come_back_exactly_from_electrodes() {
        // Any values of a frame's 24 bits; the definitions of the leads, in thirds and halves.
        let mut seed = 1_u32;
        let mut lead = || {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            3.0 * ((seed >> 8) as f32 / 8_388_608.0 - 1.0)
        };
        for _ in 0..10_000 {
            let frame = Frame { leads_mv: [(); 8].map(|()| lead()), ..Frame::default() };
            let [i, ii] = [0, 1].map(|index| Fixed::new(frame.leads_mv[index]).0);
            let at = |limb| OutputSource::Limb(limb).value(&frame).0;
            let (ra, la, ll) = (at(LimbElectrode::RightArm), at(LimbElectrode::LeftArm), at(LimbElectrode::LeftLeg));
            assert_eq!(ra + la + ll, 0, "the central terminal");
            assert_eq!([la - ra, ll - ra, ll - la], [3 * i, 3 * ii, 3 * (ii - i)]);
            // Goldberger: an electrode against the mean of the other two.
            assert_eq!(2 * ra - la - ll, -3 * (i + ii));
            assert_eq!(2 * la - ra - ll, 3 * (2 * i - ii));
            assert_eq!(2 * ll - ra - la, 3 * (2 * ii - i));
        }
    }

    #[test]
    fn wirings_that_cannot_be_are_refused() {
        let slope = Slope { mantissa: 1 << 30, shift: 20, offset: 0 };
        let output = WiringOutput { source: OutputSource::Reference, slope, rest: 0 };
        let new = |output, codes| Wiring::new(&[output], codes).err();
        assert_eq!(new(output, (-128, 127)), None);
        assert_eq!(Wiring::new(&[], (-128, 127)).err(), Some(WiringError::Outputs));
        assert_eq!(Wiring::new(&[output; 23], (-128, 127)).err(), Some(WiringError::Outputs));
        assert_eq!(new(output, (0, 1 << 24)), Some(WiringError::Codes));
        assert_eq!(new(output, (i32::MIN, i32::MAX)), Some(WiringError::Codes));
        assert_eq!(new(WiringOutput { rest: 200, ..output }, (-128, 127)), Some(WiringError::Output(0)));
        for index in [6, 12, 28, 251, u8::MAX] {
            let beyond = WiringOutput { source: OutputSource::Chest(index), ..output };
            assert_eq!(Wiring::new(&[output, beyond], (-128, 127)).err(), Some(WiringError::Source(1)), "{index}");
        }
        let steep = Slope { shift: 7, ..slope };
        assert_eq!(new(WiringOutput { slope: steep, ..output }, (-128, 127)), Some(WiringError::Output(0)));
    }
}
