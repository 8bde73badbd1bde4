//! Frames block by block, for signals that are longer than memory.

use crate::script::{channels, document, frame_rate, wrong};
use numpy::ndarray::Array2;
use numpy::{IntoPyArray, PyArray2};
use pulsewright_core::block::{BLOCK, Block, Signals as Parts};
use pulsewright_core::frame::Channel;
use pulsewright_core::image::{self, Image};
use pulsewright_core::player::Player as CorePlayer;
use pulsewright_core::pressure::SiteSet;
use pulsewright_core::script::Script;
use pyo3::prelude::*;
use self_cell::self_cell;

type Borrowed<'a> = CorePlayer<'a>;

self_cell!(
    /// A player with the compact image that it plays.
    struct Playing {
        owner: Vec<u8>,
        #[covariant]
        dependent: Borrowed,
    }
);

/// Plays a script block by block, from the start or from anywhere.
#[pyclass(module = "pulsewright._native")]
pub struct Player {
    playing: Playing,
    channels: Vec<Channel>,
    block: Box<Block>,
}

#[pymethods]
impl Player {
    /// A player at the start of a script, given as its JSON.
    #[new]
    #[pyo3(signature = (text, name, frame_rate_hz, words, seed=None))]
    fn new(text: &[u8], name: &str, frame_rate_hz: u32, words: Vec<String>, seed: Option<u64>) -> PyResult<Player> {
        let rate = frame_rate(frame_rate_hz)?;
        let channels = channels(&words)?;
        let document = document(text, name, seed)?;
        let items = document.items();
        let script = Script::new(document.seed(), &items).map_err(wrong)?;
        let mut bytes = Vec::new();
        image::write(&script, |part| bytes.extend_from_slice(part)).map_err(wrong)?;
        let chosen = SiteSet::of(&channels).map_err(wrong)?;
        let playing = Playing::try_new(bytes, |bytes| {
            let image = Image::new(bytes).map_err(wrong)?;
            Ok::<_, PyErr>(CorePlayer::of_image(&image, rate).with_pressures_at(chosen))
        })?;
        let block = Box::new(Block::new(Parts::of(&channels)));
        Ok(Player { playing, channels, block })
    }

    /// Index of the next frame.
    #[getter]
    fn position(&self) -> u64 {
        self.playing.borrow_dependent().position()
    }

    /// The next `count` frames, or as many as are left: channels by frames, `float32`.
    fn fill<'py>(&mut self, py: Python<'py>, count: usize) -> PyResult<Bound<'py, PyArray2<f32>>> {
        let rows = self.channels.len();
        let mut columns: Vec<Vec<f32>> = vec![Vec::new(); rows];
        let (playing, block, channels) = (&mut self.playing, &mut self.block, &self.channels);
        py.detach(|| {
            let mut done = 0;
            while done < count {
                let filled = playing.with_dependent_mut(|_, player| player.fill_block(block, BLOCK.min(count - done)));
                if filled == 0 {
                    break;
                }
                for (channel, column) in channels.iter().zip(&mut columns) {
                    column.extend_from_slice(&block.column(*channel)[..filled]);
                }
                done += filled;
            }
        });
        let frames = columns.first().map_or(0, Vec::len);
        let samples = Array2::from_shape_vec((rows, frames), columns.concat()).map_err(wrong)?;
        Ok(samples.into_pyarray(py))
    }

    /// Passes over `count` frames, or to the end, and returns how many; costs only their events.
    fn skip(&mut self, py: Python<'_>, count: u64) -> u64 {
        let playing = &mut self.playing;
        py.detach(|| playing.with_dependent_mut(|_, player| player.skip(count)))
    }

    /// Ends a step that holds, or any step, at the next frame.
    fn next_step(&mut self) {
        self.playing.with_dependent_mut(|_, player| player.next_step());
    }
}
