//! What the views of a session at the bench share: its outputs, its plan, and how it ended.

use crate::diagnostics::{Failure, Outcome, say, warn};
use crate::record_files;
use crate::signal_output::{self, Form, Target};
use pulsewright_bench::{Coder, Consumer, Nowhere, Planned, Served};
use pulsewright_core::frame::Frame;
use pulsewright_core::time::FrameRate;
use pulsewright_record::instruments::NO_OUTPUT;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Where the signal goes.
pub struct Outputs {
    /// File, pipe or device that takes it.
    pub play: Option<PathBuf>,
    /// Description of the rig.
    pub rig: Option<PathBuf>,
    /// Frames a second.
    pub rate: FrameRate,
}

impl Outputs {
    /// The target of the signal, claimed for as long as it is held, in work that reads a plan.
    pub fn target(&self, plan: Option<&Path>) -> Result<Option<Target>, Failure> {
        let inputs = self.rig.as_deref().into_iter().chain(plan);
        self.play.as_deref().map(|path| signal_output::target(path, inputs)).transpose()
    }

    /// What takes the frames to the `target`; it is opened when a person has confirmed.
    pub fn consumer(&self, target: Option<&Target>) -> Result<Consumer, Failure> {
        let form = Form::new(self.rig.as_deref(), self.rate)?;
        let pressures = form.pressures();
        let Some(path) = target.map(|target| target.path.clone()) else {
            return Ok(Consumer {
                name: NO_OUTPUT.to_owned(),
                pressures,
                coder: Box::new(Nowhere),
                open: Box::new(|| Ok(Box::new(io::sink()))),
            });
        };
        let name = path.display().to_string();
        Ok(Consumer { name, pressures, coder: Box::new(Coded(form)), open: Box::new(move || opened(&path)) })
    }
}

fn opened(path: &Path) -> io::Result<Box<dyn Write + Send>> {
    Ok(Box::new(signal_output::open(path)?))
}

struct Coded(Form);

impl Coder for Coded {
    fn encode(&mut self, frames: &[Frame], bytes: &mut Vec<u8>) {
        self.0.encode(frames, bytes);
    }

    fn remarks(&self) -> Vec<String> {
        self.0.clipped()
    }
}

/// The seed and the steps of a plan; the seed is 1 without one.
pub fn planned(plan: Option<&Path>, rig: Option<&Path>) -> Result<(u64, Option<Planned>), Failure> {
    let Some(script) = plan else { return Ok((1, None)) };
    let (document, plan) = record_files::plan(script, rig, None)?;
    let planned = Planned::new(plan, &document).map_err(Failure::input)?;
    Ok((document.seed(), Some(planned)))
}

/// Says how a session ended.
pub fn ended(served: &Served) -> Outcome {
    served.remarks.iter().for_each(|words| warn(words));
    if let Some(log) = &served.log {
        say(&format!("played: {}", log.display()));
    }
    match &served.failed {
        Some(why) => Err(Failure::input(format!("the output failed: {why}"))),
        None => Ok(()),
    }
}
