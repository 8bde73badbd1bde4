//! Where the beats of a recording are, and of which kind.

use crate::qrs;
use crate::recording::LeadRecording;
use pulsewright_score::Annotations;

/// A beat: the sample at or near its R, and its annotation code.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MarkedBeat {
    /// Sample.
    pub at: usize,
    /// Code of the open waveform-database annotation set.
    pub code: char,
}

/// The beats of annotations that lie within a recording.
pub fn annotated(recording: &LeadRecording, annotations: &Annotations) -> Vec<MarkedBeat> {
    let beat = |beat: &pulsewright_score::AnnotatedBeat| {
        let at = (beat.at.s() * recording.hz).round();
        (at >= 0.0 && at < recording.samples() as f64).then_some(MarkedBeat { at: at as usize, code: beat.code })
    };
    annotations.beats.iter().filter_map(beat).collect()
}

/// Beats found in the signal, all of one kind.
pub fn found(recording: &LeadRecording) -> Vec<MarkedBeat> {
    qrs::find(recording).into_iter().map(|at| MarkedBeat { at, code: 'N' }).collect()
}
