//! The step of the plan that plays: its frames, counted and digested for the record.

use crate::clerk::Task;
use pulsewright_core::frame::Frame;
use pulsewright_files::digest::FramesDigest;
use std::sync::mpsc::Sender;

/// The step that plays.
struct Running {
    step: usize,
    frames: u64,
    digest: FramesDigest,
}

/// Reports the steps of the plan as they begin and end.
pub struct StepReporter {
    running: Option<Running>,
    tasks: Sender<Task>,
}

impl StepReporter {
    /// Reports to `tasks`.
    pub fn new(tasks: Sender<Task>) -> StepReporter {
        StepReporter { running: None, tasks }
    }

    /// Takes the frames of a block, the first at `first`; `began` is the frame at which another step began in it, and the place of
    /// that step in the plan, when it is one of the plan.
    pub fn take(&mut self, frames: &[Frame], first: u64, began: Option<(u64, Option<usize>)>) {
        let at = began.map_or(frames.len(), |(frame, _)| (frame.saturating_sub(first) as usize).min(frames.len()));
        let (before, after) = frames.split_at(at);
        self.digest(before);
        if let Some((frame, step)) = began {
            self.end();
            if let Some(step) = step {
                self.running = Some(Running { step, frames: 0, digest: FramesDigest::default() });
                let _ = self.tasks.send(Task::Began { step, frame });
            }
            self.digest(after);
        }
    }

    fn digest(&mut self, frames: &[Frame]) {
        if let Some(running) = &mut self.running {
            running.digest.update_frames(running.frames, frames);
            running.frames += frames.len() as u64;
        }
    }

    /// The step that plays, if one does, is over.
    pub fn end(&mut self) {
        if let Some(Running { step, frames, digest }) = self.running.take() {
            let _ = self.tasks.send(Task::Ended { step, frames, digest: format!("{:016x}", digest.value()) });
        }
    }
}
