//! The parts that the views of a session at the bench share: its outputs, its plan, and how it ended.

use crate::diagnostics::{VerbFailure, VerbOutcome, say, warn};
use crate::record_files;
use crate::signal_output::{self, Play, SignalFormat, SignalTarget};
use crate::sound::{Playback, Reporter};
use pulsewright_bench::{Coder, Consumer, NoConsumer, PlannedSteps, SessionEnd};
use pulsewright_core::frame::Frame;
use pulsewright_core::time::FrameRate;
use pulsewright_record::instruments::NO_OUTPUT;
use pulsewright_script::Document;
use pulsewright_stream::{Command, Pace};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};
use std::time::Duration;

/// Where the signal goes.
pub struct Outputs {
    /// The output that takes it.
    pub play: Option<Play>,
    /// Description of the rig.
    pub rig: Option<PathBuf>,
    /// Frames a second.
    pub rate: FrameRate,
}

impl Outputs {
    /// The target of the signal, claimed for as long as it is held, in work that reads a plan.
    pub fn target(&self, plan: Option<&Path>) -> Result<Option<SignalTarget>, VerbFailure> {
        let inputs = self.rig.as_deref().into_iter().chain(plan);
        self.play.as_ref().map(|play| signal_output::target(play, inputs)).transpose()
    }

    /// The consumer that takes the frames to the `target`; it is opened when a person has confirmed. A sound card has to be fit for `plan`.
    pub fn consumer(&self, target: Option<&SignalTarget>, plan: Option<&Document>) -> Result<Consumer, VerbFailure> {
        let form = SignalFormat::new(self.rig.as_deref(), self.rate)?;
        let nowhere = Consumer {
            name: NO_OUTPUT.to_owned(),
            leaves: false,
            pressures: form.pressures(),
            pace: Pace::Clock,
            delay: Duration::ZERO,
            forbids: Box::new(|_| None),
            coder: Box::new(NoConsumer),
            open: Box::new(|| Ok(Box::new(io::sink()))),
        };
        let Some(target) = target else { return Ok(nowhere) };
        let (name, leaves) = (target.name(), true);
        Ok(match target {
            SignalTarget::File { path, .. } => {
                let (coder, path) = (Box::new(Coded { form, card: None }), path.clone());
                let open = Box::new(move || opened(&path));
                Consumer { name, leaves, coder, open, ..nowhere }
            }
            SignalTarget::Card(card) => {
                let playback = Playback::of_rig(card, form.rig(), self.rate)?;
                plan.map_or(Ok(()), |plan| playback.check(plan))?;
                playback.announce();
                let opened = Arc::new(OnceLock::new());
                let coder = Box::new(Coded { form, card: Some(Arc::clone(&opened)) });
                let (delay, of_changes) = (playback.delay(), playback.clone());
                let forbids = Box::new(move |change: &Command| of_changes.forbids(change));
                let open = Box::new(move || playback.open(&opened));
                Consumer { name, leaves, pace: Pace::Writer, delay, forbids, coder, open, ..nowhere }
            }
        })
    }
}

fn opened(path: &Path) -> io::Result<Box<dyn Write + Send>> {
    Ok(Box::new(signal_output::open(path)?))
}

/// A form, and once a sound card is open, its report.
struct Coded {
    form: SignalFormat,
    card: Option<Arc<OnceLock<Reporter>>>,
}

impl Coder for Coded {
    fn encode(&mut self, frames: &[Frame], bytes: &mut Vec<u8>) {
        self.form.encode(frames, bytes);
    }

    fn remarks(&self) -> Vec<String> {
        let report = self.card.as_ref().and_then(|card| card.get());
        self.form.clipped().into_iter().chain(report.into_iter().flat_map(Reporter::remarks)).collect()
    }
}

/// A plan with its document.
pub struct PlanDocument {
    /// The document.
    pub document: Document,
    /// Its steps.
    pub planned: PlannedSteps,
}

/// The steps of a plan.
pub fn planned(plan: Option<&Path>, rig: Option<&Path>) -> Result<Option<PlanDocument>, VerbFailure> {
    let Some(script) = plan else { return Ok(None) };
    let (document, plan) = record_files::plan(script, rig, None)?;
    let planned = PlannedSteps::new(plan, &document).map_err(VerbFailure::input)?;
    Ok(Some(PlanDocument { document, planned }))
}

/// Says how a session ended.
pub fn ended(served: &SessionEnd) -> VerbOutcome {
    served.remarks.iter().for_each(|words| warn(words));
    if let Some(log) = &served.log {
        say(&format!("played: {}", log.display()));
    }
    match &served.failed {
        Some(why) => Err(VerbFailure::input(format!("the output failed: {why}"))),
        None => Ok(()),
    }
}
