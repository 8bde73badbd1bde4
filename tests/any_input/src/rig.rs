//! Descriptions of rigs.

use pulsewright_core::frame::{Frame, PressureSite};
use pulsewright_core::time::FrameRate;
use pulsewright_rig::figures::OutputFigures;
use pulsewright_rig::read::parse;
use pulsewright_rig::table::OutputDescription;
use pulsewright_rig::{Packing, RigFrames};

/// Text gets a rig whose codes stay within its converter and whose figures are numbers, or problems that can be shown.
pub fn rig(text: &[u8]) {
    let rig = match parse(text, "any.json") {
        Ok(rig) => rig,
        Err(problems) => {
            assert!(!problems.list().is_empty());
            assert!(problems.render(true).contains("any.json"));
            return;
        }
    };
    let (lowest, highest) = rig.converter.codes();
    assert!(lowest < highest);
    for output in &rig.outputs {
        let figures = OutputFigures::new(&rig, output);
        assert!(figures.step.is_finite() && figures.step > 0.0, "{figures:?}");
        assert!(figures.reach.0.is_finite() && figures.reach.1.is_finite(), "{figures:?}");
        assert!(figures.connector_step.is_finite(), "{figures:?}");
        let description = OutputDescription::new(&rig, output, 0);
        let json = serde_json::to_value(&description).expect("plain data");
        assert!(!json.to_string().contains("null"), "{json}");
    }
    // Frames at rest and far beyond the range of any converter.
    let frames = [0.0_f32, 1.0, -1e30, f32::MAX].map(|value| Frame {
        leads_mv: [value; 8],
        pressure_mmhg: [value; PressureSite::COUNT],
        cuff_mmhg: [value; 2],
        respiration_ohm: value,
    });
    for packing in [Packing::Raw, Packing::Wav(FrameRate::lit(500))] {
        let Ok(packed) = RigFrames::new(&rig, packing) else { continue };
        let mut bytes = Vec::new();
        let clipped = packed.push(frames, &mut bytes);
        assert_eq!(clipped.len(), rig.outputs.len());
        assert_eq!(bytes.len(), frames.len() * packed.frame_bytes());
        for frame in &frames {
            assert!(packed.codes(frame).all(|(code, _)| (lowest..=highest).contains(&code)));
        }
    }
}
