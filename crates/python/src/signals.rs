//! A script rendered into an array.

use crate::script::{channels, document, frame_rate, frames, span, wrong};
use crate::truth::Truth;
use numpy::ndarray::Array2;
use numpy::{IntoPyArray, PyArray2};
use pulsewright_core::block::{BLOCK, Block, Signals as Parts};
use pulsewright_core::frame::Channel;
use pulsewright_core::player::Player;
use pulsewright_core::pressure::SiteSet;
use pulsewright_core::script::Script;
use pulsewright_core::time::FrameRate;
use pulsewright_files::truth::{ExpectedTables, MeasuredBreaths, TruthFile, TruthWriter};
use pulsewright_script::Document;
use pulsewright_suite::recorded::AnnotatedRecording;
use pyo3::prelude::*;
use pyo3::types::PyDict;
use std::sync::{Arc, OnceLock};

/// What was played.
pub enum SignalSource {
    /// A script under its own seed.
    Script(Arc<Document>),
    /// A recording, whose annotations are its truth.
    Recording(Arc<AnnotatedRecording>),
}

/// Samples of some channels, with the truth about them.
#[pyclass(frozen, module = "pulsewright._native")]
pub struct Signals {
    source: SignalSource,
    rate: FrameRate,
    frames: u64,
    channels: Vec<Channel>,
    samples: Py<PyArray2<f32>>,
    truth: OnceLock<Truth>,
}

/// Renders a script, given as its JSON.
///
/// `channels` are words of `pulsewright catalog channels`, `duration_s` bounds a script that holds, `seed` takes the place of the
/// script's own. Raises `ScriptError` where a render to a file is refused.
#[pyfunction]
#[pyo3(signature = (text, name, frame_rate_hz, words, duration_s=None, seed=None))]
pub fn render(
    py: Python<'_>,
    text: &[u8],
    name: &str,
    frame_rate_hz: u32,
    words: Vec<String>,
    duration_s: Option<f64>,
    seed: Option<u64>,
) -> PyResult<Signals> {
    let rate = frame_rate(frame_rate_hz)?;
    let channels = channels(&words)?;
    let duration = duration_s.map(span).transpose()?;
    let made = py.detach(|| {
        let document = document(text, name, seed)?;
        let items = document.items();
        let script = Script::new(document.seed(), &items).map_err(wrong)?;
        let frames = frames(&script, rate, &channels, duration)?;
        let samples = play(&script, rate, &channels, frames)?;
        drop(items);
        Ok::<_, PyErr>((document, frames, samples))
    });
    let (document, frames, samples) = made?;
    Signals::new(py, SignalSource::Script(Arc::new(document)), rate, frames, channels, samples)
}

/// The samples of a recording, channel after channel.
pub fn recorded(recording: &AnnotatedRecording, channels: &[Channel]) -> Vec<f32> {
    let recording = &recording.played;
    let mut samples = vec![0.0; recording.len() * channels.len()];
    for index in 0..recording.len() {
        let frame = recording.frame(index);
        for (channel, row) in channels.iter().zip(samples.chunks_exact_mut(recording.len())) {
            row[index] = frame.sample(*channel);
        }
    }
    samples
}

/// Samples, channel after channel.
pub fn play(script: &Script<'_>, rate: FrameRate, channels: &[Channel], frames: u64) -> PyResult<Vec<f32>> {
    let count = usize::try_from(frames).map_err(wrong)?;
    let total = count.checked_mul(channels.len()).ok_or_else(|| wrong("too many samples for one array"))?;
    let mut samples: Vec<f32> = Vec::new();
    samples.try_reserve_exact(total).map_err(|_| wrong(format!("no memory for {total} samples; use Player")))?;
    samples.resize(total, 0.0);
    let chosen = SiteSet::of(channels).map_err(wrong)?;
    let mut player = Player::new(script, rate).with_pressures_at(chosen);
    let mut block = Block::new(Parts::of(channels));
    let mut done = 0;
    while done < count {
        let filled = player.fill_block(&mut block, BLOCK.min(count - done));
        if filled == 0 {
            break;
        }
        for (channel, row) in channels.iter().zip(samples.chunks_exact_mut(count)) {
            row[done..done + filled].copy_from_slice(&block.column(*channel)[..filled]);
        }
        done += filled;
    }
    Ok(samples)
}

impl Signals {
    /// Of samples, channel after channel.
    pub fn new(
        py: Python<'_>,
        source: SignalSource,
        rate: FrameRate,
        frames: u64,
        channels: Vec<Channel>,
        samples: Vec<f32>,
    ) -> PyResult<Signals> {
        let shape = (channels.len(), samples.len() / channels.len().max(1));
        let samples = Array2::from_shape_vec(shape, samples).map_err(wrong)?.into_pyarray(py).unbind();
        Ok(Signals { source, rate, frames, channels, samples, truth: OnceLock::new() })
    }

    fn truth(&self, py: Python<'_>) -> PyResult<&Truth> {
        if let Some(truth) = self.truth.get() {
            return Ok(truth);
        }
        let truth = py.detach(|| {
            let document = match &self.source {
                SignalSource::Script(document) => document,
                SignalSource::Recording(recording) => {
                    return Ok(Truth::of_recording(self.rate, self.frames, &recording.annotations));
                }
            };
            let items = document.items();
            let script = Script::new(document.seed(), &items).map_err(wrong)?;
            let chosen = SiteSet::of(&self.channels).map_err(wrong)?;
            let mut truth = Truth::new(self.rate, self.frames, MeasuredBreaths::new(&script));
            Player::new(&script, self.rate).with_pressures_at(chosen).skip_observed(self.frames, &mut truth);
            Ok::<_, PyErr>(truth.finish())
        })?;
        Ok(self.truth.get_or_init(|| truth))
    }
}

#[pymethods]
impl Signals {
    /// Samples: channels by frames, `float32`, each channel in its unit.
    #[getter]
    fn samples(&self, py: Python<'_>) -> Py<PyArray2<f32>> {
        self.samples.clone_ref(py)
    }

    /// Words of the channels, in order.
    #[getter]
    fn channels(&self) -> Vec<&'static str> {
        self.channels.iter().map(|channel| channel.id()).collect()
    }

    /// Units of the channels, in order.
    #[getter]
    fn units(&self) -> Vec<&'static str> {
        self.channels.iter().map(|channel| channel.kind().unit()).collect()
    }

    /// Frames a second.
    #[getter]
    fn frame_rate_hz(&self) -> u32 {
        self.rate.as_hz()
    }

    /// Seed that was played; 0 of a recording.
    #[getter]
    fn seed(&self) -> u64 {
        match &self.source {
            SignalSource::Script(document) => document.seed(),
            SignalSource::Recording(_) => 0,
        }
    }

    /// A table of the truth as columns: `beats`, `atrial`, `pulses`, `breaths`, `pacing`, `episodes` or `steps`.
    fn table<'py>(&self, py: Python<'py>, name: &str) -> PyResult<Bound<'py, PyDict>> {
        self.truth(py)?.table(py, name)
    }

    /// The text of a table of the truth as `render` writes it: `readings`, `alarms`, `cuff` or `refused`.
    fn table_text(&self, py: Python<'_>, name: &str) -> PyResult<String> {
        let wanted = TruthFile::ALL.into_iter().find(|file| file.suffix().strip_suffix(".csv") == Some(name));
        let wanted = wanted.ok_or_else(|| wrong(format!("no table '{name}'")))?;
        let SignalSource::Script(document) = &self.source else {
            return Err(wrong(format!("a recording has no {name}: its truth is its annotated beats")));
        };
        py.detach(|| {
            let items = document.items();
            let script = Script::new(document.seed(), &items).map_err(wrong)?;
            let labels = document.labels();
            let sites = SiteSet::of(&self.channels).map_err(wrong)?;
            let mut tables: Vec<(TruthFile, Vec<u8>)> = if TruthFile::EXPECTED.contains(&wanted) {
                let (limits, end) = (document.alarm_limits(), self.rate.instant_of(self.frames));
                let expectations = ExpectedTables::new(&script, &labels, sites, limits, end);
                let files = expectations.write(TruthFile::EXPECTED.map(|_| Vec::new())).map_err(wrong)?;
                TruthFile::EXPECTED.into_iter().zip(files).collect()
            } else {
                let mut events =
                    TruthWriter::new(&script, self.rate, self.frames, TruthFile::EVENTS.map(|_| Vec::new()));
                Player::new(&script, self.rate).with_pressures_at(sites).skip_observed(self.frames, &mut events);
                TruthFile::EVENTS.into_iter().zip(events.finish().map_err(wrong)?).collect()
            };
            let table = tables.iter_mut().find(|(file, _)| *file == wanted).map(|(_, table)| std::mem::take(table));
            String::from_utf8(table.unwrap_or_default()).map_err(wrong)
        })
    }

    fn __len__(&self) -> usize {
        self.frames as usize
    }
}
