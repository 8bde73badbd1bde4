//! Frames to codes: for files through [`Encoder`], for streams through [`RigFrames::push`].

use crate::description::{Coding, OutputSignal, Rig};
use crate::wiring::wiring;
use pulsewright_core::block::Block;
use pulsewright_core::frame::{Channel, Frame};
use pulsewright_core::time::FrameRate;
use pulsewright_device::wiring::{Wiring, WiringError};
use pulsewright_files::buffer::Buffer;
use pulsewright_files::format::{Encoder, Section};
use pulsewright_files::quantiser::Tally;
use pulsewright_files::wav::Head;

/// How codes stand in a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Packing {
    /// Little-endian words of 16 bits, or of 32 for codes of more than 16.
    Raw,
    /// WAV of 16 bits, or of 24 for codes of more than 16.
    Wav(FrameRate),
}

/// A rig whose codes can't be made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RigError {
    /// A WAV file can't hold its codes, of as many bits.
    #[error(
        "samples of WAV are signed, and {0} bits of offset binary need all of an unsigned word: \
         write .raw, or say \"coding\": \"twos-complement\" if the converter takes that"
    )]
    Unsigned(u32),
    /// The wiring can't be.
    #[error("{0}")]
    Wiring(#[from] WiringError),
}

/// Turns frames into codes.
#[derive(Clone, Debug)]
pub struct RigFrames {
    signals: Vec<OutputSignal>,
    // Two dozen outputs are most of a kilobyte.
    wiring: Box<Wiring>,
    bytes: usize,
    head: Option<Head>,
}

impl RigFrames {
    /// For a rig.
    ///
    /// # Errors
    /// [`RigError`] when a WAV file can't hold its codes, or a step is far too fine or too coarse.
    pub fn new(rig: &Rig, packing: Packing) -> Result<RigFrames, RigError> {
        let converter = &rig.converter;
        let wiring = Box::new(wiring(rig)?);
        let bytes = match packing {
            Packing::Wav(_) if converter.bits > 16 => 3,
            Packing::Wav(_) => 2,
            Packing::Raw => wiring.code_bytes(),
        };
        let full = converter.bits as usize == 8 * bytes;
        if matches!(packing, Packing::Wav(_)) && full && converter.coding == Coding::OffsetBinary {
            return Err(RigError::Unsigned(converter.bits));
        }
        let head = match packing {
            Packing::Raw => None,
            Packing::Wav(rate) => {
                let channels = rig.outputs.len();
                Some(Head { channels, sample_bytes: bytes, float: false, rate, always_wide: false })
            }
        };
        let signals = rig.outputs.iter().map(|output| output.signal).collect();
        Ok(RigFrames { signals, wiring, bytes, head })
    }

    /// Channels of the core that it follows, each once.
    pub fn channels(&self) -> Vec<Channel> {
        let mut channels = Vec::new();
        for channel in self.signals.iter().filter_map(OutputSignal::channel) {
            if !channels.contains(&channel) {
                channels.push(channel);
            }
        }
        channels
    }

    /// The same in integers, for a board.
    pub fn wiring(&self) -> &Wiring {
        &self.wiring
    }

    /// Word for a code in the description of a stream: signed or not, and the bits of its word.
    pub fn sample_word(&self) -> String {
        let letter = if self.wiring.codes().0 < 0 { 'i' } else { 'u' };
        format!("{letter}{}", 8 * self.bytes)
    }

    /// Bytes of a frame.
    pub fn frame_bytes(&self) -> usize {
        self.bytes * self.signals.len()
    }

    /// Code of each output for a frame, and whether it was clamped to the converter's range.
    pub fn codes(&self, frame: &Frame) -> impl Iterator<Item = (i64, bool)> {
        self.wiring.outputs().iter().map(|output| {
            let (code, beyond) = self.wiring.code(output, frame);
            (i64::from(code), beyond)
        })
    }

    /// Appends the codes of consecutive frames; gives the samples of each output that were clipped.
    pub fn push(&self, frames: impl IntoIterator<Item = Frame>, bytes: &mut Vec<u8>) -> Vec<u64> {
        let mut clipped = vec![0; self.signals.len()];
        for frame in frames {
            let start = bytes.len();
            bytes.resize(start + self.frame_bytes(), 0);
            self.put(&frame, &mut bytes[start..], &mut clipped);
        }
        clipped
    }

    /// Puts the codes of a frame in their place, and counts those that were clipped.
    fn put(&self, frame: &Frame, place: &mut [u8], clipped: &mut [u64]) {
        for (((code, beyond), place), clipped) in self.codes(frame).zip(place.chunks_mut(self.bytes)).zip(clipped) {
            place.iter_mut().zip(code.to_le_bytes()).for_each(|(byte, value)| *byte = value);
            *clipped += u64::from(beyond);
        }
    }

    /// Appends a code as it stands in a frame.
    pub fn push_code(&self, code: i64, bytes: &mut Vec<u8>) {
        bytes.extend(code.to_le_bytes().iter().take(self.bytes));
    }
}

impl Encoder for RigFrames {
    fn lanes(&self) -> Vec<String> {
        self.signals.iter().map(|signal| signal.name().to_owned()).collect()
    }

    fn encoded_bytes(&self, section: Section) -> Option<u64> {
        section.frames.checked_mul(self.frame_bytes() as u64)
    }

    fn head(&self, section: Section, bytes: &mut Vec<u8>) {
        if let Some(head) = &self.head {
            head.head(section, bytes);
        }
    }

    fn encode(&self, _: u64, block: &Block, bytes: &mut Buffer, tallies: &mut [Tally]) {
        let mut clipped = vec![0; self.signals.len()];
        let places = bytes.room(block.len() * self.frame_bytes()).chunks_mut(self.frame_bytes().max(1));
        for (frame, place) in (0..block.len()).filter_map(|index| block.frame(index)).zip(places) {
            self.put(&frame, place, &mut clipped);
        }
        for (tally, clipped) in tallies.iter_mut().zip(clipped) {
            tally.clipped += clipped;
        }
    }

    fn tail(&self, section: Section, bytes: &mut Vec<u8>) {
        if let Some(head) = &self.head {
            head.tail(section, bytes);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::read::parse;

    fn rig(bits: u32, coding: &str) -> Rig {
        let text = format!(
            r#"{{"version": 1, "converter": {{"bits": {bits}, "low_v": -2.5, "high_v": 2.5, "coding": "{coding}"}},
              "outputs": [{{"electrode": "LA", "attenuation": 500}}, {{"electrode": "N", "attenuation": 500}},
                {{"pressure": "arterial", "sensitivity_uv_per_v_per_mmhg": 5, "excitation_v": 5, "attenuation": 250}}]}}"#
        );
        parse(text.as_bytes(), "rig").unwrap()
    }

    fn frame(lead_i_mv: f32, arterial_mmhg: f32) -> Frame {
        let mut frame = Frame { leads_mv: [lead_i_mv, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0], ..Frame::default() };
        frame.pressure_mmhg[0] = arterial_mmhg;
        frame
    }

    #[test]
    fn codes_by_hand() {
        let frames = RigFrames::new(&rig(16, "offset-binary"), Packing::Raw).unwrap();
        // LA = 2/3 of 1.5 mV = 1 mV is 0.5 V is 6553.6 steps; 100 mmHg is 2.5 mV is 0.625 V is 8192 steps.
        let codes: Vec<(i64, bool)> = frames.codes(&frame(1.5, 100.0)).collect();
        assert_eq!(codes, [(32_768 + 6554, false), (32_768, false), (32_768 + 8192, false)]);
        let mut bytes = Vec::new();
        assert_eq!(frames.push([frame(1.5, 100.0)], &mut bytes), [0, 0, 0]);
        assert_eq!(bytes, [0x9a, 0x99, 0x00, 0x80, 0x00, 0xa0]);
    }

    #[test]
    fn values_beyond_the_range_are_clamped_and_counted() {
        let frames = RigFrames::new(&rig(12, "twos-complement"), Packing::Raw).unwrap();
        let mut bytes = Vec::new();
        assert_eq!(frames.push([frame(9.0, 0.0), frame(-9.0, 500.0)], &mut bytes), [2, 0, 1]);
        assert_eq!(bytes, [0xff, 0x07, 0, 0, 0, 0, 0x00, 0xf8, 0, 0, 0xff, 0x07]);
    }

    #[test]
    fn widths_of_words() {
        let bytes = |bits, packing| RigFrames::new(&rig(bits, "twos-complement"), packing).unwrap().frame_bytes();
        let wav = Packing::Wav(FrameRate::lit(1000));
        assert_eq!([bytes(12, Packing::Raw), bytes(16, wav), bytes(18, Packing::Raw), bytes(24, wav)], [6, 6, 12, 9]);
        let unsigned = |bits| RigFrames::new(&rig(bits, "offset-binary"), wav).is_err();
        assert_eq!([unsigned(12), unsigned(16), unsigned(20), unsigned(24)], [false, true, false, true]);
    }

    #[test]
    fn an_ideal_converter_is_within_half_a_step() {
        for (bits, coding) in [(12, "offset-binary"), (16, "twos-complement"), (24, "twos-complement")] {
            let mut rig = rig(bits, coding);
            rig.outputs[0].correction = crate::Correction { gain: 1.03, offset: -0.4 };
            rig.outputs[0].inverted = true;
            let frames = RigFrames::new(&rig, Packing::Raw).unwrap();
            for n in 0..2000_u16 {
                let frame = frame(f32::from(n) * 0.002 - 2.0, f32::from(n) * 0.1);
                let [i, ii, ..] = frame.leads_mv.map(f64::from);
                let exact = [(2.0 * i - ii) / 3.0, 0.0, f64::from(frame.pressure_mmhg[0])];
                for ((output, value), (code, beyond)) in rig.outputs.iter().zip(exact).zip(frames.codes(&frame)) {
                    let line = output.code_to_signal(&rig.converter);
                    let off = (line.of(code as f64) - value).abs();
                    assert!(!beyond && off <= line.slope.abs() * 0.500_001, "{bits} {n}: {off}");
                }
            }
        }
    }
}
