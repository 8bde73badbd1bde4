//! The levels of a measurement one after the other: each output low, then high, the others at rest.

use crate::calibration::CalibrationLevels;
use crate::description::Rig;
use crate::frames::RigFrames;
use crate::wiring::rest_code;
use pulsewright_files::format::{Encoder, Section};
use std::io::{self, Write};

/// One level of one output, held.
#[derive(Clone, Debug, PartialEq)]
pub struct HeldLevel {
    /// Index of the output.
    pub output: usize,
    /// 0 for the low level, 1 for the high one.
    pub which: usize,
    /// Codes of all outputs, in the order of a frame.
    pub codes: Vec<i64>,
}

/// Every level in order; the reference is not measured and has none.
pub fn levels(rig: &Rig) -> Vec<HeldLevel> {
    let rest: Vec<i64> = rig.outputs.iter().map(|output| rest_code(rig, output)).collect();
    let measured = rig.outputs.iter().enumerate().filter(|(_, output)| output.is_measured());
    let pairs = measured.flat_map(|(index, output)| {
        let codes = CalibrationLevels::new(rig, output, None).codes;
        [(index, 0, codes[0]), (index, 1, codes[1])]
    });
    let level = |(output, which, code)| {
        let mut codes = rest.clone();
        if let Some(own) = codes.get_mut(output) {
            *own = code;
        }
        HeldLevel { output, which, codes }
    };
    pairs.map(level).collect()
}

/// Writes every level, each for `hold` frames.
///
/// # Errors
/// When `file` can't be written.
pub fn write_levels(rig: &Rig, frames: &RigFrames, hold: u64, file: &mut impl Write) -> io::Result<()> {
    let levels = levels(rig);
    let section = Section { first: 0, frames: hold.saturating_mul(levels.len() as u64) };
    let mut bytes = Vec::new();
    frames.head(section, &mut bytes);
    for level in &levels {
        let mut frame = Vec::with_capacity(frames.frame_bytes());
        level.codes.iter().for_each(|code| frames.push_code(*code, &mut frame));
        for _ in 0..hold {
            bytes.extend_from_slice(&frame);
            if bytes.len() > 1 << 16 {
                file.write_all(&bytes)?;
                bytes.clear();
            }
        }
    }
    frames.tail(section, &mut bytes);
    file.write_all(&bytes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frames::Packing;
    use crate::read::parse;

    #[test]
    fn one_output_moves_while_the_others_rest() {
        let text = r#"{"version": 1, "converter": {"bits": 16, "low_v": -2.5, "high_v": 2.5, "coding": "offset-binary"},
          "outputs": [{"electrode": "RA", "attenuation": 500, "polarity": "inverted"},
            {"electrode": "RL", "attenuation": 500},
            {"respiration": "resistor", "base_ohm": 1000, "ohm_per_v": 2, "low_v": 0}]}"#;
        let rig = parse(text.as_bytes(), "r").unwrap();
        let codes: Vec<Vec<i64>> = levels(&rig).into_iter().map(|level| level.codes).collect();
        assert_eq!(codes, [[57_344, 32_768, 0], [8192, 32_768, 0], [32_768, 32_768, 8192], [32_768, 32_768, 57_344]]);
        let mut file = Vec::new();
        write_levels(&rig, &RigFrames::new(&rig, Packing::Raw).unwrap(), 3, &mut file).unwrap();
        assert_eq!(file.len(), 4 * 3 * 6);
        assert_eq!(file[..6], [0x00, 0xe0, 0x00, 0x80, 0x00, 0x00]);
        assert_eq!(file[66..], [0x00, 0x80, 0x00, 0x80, 0x00, 0xe0]);
    }
}
