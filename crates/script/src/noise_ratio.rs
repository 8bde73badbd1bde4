//! Noise at a stated signal-to-noise ratio: the amplitude of an artefact that gives it.
//!
//! The definition is that of the noise stress test (Moody, Muldrow, Mark, Computers in Cardiology 1984, as the documentation of the
//! waveform database's tool for it has it; from memory):
//! - The signal is worth a sine of its QRS: each QRS from 50 ms before to 50 ms after its peak gives a peak-to-peak amplitude; the
//!   mean `a` of the middle 90 % gives the power `S` = a²/8.
//! - The noise is taken in windows of 1 s, each without its mean; the mean of the middle 90 % of the first 300 RMS values, squared,
//!   is its power `N`.
//! - The ratio in decibels is 10 log10(S / N).
//!
//! Both are measured in lead II, of the step played by itself: without any noise, and of the artefact alone. All ECG leads have
//! noise of the same RMS.

use crate::document::DocumentStep;
use crate::recording::StepRecording;
use crate::series::StepSeries;
use pulsewright_core::frame::{Channel, Frame, Lead};
use pulsewright_core::heart::catalogue::RHYTHMS;
use pulsewright_core::heart::rhythm::{Atria, Ventricles};
use pulsewright_core::player::Player;
use pulsewright_core::script::{self, Script};
use pulsewright_core::settings::{Field, Settings};
use pulsewright_core::time::{FrameRate, Span};
use pulsewright_core::truth::Event;

/// The artefacts that take a ratio, by the path of the ratio.
pub(crate) const RATIOS: [(&str, Field); 9] = [
    ("artefact.mains_snr_db", Field::MainsMv),
    ("artefact.wander_snr_db", Field::WanderMv),
    ("artefact.breathing_snr_db", Field::BreathingWanderMv),
    ("artefact.muscle_snr_db", Field::MuscleMv),
    ("artefact.motion_snr_db", Field::MotionMv),
    ("artefact.surgery_snr_db", Field::SurgeryMv),
    ("artefact.electrode_snr_db", Field::ElectrodeMv),
    ("artefact.tremor_snr_db", Field::TremorMv),
    ("artefact.compression_snr_db", Field::CompressionMv),
];

/// Lowest and highest ratio, dB.
pub const RANGE_DB: std::ops::RangeInclusive<f64> = -40.0..=80.0;

/// The artefact whose ratio has this path.
pub(crate) fn of_path(path: &str) -> Option<Field> {
    RATIOS.iter().find(|(known, _)| *known == path).map(|(_, field)| *field)
}

const RATE: FrameRate = FrameRate::lit(500);
/// So long the signal is measured, s, and so many windows of 1 s the noise.
const SIGNAL_S: u32 = 60;
const WINDOWS: usize = 300;
/// Half the window of a QRS, frames: 50 ms.
const HALF: usize = 25;

/// Most measurements for one document: each plays minutes of a signal.
const MOST_MEASURED: usize = 40;

/// A measurement: the settings, the artefact (`None`: the QRS), the value.
type Measured = (Settings, Option<Field>, Option<f64>);

/// Measurements already made for a document.
#[derive(Default)]
pub(crate) struct Measurements(Vec<Measured>);

impl Measurements {
    /// The amplitude of an artefact, mV, at which `step` has the ratio `db` in lead II.
    ///
    /// # Errors
    /// A step without beats in lead II, an artefact that is silent, an amplitude beyond its range, too many measurements.
    pub(crate) fn amplitude_mv(
        &mut self,
        step: &DocumentStep,
        field: Field,
        db: f64,
        seed: u64,
    ) -> Result<f32, String> {
        let wanted_mv = self.rms_mv(step, db, seed)?;
        let quiet = quiet(step.settings);
        let noise_mv = self.once(quiet, Some(field), || noise_mv(quiet, field, seed))?;
        let noise_mv = noise_mv.filter(|mv| *mv > 0.0).ok_or("no noise to measure in lead II")?;
        // To 10 nV, so that a last bit of a platform's power function shows nowhere.
        let mv = (wanted_mv / noise_mv * 1e5).round() / 1e5;
        let most = f64::from(field.info().max);
        if mv > most {
            return Err(format!("{} would have to be {mv:.2} mV; at most {most}", field.info().path));
        }
        Ok(mv as f32)
    }

    /// The RMS of noise in lead II, mV, at which `step` has the ratio `db`.
    ///
    /// # Errors
    /// A step without beats in lead II, too many measurements.
    pub(crate) fn rms_mv(&mut self, step: &DocumentStep, db: f64, seed: u64) -> Result<f64, String> {
        let quiet = quiet(step.settings);
        let qrs_mv = match &step.series {
            // Two series may have the same settings.
            Some(_) => {
                self.room()?;
                let found = qrs_mv(step, quiet, seed);
                self.0.push((quiet, Some(Field::RateBpm), found));
                found
            }
            None => self.once(quiet, None, || qrs_mv(step, quiet, seed))?,
        };
        let qrs_mv = qrs_mv.ok_or("no beats in lead II to measure noise against")?;
        Ok(qrs_mv / 8.0_f64.sqrt() / 10.0_f64.powf(db / 20.0))
    }

    /// Room for one more.
    fn room(&mut self) -> Result<(), String> {
        if self.0.len() >= MOST_MEASURED {
            return Err(format!(
                "more than {MOST_MEASURED} different signals and artefacts to measure in one document"
            ));
        }
        Ok(())
    }

    fn once(
        &mut self,
        quiet: Settings,
        of: Option<Field>,
        work: impl FnOnce() -> Option<f64>,
    ) -> Result<Option<f64>, String> {
        let same = |settings: &Settings| {
            settings.rhythm().id == quiet.rhythm().id
                && settings.body().id == quiet.body().id
                && Field::ALL.iter().all(|field| settings.get(*field).to_bits() == quiet.get(*field).to_bits())
        };
        if let Some((.., found)) = self.0.iter().find(|(settings, what, _)| *what == of && same(settings)) {
            return Ok(*found);
        }
        self.room()?;
        let found = work();
        self.0.push((quiet, of, found));
        Ok(found)
    }
}

/// Settings without noise of any kind.
fn quiet(settings: Settings) -> Settings {
    let noises = RATIOS.iter().map(|(_, field)| *field).chain([Field::BackgroundMv]);
    noises.fold(settings, |settings, field| settings.with(field, 0.0).unwrap_or(settings))
}

/// Lead II of a step of these settings, mV, and the frames of its QRS peaks.
fn played(step: script::Step<'_>, seed: u64) -> Option<(Vec<f64>, Vec<usize>)> {
    let items = [step.into()];
    let script = Script::new(seed, &items).ok()?;
    let mut player = Player::new(&script, RATE);
    let (mut samples, mut peaks) = (Vec::new(), Vec::new());
    let mut frames = [Frame::default(); 250];
    loop {
        let filled = player.fill_observed(&mut frames, &mut |event| {
            if let Event::Beat(beat) = event {
                peaks.push((beat.peak.as_secs_f64() * f64::from(RATE.as_hz())).round() as usize);
            }
        });
        if filled == 0 {
            return Some((samples, peaks));
        }
        let lead = |frame: &Frame| f64::from(frame.sample(Channel::Lead(Lead::II)));
        samples.extend(frames.iter().take(filled).map(lead));
    }
}

/// Mean of the middle 90 %.
fn trimmed(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let cut = values.len() / 20;
    let middle = values.get(cut..values.len() - cut)?;
    (!middle.is_empty()).then(|| middle.iter().sum::<f64>() / middle.len() as f64)
}

/// Mean peak-to-peak amplitude of the QRS in lead II, mV.
fn qrs_mv(step: &DocumentStep, quiet: Settings, seed: u64) -> Option<f64> {
    let core = script::Step {
        series: step.series.as_ref().map(StepSeries::item),
        recording: step.recording.as_ref().map(StepRecording::item),
        ..script::Step::lasting(Span::secs(SIGNAL_S), quiet)
    };
    let (samples, peaks) = played(core, seed)?;
    let amplitude = |peak: usize| {
        let window = samples.get(peak.checked_sub(HALF)?..=peak + HALF)?;
        let highest = window.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        Some(highest - window.iter().copied().fold(f64::INFINITY, f64::min))
    };
    trimmed(peaks.into_iter().filter_map(amplitude).collect()).filter(|mv| *mv > 0.0)
}

/// RMS of an artefact of 1 mV in lead II, mV.
fn noise_mv(quiet: Settings, field: Field, seed: u64) -> Option<f64> {
    // A heart that rests altogether.
    let still = RHYTHMS.iter().copied().find(|rhythm| {
        !rhythm.beats()
            && rhythm.atria == Atria::Still
            && rhythm.ventricles == Ventricles::Following
            && rhythm.pacing.is_none()
    })?;
    let alone = quiet.with_rhythm(still).with(field, 1.0).ok()?;
    let (samples, _) = played(script::Step::lasting(Span::secs(WINDOWS as u32), alone), seed)?;
    windowed_rms(&samples, RATE.as_hz() as usize)
}

/// RMS of noise, of which a second has `second` samples: mean of the middle 90 % of the first windows of 1 s, each without its mean. Noise
/// that is shorter is one window.
pub(crate) fn windowed_rms(samples: &[f64], second: usize) -> Option<f64> {
    let rms = |window: &[f64]| {
        let mean = window.iter().sum::<f64>() / window.len() as f64;
        (window.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / window.len() as f64).sqrt()
    };
    let second = second.clamp(1, samples.len().max(1));
    trimmed(samples.chunks_exact(second).take(WINDOWS).map(rms).collect())
}
