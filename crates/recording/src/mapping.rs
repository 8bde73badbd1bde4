//! Channels of a recording as channels of frames.

use crate::recording::Recording;
use pulsewright_core::frame::{self, Frame, Lead};
use pulsewright_core::time::FrameRate;

/// Which channel of a recording is played as which of ours.
#[derive(Clone, Debug, PartialEq)]
pub struct Mapping(Vec<(frame::Channel, usize)>);

/// The place of a lead among those that frames hold.
fn held(lead: Lead) -> Option<usize> {
    Lead::INDEPENDENT.iter().position(|one| *one == lead)
}

impl Mapping {
    /// Of pairs of our channel and the name of a recording's. A channel of the recording has the unit of ours.
    ///
    /// # Errors
    /// A name that the recording does not have, another unit, a channel that frames do not hold, or one that is given twice.
    pub fn new(pairs: &[(frame::Channel, &str)], recording: &Recording) -> Result<Mapping, String> {
        let mut found: Vec<(frame::Channel, usize)> = Vec::new();
        for (channel, name) in pairs {
            let index = recording.channels.iter().position(|one| one.name == *name);
            let index = index.ok_or_else(|| format!("no channel '{name}'; channels are {}", recording.names()))?;
            let unit = recording.channels.get(index).map_or("", |one| one.unit.as_str());
            let ours = channel.kind().unit();
            if unit != ours {
                return Err(format!("channel '{name}' is in {unit}; {} is in {ours}", channel.id()));
            }
            let kept = match channel {
                frame::Channel::Lead(lead) => held(*lead).is_some(),
                frame::Channel::Respiration | frame::Channel::Pressure(_) => true,
                _ => false,
            };
            if !kept {
                let what = "a recording is played as I, II, V1 to V6, respiration and pressures";
                return Err(format!("{} can't be given; {what}", channel.id()));
            }
            if found.iter().any(|(one, _)| one == channel) {
                return Err(format!("{} is given twice", channel.id()));
            }
            found.push((*channel, index));
        }
        Ok(Mapping(found))
    }

    /// Whether a channel can be shown: it is given, or worked out of leads that are.
    pub fn gives(&self, channel: frame::Channel) -> bool {
        let has = |wanted: frame::Channel| self.0.iter().any(|(one, _)| *one == wanted);
        match channel {
            frame::Channel::Lead(lead) if held(lead).is_none() => {
                has(frame::Channel::Lead(Lead::I)) && has(frame::Channel::Lead(Lead::II))
            }
            channel => has(channel),
        }
    }
}

/// A recording as frames.
#[derive(Clone, Debug, PartialEq)]
pub struct RecordingFrames {
    rate: FrameRate,
    frames: usize,
    columns: Vec<(frame::Channel, Vec<f32>)>,
}

impl RecordingFrames {
    /// The mapped channels of a recording.
    ///
    /// # Errors
    /// A frame rate that is not a whole number of frames a second that can be played.
    pub fn new(recording: &Recording, mapping: &Mapping) -> Result<RecordingFrames, String> {
        let hz = recording.rate_hz;
        let whole = (hz.fract() == 0.0 && hz <= f64::from(u32::MAX)).then_some(hz as u32);
        let rate = whole.and_then(|hz| FrameRate::hz(hz).ok());
        let rate = rate.ok_or_else(|| {
            let (least, most) = (FrameRate::MIN_HZ, FrameRate::MAX_HZ);
            format!("{hz} frames a second; a recording is played at a whole number of {least} to {most}")
        })?;
        let frames = recording.frames();
        let samples = |index: usize| recording.channels.get(index).map(|channel| channel.samples.clone());
        let column = |(channel, index): &(frame::Channel, usize)| (*channel, samples(*index).unwrap_or_default());
        let columns = mapping.0.iter().map(column).collect();
        Ok(RecordingFrames { rate, frames, columns })
    }

    /// Frames a second.
    pub fn rate(&self) -> FrameRate {
        self.rate
    }

    /// Frames in it.
    pub fn len(&self) -> usize {
        self.frames
    }

    /// Whether it has none.
    pub fn is_empty(&self) -> bool {
        self.frames == 0
    }

    /// The frame at `index`; zero after the last.
    pub fn frame(&self, index: usize) -> Frame {
        let mut frame = Frame::default();
        for (channel, samples) in &self.columns {
            let value = samples.get(index).copied().unwrap_or(0.0);
            let place = match channel {
                frame::Channel::Lead(lead) => held(*lead).and_then(|lead| frame.leads_mv.get_mut(lead)),
                frame::Channel::Respiration => Some(&mut frame.respiration_ohm),
                frame::Channel::Pressure(site) => frame.pressure_mmhg.get_mut(*site as usize),
                _ => None,
            };
            if let Some(place) = place {
                *place = value;
            }
        }
        frame
    }

    /// Lowest and highest value of a channel.
    pub fn range(&self, channel: frame::Channel) -> (f32, f32) {
        let values = (0..self.frames).map(|index| self.frame(index).sample(channel));
        values.fold((f32::INFINITY, f32::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::RecordedChannel;
    use pulsewright_core::PressureSite;

    fn recording() -> Recording {
        let channel = |name: &str, unit: &str, samples: [f32; 2]| RecordedChannel {
            name: name.into(),
            unit: unit.into(),
            samples: samples.into(),
        };
        let channels =
            vec![channel("a", "mV", [1.0, 2.0]), channel("b", "mV", [3.0, 5.0]), channel("c", "mmHg", [80.0, 90.0])];
        Recording { rate_hz: 250.0, channels }
    }

    #[test]
    fn channels_lie_in_frames_and_limb_leads_follow() {
        let (i, ii) = (frame::Channel::Lead(Lead::I), frame::Channel::Lead(Lead::II));
        let arterial = frame::Channel::Pressure(PressureSite::Arterial);
        let mapping = Mapping::new(&[(i, "a"), (ii, "b"), (arterial, "c")], &recording()).expect("a mapping");
        let played = RecordingFrames::new(&recording(), &mapping).expect("a rate");
        let third = frame::Channel::Lead(Lead::III);
        assert!(mapping.gives(third) && !mapping.gives(frame::Channel::Respiration));
        assert_eq!((played.frame(1).sample(third), played.frame(1).sample(arterial)), (3.0, 90.0));
        assert_eq!((played.range(third), played.len(), played.frame(2).sample(ii)), ((2.0, 3.0), 2, 0.0));
    }

    #[test]
    fn what_can_not_be_played_is_refused() {
        let ii = frame::Channel::Lead(Lead::II);
        let refused = |pairs: &[(frame::Channel, &str)]| Mapping::new(pairs, &recording()).expect_err("refused");
        assert!(refused(&[(ii, "d")]).contains("no channel 'd'; channels are a, b, c"));
        assert!(refused(&[(ii, "c")]).contains("in mmHg"));
        assert!(refused(&[(ii, "a"), (ii, "b")]).contains("twice"));
        assert!(refused(&[(frame::Channel::Lead(Lead::III), "a")]).contains("can't be given"));
        let mapping = Mapping::new(&[(ii, "a")], &recording()).expect("a mapping");
        for rate_hz in [128.5, 50.0, 1e12] {
            let slow = Recording { rate_hz, ..recording() };
            assert!(RecordingFrames::new(&slow, &mapping).expect_err("a rate").contains("frames a second"));
        }
    }
}
