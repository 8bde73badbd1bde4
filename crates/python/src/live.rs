//! Playing that commands lead.

use crate::script::{channels, document, frame_rate, wrong};
use bumpalo::Bump;
use numpy::ndarray::Array2;
use numpy::{IntoPyArray, PyArray2};
use pulsewright_core::frame::{Channel, Frame};
use pulsewright_core::pressure::SiteSet;
use pulsewright_core::script::Script;
use pulsewright_script::Document;
use pulsewright_stream::command::Command;
use pulsewright_stream::live::LivePlayer as StreamPlayer;
use pyo3::prelude::*;
use self_cell::self_cell;

/// A script, and the steps that commands make.
struct Owner {
    document: Document,
    arena: Bump,
}

type Borrowed<'a> = StreamPlayer<'a>;

self_cell!(
    /// A player with what it plays.
    struct Playing {
        owner: Owner,
        #[not_covariant]
        dependent: Borrowed,
    }
);

/// Plays a script and takes commands between frames. For the thread that made it.
#[pyclass(module = "pulsewright._native", unsendable)]
pub struct LivePlayer {
    playing: Playing,
    channels: Vec<Channel>,
    frames: Vec<Frame>,
}

#[pymethods]
impl LivePlayer {
    /// A player at the start of a script, given as its JSON.
    #[new]
    #[pyo3(signature = (text, name, frame_rate_hz, words, seed=None))]
    fn new(text: &[u8], name: &str, frame_rate_hz: u32, words: Vec<String>, seed: Option<u64>) -> PyResult<LivePlayer> {
        let rate = frame_rate(frame_rate_hz)?;
        let channels = channels(&words)?;
        let chosen = SiteSet::of(&channels).map_err(wrong)?;
        let owner = Owner { document: document(text, name, seed)?, arena: Bump::new() };
        let playing = Playing::try_new(owner, |Owner { document, arena }| {
            let items = arena.alloc_slice_copy(&document.items());
            let script = Script::new(document.seed(), items).map_err(wrong)?;
            Ok::<_, PyErr>(StreamPlayer::new(arena, document, &script, chosen, rate))
        })?;
        let block = playing.with_dependent(|_, player| player.block());
        Ok(LivePlayer { playing, channels, frames: vec![Frame::default(); block] })
    }

    /// Index of the next frame.
    #[getter]
    fn position(&self) -> u64 {
        self.playing.with_dependent(|_, player| player.position())
    }

    /// The next `count` frames, or as many as are left: channels by frames, `float32`.
    fn fill<'py>(&mut self, py: Python<'py>, count: usize) -> PyResult<Bound<'py, PyArray2<f32>>> {
        let mut columns: Vec<Vec<f32>> = vec![Vec::new(); self.channels.len()];
        let (block, channels) = (&mut self.frames, &self.channels);
        let mut done = 0;
        while done < count {
            let most = block.len().min(count - done);
            let filled = self.playing.with_dependent_mut(|_, player| player.fill(&mut block[..most]));
            if filled == 0 {
                break;
            }
            for (channel, column) in channels.iter().zip(&mut columns) {
                column.extend(block[..filled].iter().map(|frame| frame.sample(*channel)));
            }
            done += filled;
        }
        let samples = Array2::from_shape_vec((columns.len(), done), columns.concat()).map_err(wrong)?;
        Ok(samples.into_pyarray(py))
    }

    /// Carries a command out, as `stream --live` words it, and returns the time in seconds at which it takes effect.
    fn command(&mut self, line: &str) -> PyResult<f64> {
        let command = match Command::parse(line).map_err(wrong)? {
            Some(Command::Stop) | None => return Err(wrong("no command that a player carries out")),
            Some(command) => command,
        };
        let at = self.playing.with_dependent_mut(|_, player| player.apply(&command)).map_err(wrong)?;
        Ok(at.as_secs_f64())
    }

    /// The signal up to the next frame, as the JSON of a script that plays it again.
    fn log(&self) -> String {
        self.playing.with_dependent(|_, player| player.log()).to_json().to_string()
    }
}
