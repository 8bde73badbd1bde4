//! WAV: potentials in channels that are called after their numbers, from 1 on.

use crate::recording::{RecordedChannel, Recording};
use hound::{SampleFormat, WavReader};

/// Reads a file whose stored numbers are `scale_mv` each.
pub(crate) fn parse(bytes: &[u8], scale_mv: f64) -> Result<Recording, String> {
    let mut reader = WavReader::new(bytes).map_err(|error| error.to_string())?;
    let spec = reader.spec();
    let scaled = |number: f64| (scale_mv * number) as f32;
    let samples: Result<Vec<f32>, hound::Error> = match spec.sample_format {
        SampleFormat::Float => reader.samples::<f32>().map(|sample| sample.map(|one| scaled(f64::from(one)))).collect(),
        SampleFormat::Int => reader.samples::<i32>().map(|sample| sample.map(|one| scaled(f64::from(one)))).collect(),
    };
    let samples = samples.map_err(|error| error.to_string())?;
    let count = usize::from(spec.channels);
    if count == 0 || samples.len() < count {
        return Err("no frame".to_owned());
    }
    let channel = |place: usize| RecordedChannel {
        name: (place + 1).to_string(),
        unit: "mV".to_owned(),
        samples: samples.iter().skip(place).step_by(count).take(samples.len() / count).copied().collect(),
    };
    Ok(Recording { rate_hz: f64::from(spec.sample_rate), channels: (0..count).map(channel).collect() })
}
